"""`corekit serve` as a process of its own: what it says, what it serves, how it ends."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

COMMAND = [sys.executable, "-c", "import sys; from corekit.cli import main; sys.exit(main())", "serve"]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_says_where_it_is_and_ends_cleanly_when_asked_to(tmp_path: Path, number: signal.Signals) -> None:
    words = ("--published", tmp_path / "pages", "--key", tmp_path / "page.key", "--port", "0")
    run = subprocess.Popen(
        [*COMMAND, "--page", "https://pages.example.org", *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        assert run.stdout is not None
        lines = [run.stdout.readline() for _ in range(2)]
        address = re.search(r"http://127\.0\.0\.1:[0-9]+/v", lines[1])
        assert "A key for publishing was drawn" in lines[0] and address, lines
        with urllib.request.urlopen(address[0]) as answer:
            assert answer.status == 200
        run.send_signal(number)
        rest, _ = run.communicate(timeout=60)
        assert (run.returncode, rest) == (0, "")
    finally:
        run.kill()
        run.communicate()
