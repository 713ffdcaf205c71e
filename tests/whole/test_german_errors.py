"""Errors on the mechanic's screens in German: each that the source can raise has its sentence there, and
whatever is typed wrongly comes back without an English one.

Words are German as any dictionary has them, from memory.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from corekit.report.tongue import Tongue, tongue_of

from .error_texts import Collector, Text

ROOT = Path(__file__).parents[2]

#: What never reaches a screen, by module or folder, and why.
NOT_SHOWN = {
    "cli/": "the command line speaks English",
    "testing/": "the conformance kit speaks to who writes a plugin",
    "hub/": "the office's server answers vans and its own terminal",
    "fleet/": "questions over many jobs are asked on the command line",
    "plugin/fault_file.py": "read when a system is loaded; the terminal of its author says it",
    "plugin/limit_file.py": "read when a system is loaded",
    "plugin/learned.py": "learned chances are read by a command",
    "plugin/own_unit.py": "declared when a system is loaded",
    "plugin/addition.py": "added when a system is loaded",
    "plugin/explained.py": "a command lists plugins",
    "plugin/api.py": "asked when a system is loaded",
    "unit_table.py": "units are declared when a system is loaded",
    "channels.py": "a table of the core, read when it starts",
    "jurisdictions.py": "a table of the core, read when it starts",
    "reference.py": "tables of the core, read when it starts",
    "complaints.py": "a table of the core and of systems, read when they are loaded",
    "report/catalogue.py": "catalogues are the core's and the systems'",
    "report/wording.py": "the shop's own templates, read when it starts",
    "report/fonts.py": "a fault of our own texts, seen by tests",
    "model/document.py": "a document is opened by a command",
    "account/": "a fault of the program: accounts are valid from birth",
    "web/page": "the customers' page server speaks to its terminal",
    "web/static_page.py": "made by a command",
    "web/server.py": "said at the start, in the terminal",
    "web/pairing.py": "said at the start, in the terminal",
    "screens/serve.py": "said at the start, in the terminal",
    "desk/backup.py": "backups are made by a command",
    "desk/books_paper.py": "books are printed by a command",
    "desk/bringing.py": "documents are brought in by a command",
    "desk/customers.py": "lists of customers are taken in by a command",
    "desk/demo.py": "the demo is made by a command",
    "desk/exporting.py": "invoices are exported by a command",
    "desk/forgetting.py": "persons are forgotten by a command",
    "desk/importing.py": "files are added by a command",
    "desk/in_memory.py": "for callers in Python",
    "desk/log_drafts.py": "drafts are written into a file by a command",
    "desk/ledger.py": "books are asked for by a command",
    "desk/drawer.py": "the drawer is counted by a command",
    "share/attachment.py": "papers are opened by a command",
    "share/signing.py": "keys are made by a command",
    "store/exchange.py": "records are carried by a command",
    "store/schema.py": "a store is brought up to date at the start, in the terminal",
    "practice/folder.py": "practice folders are made at the start, in the terminal",
    "practice/declared.py": "practice vehicles are declared when a system is loaded",
    "practice/car.py": "a practice car is made at the start",
}
_FIELD = re.compile(r"\{\w*\}")


@pytest.fixture(scope="module")
def collector() -> Collector:
    return Collector(ROOT / "corekit")


@pytest.fixture(scope="module")
def tongue() -> Tongue:
    german = tongue_of("de")
    assert german is not None
    return german


def _is_shown(module: str) -> bool:
    return not module.startswith(tuple(NOT_SHOWN))


def _plain(text: str) -> str:
    return _FIELD.sub("{}", " ".join(text.split()))


def test_every_error_that_can_reach_a_screen_has_its_german_sentence(
    collector: Collector, tongue: Tongue
) -> None:
    known = {_plain(text) for text in tongue.speaks}
    found = [text for module in collector.modules if _is_shown(module) for text in collector.texts(module)]
    assert len(found) > 800, "the collector sees too little"
    missing = [one for one in found if _plain(one.text) not in known and not tongue.has(one.text)]
    assert missing == [], f"{len(missing)} of {len(found)}"


def test_what_never_reaches_a_screen_is_still_there_to_be_left_out(collector: Collector) -> None:
    for module in NOT_SHOWN:
        assert any(one.startswith(module) for one in collector.modules), module


@pytest.mark.parametrize(
    ("source", "texts"),
    [
        ('raise InputError("Say more.")', ["Say more."]),
        ('raise InputError(f"{typed} is none; say {len(text)} more.")', ["{typed} is none; say {text1} more."]),
        ('what = "is none" if odd else "is bad"\nraise InputError(what)', ["is none", "is bad"]),
        ('faults.add(("a",), "is none here", "a whole number")', ["is none here", "a whole number"]),
        ('faults.add(("a",), "is none here", "a whole number", \'a = "…"\')', ["is none here", "a whole number"]),
        ('DataFault("a", expected="a number", got="is none")', ["is none", "a number"]),
        ('def _no(why):\n    raise InputError(f"{why} Nothing was done.")\n_no("It is late.")',
         ["{why} Nothing was done.", "It is late."]),
        ('seen.add("some words")', []),
        ('print("some words")', []),
    ],
)  # fmt: skip
def test_a_message_is_found_by_whatever_way_it_is_handed_over(
    tmp_path: Path, source: str, texts: list[str]
) -> None:
    (tmp_path / "errors.py").write_text("class InputError(CorekitError):\n    pass\n", "utf-8")
    (tmp_path / "one.py").write_text(f"from .errors import InputError\n{source}\n", "utf-8")
    found: list[Text] = list(Collector(tmp_path).texts("one.py"))
    assert sorted(one.text for one in found) == sorted(texts)
