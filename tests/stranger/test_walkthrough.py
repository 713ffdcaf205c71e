"""DEVELOPERS.md shows the example plugin as it is, and names exactly the hooks that exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from corekit.plugin import hookspecs

ROOT = Path(__file__).resolve().parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PLUGIN = ROOT / "demo" / "brakes"
BLOCKS = re.findall(r"```(python|toml)\n(.*?)```", GUIDE, re.DOTALL)
FILES = "\n".join(
    path.read_text("utf-8") for path in sorted(PLUGIN.rglob("*")) if path.suffix in (".py", ".toml")
)


@pytest.mark.parametrize(
    "block", [text for _, text in BLOCKS], ids=[text.split("\n", 1)[0][:40] for _, text in BLOCKS]
)
def test_a_block_of_the_guide_stands_in_the_example_plugin_word_for_word(block: str) -> None:
    wanted = [line for line in block.strip("\n").split("\n") if line.strip()]
    there = [line for line in FILES.split("\n") if line.strip()]
    assert any(there[place : place + len(wanted)] == wanted for place in range(len(there))), block


def test_the_guide_has_blocks_at_all() -> None:
    assert len(BLOCKS) >= 10


def test_every_hook_is_named_in_the_guide_and_every_hook_named_exists() -> None:
    exist = {name for name in vars(hookspecs) if name.startswith("corekit_")}
    named = set(re.findall(r"^\| `(corekit_\w+)`", GUIDE, re.MULTILINE))
    assert named == exist
