"""Whatever a command is given, nothing that it prints steers the terminal or is left unseen."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from corekit.desk.errors import DeskError
from corekit.desk.jobs import photograph
from corekit.desk.shop import Shop
from corekit.output import Output, as_json
from corekit.web.pairing import terminal_code

from .chain import JOBS, Said, corekit, written

STEERING = "\x1b]0;t\x07\x1b[2J\x9b31m\u202e"
_RAW = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2066-\u2069]")


def clean(said: Said) -> Said:
    assert not _RAW.search(said.out + said.err), said
    return said


#: Ways in for a text from outside, each as the words of a command.
WAYS = {
    "file checked": ["check", f"{STEERING}.toml"],
    "file added": ["add", f"{STEERING}.toml"],
    "file opened": ["open", f"{STEERING}.pdf"],
    "mark": ["verify", "--mark", STEERING],
    "job": ["check", STEERING],
    "job shown": ["receipt", STEERING],
    "verb": [STEERING],
    "plugin": ["check", "undecided", "--without", STEERING],
    "how paid": ["pay", "undecided", "1.00", "--how", STEERING],
    "amount": ["pay", "undecided", STEERING],
    "reason": ["forget", "undecided", "--yes", "--because", STEERING],
    "restored from": ["restore", STEERING],
    "backup to": ["backup", f"/dev/null/{STEERING}"],
    "km": ["estimate", "undecided", "--km", STEERING],
    "as JSON": ["check", f"{STEERING}.toml", "--json"],
}


@pytest.mark.parametrize("way", WAYS)
def test_no_way_in_reaches_the_terminal_raw(way: str, demo_copy: Path) -> None:
    said = clean(corekit(*WAYS[way], shop=demo_copy))
    assert said.code in (1, 2), said


def test_neither_does_the_shops_folder(tmp_path: Path) -> None:
    clean(corekit("verify", shop=tmp_path / STEERING))
    clean(corekit("init", tmp_path / STEERING, "--name", "A", "--address", "B", "--currency", STEERING))


def test_what_was_kept_before_anybody_looked_is_shown_by_its_code(
    demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("corekit.desk.context.look_over", lambda draft: None)
    visit = written(demo_copy.parent, JOBS["undecided"].read_text("utf-8"))
    with Shop(demo_copy) as shop:
        shop.import_visit(visit)
    paid = corekit("pay", "undecided", "1.00", "--how", f"cash{STEERING}", shop=demo_copy)
    if paid.code == 0:
        assert "[U+001B]" in clean(corekit("receipt", "undecided", shop=demo_copy)).out
    clean(paid)


@pytest.mark.parametrize("bad", ["a\x1b[2Jb", "a\x00b", "\u202eb", "a" * 4001])
def test_a_text_is_refused_by_whatever_verb_it_comes(bad: str, demo_copy: Path) -> None:
    with Shop(demo_copy) as shop:
        job = shop.store.find("undecided")
        before = len(shop.store.journal(job))
        with pytest.raises(DeskError, match="Nothing was written"):
            photograph(shop.context, job, "AAAA", what=bad)
        assert len(shop.store.journal(job)) == before


def test_a_code_for_a_phone_to_scan_is_drawn_as_it_was(capsys: pytest.CaptureFixture[str]) -> None:
    import sys

    code = terminal_code("http://192.168.4.1:8743/", coloured=True)
    Output(sys.stdout).write(f"\x1b[2J\n{code}\n")
    assert capsys.readouterr().out == f"[U+001B][2J\n{code}\n"


def test_data_for_programs_is_the_same_data() -> None:
    data = {"name": "a\u200b\x1b\u202e日本é\U0001f697\U000e0041"}
    assert json.loads(as_json(data)) == data
    assert not _RAW.search(as_json(data)) and "日本é" in as_json(data)
