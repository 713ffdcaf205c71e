"""Every verb as a person says it: what is kept, what is refused, and in which words.

`corekit()` fails on any traceback.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from decimal import Decimal
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any
from unittest import mock

import attrs
import pytest

from corekit.cli import main
from corekit.cli.command import VERBS
from corekit.desk.publishing import NO_PAGE, with_page_note
from corekit.desk.shop import Shop
from corekit.model.finding import Reason, Urgency, Verdict
from corekit.model.source import Basis, Status
from corekit.plugin.host import load
from corekit.share.reader import asked as ASKED

from .chain import (
    COREKIT,
    JOBS,
    PAGE,
    Said,
    checked,
    corekit,
    done,
    edited,
    estimate_of,
    found_shop,
    pages_of,
    paper_text,
    real,
    refused,
    serving,
    written,
)

WORN = "worn-battery"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A real shop, as `corekit init` sets it up."""
    return found_shop(tmp_path / "shop")


REPAIR_AGREED = "[[step]]                                                # bound to the estimate"
DRAIN_REPAIRED = "[[step]]                                                # `cause`: what it was"


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    """The first demo job as a real visit file."""
    text = real(JOBS[WORN].read_text("utf-8"))
    return written(tmp_path, edited(text, ('plate = "DEMO-1"', 'plate = "XX 1"')))


@pytest.fixture
def estimated(shop: Path, visit: Path) -> Path:
    """A real shop in which the diagnosis of the visit was estimated and nobody has approved yet."""
    refused(corekit("add", visit, shop=shop), "corekit estimate")
    done(corekit("estimate", WORN, shop=shop))
    return shop


@pytest.fixture
def repair_estimated(estimated: Path, visit: Path) -> Path:
    """The diagnosis approved and made, the repair estimated."""
    refused(corekit("add", visit, shop=estimated), "corekit estimate")
    done(corekit("estimate", WORN, shop=estimated))
    return estimated


def files(folder: Path) -> dict[str, bytes]:
    """Everything in a shop but the database's own side files."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.endswith(("-shm", "-wal"))
    }


def entries(folder: Path) -> int:
    with Shop(folder) as opened:
        return sum(len(opened.store.journal(job)) for job in opened.store.jobs()) + len(opened.store.books())


def to_the_end(visit: Path, shop: Path) -> Said:
    """A visit file through every step: added, estimated and approved as it says, issued."""
    refused(corekit("add", visit, shop=shop), "corekit estimate")
    done(corekit("estimate", WORN, "--stage", "diagnosis", shop=shop))
    refused(corekit("add", visit, shop=shop), "corekit estimate")
    done(corekit("estimate", WORN, "--stage", "repair", shop=shop))
    done(corekit("add", visit, shop=shop))
    return done(corekit("invoice", WORN, "--yes", shop=shop))


# ---- help, and words nobody knows


def test_help_lists_every_verb_in_the_order_of_a_visit() -> None:
    for words in ([], ["--help"], ["-h"], ["help"]):
        said = done(corekit(*words)).out
        places = [said.index(f"\n  corekit {verb} ") for verb in VERBS]
        assert places == sorted(places)


@pytest.mark.parametrize("verb", VERBS)
def test_each_verb_explains_itself(verb: str) -> None:
    said = done(corekit(verb, "--help"))
    assert f"usage: corekit {verb}" in said.out
    assert len(said.out.split()) > 20


def test_version_is_one_line() -> None:
    assert re.fullmatch(r"corekit \d+\.\d+\.\d+\S*\n", done(corekit("--version")).out)


def test_an_unknown_verb_is_named_with_the_nearest_one() -> None:
    refused(corekit("invoce"), "'invoce'", "Do you mean invoice?", "corekit --help", code=2)
    refused(corekit("xyzzy"), "'xyzzy'", "corekit --help", code=2)
    assert "Do you mean" not in corekit("xyzzy").words


def test_a_word_too_few_or_too_many_is_refused_with_the_usage() -> None:
    for words in (
        ["check"],
        ["invoice"],
        ["approve", WORN],
        ["pay", WORN],
        ["check", "a", "b"],
        ["invoice", WORN, "--never-heard-of"],
        ["serve", "--port", "many"],
    ):
        refused(corekit(*words), "usage:", code=2)


# ---- files and shops that are not there


@pytest.mark.parametrize(
    "verb", [["check"], ["add"], ["estimate", "--draft"], ["invoice", "--draft"]], ids=" ".join
)
def test_a_missing_file_is_named(verb: list[str], shop: Path) -> None:
    refused(corekit(*verb, "nowhere.toml", shop=shop), "nowhere.toml", "No such file")


@pytest.mark.parametrize(
    "verb", [["check"], ["add"], ["estimate", "--draft"], ["invoice", "--draft"]], ids=" ".join
)
def test_bad_toml_is_one_fault_with_line_and_column(verb: list[str], shop: Path, tmp_path: Path) -> None:
    bad = written(tmp_path, 'job = "x"\nreason = broken\n')
    refused(corekit(*verb, bad, shop=shop), "line 2", "column")
    assert entries(shop) == 0


@pytest.mark.parametrize("verb", [["add"], ["estimate", "--draft"], ["invoice", "--draft"]], ids=" ".join)
def test_every_fault_of_a_file_is_listed_with_its_place(verb: list[str], shop: Path, visit: Path) -> None:
    wrong = edited(visit.read_text("utf-8"), ('is = "8.4 V"', 'is = "8.4 A"'), ('"340 A"', '"340 V"'))
    refused(
        corekit(*verb, written(visit.parent, wrong), shop=shop),
        "step[3].readings[0].is",
        "battery.load_current",
    )
    assert entries(shop) == 0


def test_check_sets_odd_rows_aside_shows_them_first_and_judges_the_rest(shop: Path, visit: Path) -> None:
    wrong = edited(visit.read_text("utf-8"), ('is = "8.4 V"', 'is = "8.4 A"'), ('"340 A"', '"340 V"'))
    path = written(visit.parent, wrong)
    said = done(corekit("check", path, shop=shop)).out
    assert (
        said.index("Set aside, not judged") < said.index("step[3].readings[0].is: ") < said.index("Findings")
    )
    assert 'step[3].setup."battery.load_current": "340 V" is of the wrong kind' in said
    data = json.loads(done(corekit("check", path, "--json", shop=shop)).out)
    assert list(data)[:3] == ["job", "set_aside", "complaint"]
    assert [row["where"] for row in data["set_aside"]] == [
        'step[3].setup."battery.load_current"',
        "step[3].readings[0].is",
    ]
    assert all({"where", "what", "do"} <= set(row) for row in data["set_aside"])
    assert data["findings"]
    assert entries(shop) == 0


def test_check_asks_for_neither_plate_nor_vin(tmp_path: Path) -> None:
    bare = 'job = "a"\nreason = "b"\n[[step]]\nseen = [ { of = "battery.case", is = "cracked" } ]\n'
    for vehicle in ("", "vehicle = {}\n", 'vehicle = { odometer = "98400 km" }\n'):
        said = done(corekit("check", written(tmp_path, vehicle + bare), shop=tmp_path / "none")).out
        assert "Set aside" not in said and "cracked" in said


@pytest.mark.parametrize(
    ("words", "code", "what", "where"),
    [
        (["check", "nobody", "--json"], 1, "nobody", ""),
        (["check", "nowhere.toml", "--json"], 1, "cannot be read", "nowhere.toml"),
        (["check", "--json"], 2, "required: FILE|JOB", "command line"),
        (["check", "a", "b", "--json"], 2, "unrecognized arguments: b", "command line"),
        (
            ["check", "a", "--json", "--minutes", "soon"],
            2,
            "'soon' is not a number of minutes",
            "command line",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_refusal_under_json_is_json_with_what_where_and_what_to_do(
    words: list[str], code: int, what: str, where: str, shop: Path
) -> None:
    said = corekit(*words, shop=shop)
    plain = corekit(*[word for word in words if word != "--json"], shop=shop)
    assert (said.code, said.err, plain.code, plain.out) == (code, "", code, "")
    data = json.loads(said.out)
    assert data["refused"] is True and data["text"]
    (fault,) = data["faults"]
    assert {"where", "what", "do"} <= set(fault)
    assert what in fault["what"] and where in fault["where"]


def test_a_shop_that_cannot_be_read_is_refused_in_json_with_each_fault(shop: Path) -> None:
    written(shop, "name = 5\nodd = true\n", "shop.toml")
    said = corekit("check", "anything", "--json", shop=shop)
    assert (said.code, said.err) == (1, "")
    faults = json.loads(said.out)["faults"]
    assert {"name", "odd"} <= {fault["where"] for fault in faults}
    assert all(fault["what"] and fault["do"] for fault in faults)


@pytest.mark.parametrize(
    "words",
    [
        ("estimate", "nobody"),
        ("invoice", "nobody", "--yes"),
        ("pay", "nobody", "1.00"),
        ("forget", "nobody", "--yes"),
        ("check", "nobody"),
        ("estimate", "nobody", "--draft"),
        ("invoice", "nobody", "--draft"),
        ("publish", "nobody"),
        ("approve", "nobody", "--total", "1", "--how", "x"),
    ],
    ids=lambda words: words[0],
)
def test_an_unknown_job_is_named_and_what_there_is_listed(words: tuple[str, ...], demo_out: Path) -> None:
    refused(corekit(*words, shop=demo_out), "nobody", WORN)


@pytest.mark.parametrize(
    "words",
    [
        ("add", "v.toml"),
        ("estimate", WORN),
        ("invoice", WORN),
        ("pay", WORN, "1"),
        ("publish",),
        ("serve",),
        ("verify",),
        ("forget", WORN),
        ("check", WORN),
        ("estimate", WORN, "--draft"),
        ("invoice", WORN, "--draft"),
        ("approve", WORN, "--total", "1", "--how", "x"),
    ],
    ids=lambda words: words[0],
)
def test_without_a_shop_each_verb_says_how_to_set_one_up(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COREKIT_SHOP", str(tmp_path / "none"))
    refused(corekit(*words), "corekit init", str(tmp_path / "none"))
    assert list(tmp_path.iterdir()) == []


def test_the_shop_is_the_folder_one_stands_in_else_the_one_named_in_the_environment(
    demo_copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COREKIT_SHOP", str(demo_copy))
    monkeypatch.chdir(tmp_path)
    assert done(corekit("check", WORN)).out.startswith(WORN)
    monkeypatch.setenv("COREKIT_SHOP", str(tmp_path / "none"))
    monkeypatch.chdir(demo_copy)
    assert done(corekit("check", WORN)).out.startswith(WORN)


# ---- setting up


def test_a_shop_is_set_up_once(tmp_path: Path) -> None:
    words = ["init", str(tmp_path / "s"), "--name", "N", "--address", "A", "--currency", "EUR"]
    said = done(corekit(*words))
    for name in ("shop.toml", "prices.toml", "journal.sqlite", "keys/link.key"):
        assert str(tmp_path / "s" / name) in said.out
    before = files(tmp_path / "s")
    assert "nothing was changed" in done(corekit(*words)).out
    assert files(tmp_path / "s") == before


def test_set_up_again_it_changes_what_is_said_anew_and_nothing_else(tmp_path: Path) -> None:
    words = ["init", str(tmp_path / "s"), "--name", "N", "--address", "A", "--currency", "EUR"]
    done(corekit(*words))
    before = files(tmp_path / "s")
    again = ["init", str(tmp_path / "s"), "--hour", "62,50", "--tax-rate", "20 %", "--contact", "000 1"]
    done(corekit(*again))
    with Shop(tmp_path / "s") as opened:
        prices, issuer = opened.context.prices, opened.context.settings.issuer
        assert (str(prices.labour), prices.rates) == ("62.50", {"standard": Decimal(20)})
        assert (issuer.contact, issuer.name, issuer.address) == ("000 1", "N", ("A",))
    after = files(tmp_path / "s")
    changed = {path for path in before if before[path] != after.get(path)}
    assert {Path(path).name for path in changed} <= {"shop.toml", "prices.toml", "journal.sqlite"}
    refused(corekit("init", str(tmp_path / "s"), "--hour", "much"), "62.50")
    assert files(tmp_path / "s") == after


def test_it_asks_in_the_order_in_which_a_shop_is_told(tmp_path: Path) -> None:
    told = "Me & Co\n2 Lane; Town\n000 1\nT-1\n20\neur\n62.50\n25\n35\nin cash\nBE72 0000 0000 1616\n"
    done(corekit("init", tmp_path / "s", answer=told))
    with Shop(tmp_path / "s") as opened:
        issuer, prices = opened.context.settings.issuer, opened.context.prices
        assert (issuer.name, issuer.address, issuer.contact) == ("Me & Co", ("2 Lane", "Town"), "000 1")
        assert (issuer.tax_id, issuer.pays_by, issuer.iban) == ("T-1", "in cash", "BE72000000001616")
        assert (str(prices.labour), str(prices.call_out), str(prices.diagnosis)) == ("62.50", "25", "35")
        assert prices.rates == {"standard": Decimal(20)}


def test_what_is_not_said_is_asked(tmp_path: Path) -> None:
    said = done(corekit("init", tmp_path / "s", answer="Me & Co\n2 Lane; Town\n\n\n\neur\n"))
    with Shop(tmp_path / "s") as opened:
        assert (
            opened.context.settings.issuer.name,
            opened.context.settings.issuer.address,
            opened.context.prices.currency,
        ) == (
            "Me & Co",
            ("2 Lane", "Town"),
            "EUR",
        )
        assert not opened.store.demo
    assert "prices.toml" in said.out


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--name", "", "--address", "A", "--currency", "EUR"], "name"),
        (["--name", "N", "--address", "", "--currency", "EUR"], "address"),
        (["--name", "N", "--address", "A", "--currency", "euros"], "currency"),
        (["--name", "N", "--address", "A", "--currency", "EUR", "--page", "http://127.0.0.1:8741"], "page"),
        (["--name", "N", "--address", "A", "--currency", "EUR", "--page", "https://localhost"], "page"),
        (
            ["--name", "N", "--address", "A", "--currency", "EUR", "--page", "http://pages.example.org"],
            "https",
        ),
    ],
)
def test_an_answer_that_cannot_be_used_leaves_nothing_behind(
    tmp_path: Path, words: list[str], part: str
) -> None:
    refused(corekit("init", tmp_path / "s", *words), part)
    assert not (tmp_path / "s").exists()


def test_no_answer_leaves_nothing_behind(tmp_path: Path) -> None:
    refused(corekit("init", tmp_path / "s"))
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize(
    ("name", "text", "parts"),
    [
        ("shop.toml", 'name = "x"\n', ("shop.toml", "address")),
        ("shop.toml", "name = \n", ("shop.toml", "line 1")),
        ("shop.toml", 'name = "x"\naddress = ["a"]\nnumber = "one"\ncolour = "red"\n', ("number", "colour")),
        ("prices.toml", "currency = 7\n", ("prices.toml", "currency")),
        ("prices.toml", 'currency = "EUR"\n', ("prices.toml",)),
    ],
)
def test_a_shop_file_that_cannot_be_used_is_named_with_all_its_faults(
    shop: Path, name: str, text: str, parts: tuple[str, ...]
) -> None:
    written(shop, text, name)
    refused(corekit("check", "anything", shop=shop), *parts)


# ---- check


def test_check_as_data_is_one_object_with_all_that_was_found(demo_out: Path) -> None:
    for job in JOBS:
        said = checked(job, demo_out)
        assert {"findings", "gaps", "suspects", "next_tests"} <= set(said)
        assert said["findings"]
        for finding in said["findings"]:
            assert {
                "system",
                "code",
                "verdict",
                "probability",
                "urgency",
                "text",
                "evidence",
                "limits",
                "calls_for",
            } <= set(finding)
            assert finding["system"] in load().systems
            assert finding["code"].startswith(f"{finding['system']}.")
            assert finding["verdict"] in list(Verdict)
            assert finding["urgency"] in list(Urgency)
            assert finding["probability"] is None or 0 <= finding["probability"] <= 1
            assert finding["evidence"], f"{finding['code']} rests on nothing"
            for limit in finding["limits"]:
                assert limit["source"]
                assert limit["basis"] in list(Basis)
                assert limit["status"] in list(Status)
                assert limit["shown"]
                assert limit["low"] is not None or limit["high"] is not None
            if finding["value"] is not None:
                assert re.search(r"\d", finding["value"]["shown"])
        assert {gap["reason"] for gap in said["gaps"]} <= set(Reason)
        if said["suspects"]:  # two faults at once count for both of them
            assert sum(suspect["probability"] for suspect in said["suspects"]) >= 1 - 1e-9
            assert {suspect["fault"] for suspect in said["suspects"]} >= {"none", "outside"}
        for test in said["next_tests"]:
            assert test["question"]
            # A trouble code has no key that one could measure under.
            assert test["wants"].partition(".")[0] in load().systems or " code" in test["question"]


def test_check_keeps_to_the_minutes_that_are_left(demo_out: Path) -> None:
    free = checked("undecided", demo_out)
    hurried = json.loads(done(corekit("check", "undecided", "--json", "--minutes", "7", shop=demo_out)).out)
    assert free["too_long"] == []
    assert hurried["too_long"]
    assert all(test["minutes"] + test["waits"] <= 7 for test in hurried["next_tests"])
    assert all(test["minutes"] + test["waits"] > 7 for test in hurried["too_long"])
    assert sorted(test["test"] for test in hurried["next_tests"] + hurried["too_long"]) == sorted(
        test["test"] for test in free["next_tests"]
    )
    assert hurried["suspects"] == free["suspects"]
    said = done(corekit("check", "undecided", "--minutes", "7,5", shop=demo_out)).out
    assert "Too long for the time left" in said
    refused(
        corekit("check", "undecided", "--minutes", "soon", shop=demo_out),
        "'soon' is not a number of minutes; write one, e.g. 20.",
        code=2,
    )


def test_the_four_reasons_of_a_gap_all_occur(demo_out: Path) -> None:
    """Three in the demo; the fourth, a plugin that fails, has tests of its own."""
    assert {gap["reason"] for job in JOBS for gap in checked(job, demo_out)["gaps"]} == {
        "not measured",
        "does not apply",
        "could not reach",
    }


def test_the_evidence_of_a_finding_are_entries_of_the_journal(demo_out: Path) -> None:
    with Shop(demo_out) as opened:
        known = {entry.id for job in opened.store.jobs() for entry in opened.store.journal(job)}
    for job in JOBS:
        for finding in checked(job, demo_out)["findings"]:
            assert set(finding["evidence"]) <= known, finding["code"]


def test_a_file_and_the_job_made_of_it_are_judged_alike(demo_out: Path) -> None:
    """Only the ids of the entries differ, and with them the order of contributions of one size: a file in no
    store makes a chain of its own.
    """

    def but_for_ids(said: Any) -> Any:
        if isinstance(said, dict):
            return {key: but_for_ids(item) for key, item in said.items()}
        if isinstance(said, list):
            return (
                sorted(map(but_for_ids, said), key=repr)
                if said and isinstance(said[0], dict) and "source" in said[0]
                else [*map(but_for_ids, said)]
            )
        return re.sub(r"\b[0-9a-f]{64}\b", "id", said) if isinstance(said, str) else said

    for job, path in JOBS.items():
        assert but_for_ids(checked(path, demo_out)) == but_for_ids(checked(job, demo_out))


def test_json_says_what_toml_says(tmp_path: Path, demo_out: Path) -> None:
    import tomllib

    as_json = written(tmp_path, json.dumps(tomllib.loads(JOBS[WORN].read_text("utf-8"))), "visit.json")
    assert (
        done(corekit("check", as_json, shop=demo_out)).out
        == done(corekit("check", JOBS[WORN], shop=demo_out)).out
    )


def test_words_for_people_name_findings_limits_gaps_suspects_and_the_next_test_with_its_hazard(
    demo_out: Path,
) -> None:
    said = done(corekit("check", "undecided", shop=demo_out))
    for part in (
        "undecided, this visit:",
        "limit handbook, at least 9.54 V ± 0.08 V",
        "Not evaluated",
        "Likely causes",
        "Next test",
        "Caution:",
    ):
        assert part in said.words
    test = said.out[said.out.index("Next test") :]
    assert test.index("Caution:") < test.index("On the posts"), "the hazard stands before the step"


def test_check_changes_nothing(demo_copy: Path, visit: Path) -> None:
    before = files(demo_copy)
    (
        corekit("check", WORN, shop=demo_copy),
        corekit("check", visit, shop=demo_copy),
        corekit("check", WORN, "--json", shop=demo_copy),
    )
    assert files(demo_copy) == before


def test_words_that_would_steer_a_terminal_are_shown_and_not_obeyed(tmp_path: Path) -> None:
    sly = edited(
        JOBS[WORN].read_text("utf-8"), ('cannot = "sealed lid"', 'cannot = "sealed \\u001b[31m\\u0007 lid"')
    )
    said = corekit("check", written(tmp_path, sly), shop=tmp_path / "no-shop")
    assert "\x1b" not in said.out + said.err
    assert "\x07" not in said.out + said.err


# ---- plugins that fail


def broken(tmp_path: Path, source: str, key: str = "broken") -> EntryPoint:
    """A plugin of one module, on the path for this process."""
    name = f"corekit_broken_{abs(hash(source)) % 10**8}"
    (tmp_path / f"{name}.py").write_text(source, "utf-8")
    return EntryPoint(key, name, "corekit")


FAILING = {
    "that does not import": ("raise RuntimeError('it fell over')", "it fell over"),
    "that returns the wrong thing": (
        "import corekit as ck\n@ck.hookimpl\ndef corekit_system():\n    return 7",
        "must return a System",
    ),
    "that raises": (
        "import corekit as ck\n@ck.hookimpl\ndef corekit_system():\n    raise KeyError('lost')",
        "lost",
    ),
    "that mistypes its hook": (
        "import corekit as ck\n@ck.hookimpl\ndef corekit_sistem():\n    return 7",
        "corekit_sistem",
    ),
    "that claims a taken key": (
        (
            "import corekit as ck\nmine = ck.System('battery', 'Mine')\n@ck.hookimpl\ndef corekit_system():\n"
            "    return mine"
        ),
        "its entry point is called 'broken' and its system 'battery'",
    ),
    "that adds nothing": ("import corekit as ck", "adds nothing"),
}


@pytest.mark.parametrize("how", FAILING)
def test_a_plugin_that_fails_is_named_and_costs_the_others_nothing(
    how: str, tmp_path: Path, demo_out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, part = FAILING[how]
    monkeypatch.syspath_prepend(str(tmp_path))
    found = [*load_points(), broken(tmp_path, source)]
    well = checked("undecided", demo_out)
    paper = tmp_path / "draft.pdf"
    with mock.patch("corekit.plugin.host.entry_points", lambda group: found):
        words = " ".join(done(corekit("check", "undecided", shop=demo_out)).words.split())
        said = checked("undecided", demo_out)
        listed = corekit("plugins")
        done(corekit("invoice", "undecided", "--draft", "--out", paper, shop=demo_out))
    assert "broken" in words
    assert part in words
    assert "plugin failed" in words
    failed = [gap for gap in said["gaps"] if gap["reason"] == "plugin failed"]
    assert [gap["system"] for gap in failed] == ["broken"]
    assert part in failed[0]["text"]
    assert said["findings"] == well["findings"]
    assert (listed.code, "failed: Plugin broken" in listed.out, "battery" in listed.out) == (1, True, True)
    assert "Not assessed, because a plugin failed: broken." in " ".join(paper_text(paper).split())


def test_a_check_that_fails_is_a_gap_and_the_other_checks_stand(
    tmp_path: Path, demo_out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(tmp_path))
    source = """
from collections.abc import Iterator
from typing import Annotated
import corekit as ck
from corekit_battery.declarations import open_circuit_voltage
mine = ck.System("mine", "Another look")
seen = mine.measurand("x", "V", "X", possible=(0, 1), usual=(0, 1), accuracy="1 %")
@mine.check("Falls over")
def falls_over(case: ck.Case, rest: Annotated[ck.Reading | None, seen]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.gap(seen, "first this")
    raise ZeroDivisionError("by nothing")
@ck.hookimpl
def corekit_system() -> ck.System:
    return mine
"""
    found = [*load_points(), broken(tmp_path, source, "mine")]
    row = '{ of = "battery.open_circuit_voltage",'
    text = edited(JOBS["undecided"].read_text("utf-8"), (row, '{ of = "mine.x", is = "0.5 V" },\n  ' + row))
    with mock.patch("corekit.plugin.host.entry_points", lambda group: found):
        said = checked(written(tmp_path, text), demo_out)
    failed = [gap for gap in said["gaps"] if gap["reason"] == "plugin failed"]
    assert [(gap["system"], gap["check"]) for gap in failed] == [("mine", "Falls over")]
    assert "by nothing" in failed[0]["text"]
    assert "first this" not in json.dumps(said), "half a set of findings looks like a whole one"
    assert {finding["code"] for finding in said["findings"]} == {
        finding["code"] for finding in checked("undecided", demo_out)["findings"]
    }


def load_points() -> list[EntryPoint]:
    from importlib.metadata import entry_points

    return list(entry_points(group="corekit"))


def test_plugins_lists_what_each_system_brings() -> None:
    said = done(corekit("plugins")).out
    for system in load().systems.values():
        assert f"{system.key}  {system.title}" in said
        assert f"{len(system.measurands)} measurands" in said


# ---- add


def test_a_demo_file_is_refused_by_a_real_shop(shop: Path) -> None:
    refused(corekit("add", JOBS[WORN], shop=shop), "demo = true", "nothing was added")
    assert entries(shop) == 0


def test_a_file_that_approves_an_estimate_not_made_is_kept_up_to_there(shop: Path, visit: Path) -> None:
    said = refused(
        corekit("add", visit, shop=shop),
        "'diagnosis 1'",
        "Everything before it is kept",
        f"corekit estimate {WORN} --stage diagnosis",
    )
    assert "Traceback" not in said.words
    with Shop(shop) as opened:
        job = opened.store.job(opened.store.find(WORN))
        assert job.fitted(0)
        assert job.approvals == ()
        assert job.measured(0) == ()
    done(corekit("estimate", WORN, "--stage", "diagnosis", shop=shop))
    refused(corekit("add", visit, shop=shop), "'repair 1'", "--stage repair")
    with Shop(shop) as opened:
        job = opened.store.job(opened.store.find(WORN))
        assert len(job.measured(0)) == 5
        assert len(job.approvals) == 1
        assert job.repairs == ()


def test_a_wrong_total_in_the_file_adds_nothing(estimated: Path, visit: Path) -> None:
    before = entries(estimated)
    wrong = edited(visit.read_text("utf-8"), ('total = "60.00"', 'total = "59.00"'))
    refused(
        corekit("add", written(visit.parent, wrong), shop=estimated), "59.00", "60.00", "Nothing was added"
    )
    assert entries(estimated) == before


def test_the_same_file_again_adds_nothing(shop: Path, visit: Path) -> None:
    to_the_end(visit, shop)
    before = entries(shop)
    assert "Saved: 0 new, 0 corrected, 0 withdrawn." in done(corekit("add", visit, shop=shop)).out
    assert entries(shop) == before


def test_a_changed_row_is_a_correction(shop: Path, visit: Path) -> None:
    to_the_end(visit, shop)
    changed = edited(visit.read_text("utf-8"), ('is = "12.78 V"', 'is = "12.58 V"'))
    assert (
        "Saved: 0 new, 1 corrected, 0 withdrawn."
        in done(corekit("add", written(visit.parent, changed), shop=shop)).out
    )
    with Shop(shop) as opened:
        job = opened.store.job(opened.store.find(WORN))
        typed = [
            noted.record.typed
            for noted in job.measured(0)
            if noted.record.of == "battery.open_circuit_voltage"
        ]
        assert typed == ["12.58 V"]
        assert any(entry.body.get("typed") == "12.78 V" for entry in job.entries), (
            "what was typed first stays in the journal"
        )
    done(corekit("verify", shop=shop))


def test_a_vanished_row_is_refused_and_a_withdrawn_one_taken(shop: Path, visit: Path) -> None:
    to_the_end(visit, shop)
    text = visit.read_text("utf-8")
    row = '  { of = "battery.cranking_voltage", place = "clamps", is = "8.85 V", with = "meter" },\n'
    before = entries(shop)
    refused(
        corekit("add", written(visit.parent, edited(text, (row, ""))), shop=shop),
        "no longer in the file",
        "withdrawn =",
        "nothing was taken in",
    )
    assert entries(shop) == before
    withdrawn = edited(
        text, (row, row.replace('with = "meter"', 'with = "meter", withdrawn = "clip slipped"'))
    )
    assert "1 withdrawn" in done(corekit("add", written(visit.parent, withdrawn), shop=shop)).out
    with Shop(shop) as opened:
        job = opened.store.job(opened.store.find(WORN))
        assert [
            noted.record.place for noted in job.measured(0) if noted.record.of == "battery.cranking_voltage"
        ] == ["posts"]
        assert "clip slipped" in [entry.reason for entry in job.entries]


def test_a_payment_in_the_file_beyond_what_was_approved_adds_nothing(
    repair_estimated: Path, visit: Path
) -> None:
    before = entries(repair_estimated)
    more = edited(visit.read_text("utf-8"), ('amount = "366.60"', 'amount = "366.61"'))
    refused(corekit("add", written(visit.parent, more), shop=repair_estimated), "366.61", "Nothing was added")
    assert entries(repair_estimated) == before


# ---- estimate, approve


def test_an_estimate_is_a_document_with_its_total_and_the_words_that_record_the_approval(
    shop: Path, visit: Path
) -> None:
    corekit("add", visit, shop=shop)
    said = done(corekit("estimate", WORN, shop=shop))
    assert "Estimate 'diagnosis 1': 60.00 EUR" in said.out
    assert f"corekit approve {WORN} --estimate 'diagnosis 1' --total 60.00" in said.out
    text = " ".join(paper_text(estimate_of(WORN, "diagnosis 1", shop)).split())
    assert "60.00" in text
    assert "DRAFT" not in text
    assert "DEMO" not in text


def test_asked_again_with_nothing_changed_the_standing_estimate_is_given(shop: Path, visit: Path) -> None:
    corekit("add", visit, shop=shop)
    first = done(corekit("estimate", WORN, shop=shop))
    paper = (estimate_of(WORN, "diagnosis 1", shop)).read_bytes()
    before = entries(shop)
    assert done(corekit("estimate", WORN, shop=shop)).out == first.out
    assert entries(shop) == before
    assert (estimate_of(WORN, "diagnosis 1", shop)).read_bytes() == paper


def test_an_approval_binds_to_the_estimate_that_was_shown(estimated: Path) -> None:
    done(corekit("approve", WORN, "--total", "60.00", "--how", "by phone", shop=estimated))
    with Shop(estimated) as opened:
        job = opened.store.job(opened.store.find(WORN))
        assert job.approvals[0].record.document_hash == job.estimates[0].record.document_hash


@pytest.mark.parametrize("total", ["59.99", "60.01", "0", "600"])
def test_a_wrong_total_is_not_an_approval(estimated: Path, total: str) -> None:
    before = entries(estimated)
    refused(
        corekit("approve", WORN, f"--total={total}", "--how", "x", shop=estimated),
        "60.00",
        "Nothing was recorded",
    )
    assert entries(estimated) == before


@pytest.mark.parametrize("total", ["sixty", "", "60,00 EUR", "NaN", "inf", "-60.00", "60.001"])
def test_a_total_that_is_no_amount_is_refused_in_words(estimated: Path, total: str) -> None:
    before = entries(estimated)
    refused(corekit("approve", WORN, f"--total={total}", "--how", "x", shop=estimated), "amount")
    assert entries(estimated) == before


def test_an_estimate_that_was_not_made_cannot_be_approved(shop: Path, visit: Path) -> None:
    corekit("add", visit, shop=shop)
    refused(corekit("approve", WORN, "--total", "60.00", "--how", "x", shop=shop), "corekit estimate")
    corekit("estimate", WORN, shop=shop)
    refused(
        corekit("approve", WORN, "--estimate", "repair 9", "--total", "60.00", "--how", "x", shop=shop),
        "repair 9",
        "diagnosis 1",
    )


def test_declining_what_is_not_on_the_estimate_is_refused(estimated: Path) -> None:
    refused(
        corekit(
            "approve", WORN, "--total", "60.00", "--how", "x", "--declined", "battery.replace", shop=estimated
        ),
        "battery.replace",
    )


def test_what_was_declined_is_not_invoiced_and_stays_on_the_paper(
    repair_estimated: Path, visit: Path
) -> None:
    """The visit goes on without the drain's repair; its approval is recorded by command and
    not by the file.
    """
    done(
        corekit(
            "approve",
            WORN,
            "--total",
            "306.60",
            "--how",
            "in person",
            "--declined",
            "battery.trace_draw",
            shop=repair_estimated,
        )
    )
    text = visit.read_text("utf-8")
    text = text[: text.index(DRAIN_REPAIRED)]
    step = text[text.index(REPAIR_AGREED) : text.index("[[step]]", text.index(REPAIR_AGREED) + 1)]
    done(corekit("add", written(visit.parent, edited(text, (step, ""))), shop=repair_estimated))
    done(corekit("invoice", WORN, "--yes", shop=repair_estimated))
    paper = " ".join(paper_text(next((repair_estimated / "papers").glob("invoice-*.pdf"))).split())
    assert "Declined by you Trace and repair the parasitic draw" in paper
    assert "Starter battery, AGM" in paper
    lines = paper[paper.index("The work, line by line") : paper.index("What you approved")]
    assert "Replace the battery" in lines
    assert "parasitic draw" not in lines
    # 20.00 + 30.00 + 0.6 h at 62.50 + 168.00 = 255.50 net, with 20 % 306.60: the price book's figures, added
    # by hand.
    assert "Total 306.60" in paper


def test_nothing_that_calls_for_work_makes_no_repair_estimate(shop: Path, tmp_path: Path) -> None:
    text = real(JOBS["undecided"].read_text("utf-8"))
    approved = text[text.index("[[step]]\napproved") : text.index("[[step]]\nseen")]
    paid = text[text.index("[[step]]\npaid") :]
    done(corekit("add", written(tmp_path, edited(text, (approved, ""), (paid, ""))), shop=shop))
    refused(
        corekit("estimate", "undecided", "--stage", "repair", shop=shop),
        "Nothing in undecided calls for work",
        "corekit check undecided",
        "requested",
    )


@pytest.mark.parametrize("km", ["far", "-3", "1e3", "12 km"])
def test_a_distance_that_is_none_is_refused_in_words(estimated: Path, km: str) -> None:
    for verb in (["estimate"], ["estimate", "--draft"], ["invoice", "--draft"]):
        refused(corekit(*verb, WORN, f"--km={km}", shop=estimated), "--km", "not a distance")


# ---- drafts


@pytest.mark.parametrize("source", [JOBS[WORN], WORN], ids=["file", "job"])
def test_a_draft_says_so_has_no_number_and_no_code_and_is_kept_nowhere(
    source: str | Path, demo_copy: Path, tmp_path: Path
) -> None:
    before = files(demo_copy)
    done(corekit("invoice", source, "--draft", "--out", tmp_path / "draft.pdf", shop=demo_copy))
    text = paper_text(tmp_path / "draft.pdf")
    assert "DRAFT" in text
    assert not re.search(r"\d{4}-A\d{4}", text)
    assert "v#" not in text
    assert files(demo_copy) == before


@pytest.mark.parametrize("source", [JOBS[WORN], WORN], ids=["file", "job"])
def test_where_all_is_repaired_there_is_nothing_to_estimate(
    source: str | Path, demo_copy: Path, tmp_path: Path
) -> None:
    refused(
        corekit("estimate", source, "--draft", "--out", tmp_path / "draft.pdf", shop=demo_copy),
        "calls for work that may be proposed",
        "corekit check",
    )
    assert not (tmp_path / "draft.pdf").exists()


@pytest.mark.parametrize("verb", ["estimate", "invoice"])
def test_a_draft_into_a_folder_that_is_not_there_says_so(verb: str, demo_copy: Path, tmp_path: Path) -> None:
    words = ["--stage", "diagnosis"] if verb == "estimate" else []
    refused(
        corekit(verb, WORN, *words, "--draft", "--out", tmp_path / "no" / "folder.pdf", shop=demo_copy),
        "folder.pdf",
        "there is no folder",
    )


def test_an_estimate_can_be_drafted_from_a_file_alone(shop: Path, visit: Path, tmp_path: Path) -> None:
    text = visit.read_text("utf-8")
    arrival = written(tmp_path, text[: text.index(REPAIR_AGREED)])
    said = done(corekit("estimate", arrival, "--draft", "--out", tmp_path / "e.pdf", shop=shop))
    assert "306.60 EUR" in said.out
    assert "DRAFT" in paper_text(tmp_path / "e.pdf")
    assert entries(shop) == 0


@pytest.mark.parametrize("option", [["--out", "x.pdf"], ["--text"]], ids=lambda option: option[0])
@pytest.mark.parametrize("verb", ["estimate", "invoice"])
def test_what_only_a_draft_has_is_refused_without_draft(
    verb: str, option: list[str], demo_copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    before = files(demo_copy)
    refused(corekit(verb, WORN, *option, shop=demo_copy), option[0], "--draft", "Nothing was written")
    assert files(demo_copy) == before
    assert list(tmp_path.iterdir()) == [demo_copy]


def test_a_draft_is_of_one_job(demo_copy: Path) -> None:
    refused(
        corekit("invoice", WORN, "undecided", "--draft", shop=demo_copy),
        "one job or file",
        "Nothing was written",
    )


# ---- issue, pay


def test_issuing_asks_first_and_no_answer_is_a_no(repair_estimated: Path, visit: Path) -> None:
    done(corekit("add", visit, shop=repair_estimated))
    before = entries(repair_estimated)
    for answer in ("", "n\n", "\n", "maybe\n"):
        said = refused(corekit("invoice", WORN, shop=repair_estimated, answer=answer), "no number was taken")
        assert WORN in said.out
        assert "?" in said.out
    assert entries(repair_estimated) == before
    assert re.search(
        r"Invoice \d{4}-A0001, due 0\.00 EUR",
        done(corekit("invoice", WORN, shop=repair_estimated, answer="y\n")).out,
    )


def test_issued_again_it_is_the_same_invoice(shop: Path, visit: Path) -> None:
    first = to_the_end(visit, shop)
    paper = next((shop / "papers").glob("invoice-*.pdf"))
    bytes_before, before = paper.read_bytes(), entries(shop)
    paper.unlink()
    again = done(corekit("invoice", WORN, shop=shop))
    assert again.out == first.out
    assert paper.read_bytes() == bytes_before
    assert entries(shop) == before


def test_nothing_is_issued_without_an_approval(shop: Path, visit: Path) -> None:
    text = visit.read_text("utf-8")
    arrival = re.sub(r"(?m)^\[\[step\]\].*\napproved = .*\n", "", text[: text.index(REPAIR_AGREED)])
    done(corekit("add", written(visit.parent, arrival), shop=shop))
    refused(corekit("invoice", WORN, "--yes", shop=shop), "approved")
    with Shop(shop) as opened:
        assert opened.store.books() == []


def test_numbers_follow_each_other_without_a_gap(demo_copy: Path) -> None:
    with Shop(demo_copy) as opened:
        issued = [entry.body["number"] for entry in opened.store.books() if entry.kind == "invoice"]
    assert [number[-5:] for number in issued] == [f"A{place:04}" for place in range(1, len(JOBS) + 1)]


@pytest.fixture
def unpaid(shop: Path, visit: Path) -> Path:
    """A shop in which the invoice of 366.60 stands unpaid."""
    text = visit.read_text("utf-8")
    written(visit.parent, text[: text.rindex("[[step]]")])
    assert "due 366.60 EUR" in to_the_end(visit, shop).out
    return shop


def test_one_can_pay_partly_and_then_the_rest_and_no_more(unpaid: Path) -> None:
    refused(corekit("pay", WORN, "366.61", shop=unpaid), "366.61", "366.60")
    assert "Still due: 266.60 EUR" in done(corekit("pay", WORN, "100", shop=unpaid)).out
    refused(corekit("pay", WORN, "266.61", shop=unpaid), "266.60")
    assert "Still due: 0.00 EUR" in done(corekit("pay", WORN, "266.60", "--how", "card", shop=unpaid)).out
    refused(corekit("pay", WORN, "0.01", shop=unpaid), "Nothing is due")
    with Shop(unpaid) as opened:
        paid = [entry.body["amount"] for entry in opened.store.books() if entry.kind == "payment"]
        assert paid == [10000, 26660]
        assert [noted.record.amount for noted in opened.store.job(opened.store.find(WORN)).payments] == paid
    assert "due 0.00 EUR" in done(corekit("invoice", WORN, shop=unpaid)).out
    done(corekit("verify", shop=unpaid))


def test_nothing_is_no_payment(unpaid: Path) -> None:
    before = entries(unpaid)
    refused(corekit("pay", WORN, "0", shop=unpaid), "above zero")
    assert entries(unpaid) == before


@pytest.mark.parametrize("amount", ["-5", "ten", "1.005", "1,234.00", "NaN", "1e2"])
def test_an_amount_that_is_none_is_refused_in_words(unpaid: Path, amount: str) -> None:
    before = entries(unpaid)
    refused(corekit("pay", "--shop", unpaid, WORN, "--", amount), "amount")
    assert entries(unpaid) == before


# ---- publish, serve, verify, forget


READER = "corekit.share.reader.asked"


def test_publishing_sends_each_page_once(shop: Path, visit: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    to_the_end(visit, shop)
    assert not (shop / "published").exists()
    monkeypatch.setattr(READER, pages_of(shop))
    assert re.search(r"Published: \d{4}-A0001\.", done(corekit("publish", shop=shop)).out)
    there = files(shop / "published")
    assert len(there) == 1
    assert "Nothing is outstanding" in done(corekit("publish", shop=shop)).out
    assert files(shop / "published") == there
    done(corekit("verify", shop=shop))


def test_a_page_counts_as_published_when_the_address_on_the_document_opens_it(
    shop: Path, visit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to_the_end(visit, shop)
    refused(corekit("publish", shop=shop), PAGE, "does not open Invoice", "no network in tests")
    there = files(shop / "published")
    assert len(there) == 1, "it lies where it is to be served from"
    with Shop(shop) as opened:
        assert not opened.store.links()[0].published_at
    monkeypatch.setattr(READER, lambda *_: (200, "<h1>Another page</h1>"))
    refused(corekit("publish", shop=shop), "shows something else")
    monkeypatch.setattr(READER, pages_of(shop))
    assert re.search(r"Published: \d{4}-A0001\.", done(corekit("publish", shop=shop)).out)
    assert files(shop / "published") == there


def test_who_sets_a_shop_up_is_told_where_codes_would_lead_nowhere_and_so_is_the_customer(
    tmp_path: Path, visit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def set_up(name: str) -> tuple[str, str]:
        shop = tmp_path / name
        words = ("--name", "Test", "--address", "2 Invented Lane", "--currency", "EUR", "--page", PAGE)
        said = done(corekit("init", shop, *words)).words
        other = found_shop(tmp_path / f"{name}-2")
        to_the_end(visit, other)
        return said, " ".join(paper_text(next((other / "papers").glob("invoice-*.pdf"))).split())

    said, printed = set_up("unserved")
    assert f"lead nowhere yet: nothing answers as a page at {PAGE}" in said
    assert NO_PAGE in printed
    monkeypatch.setattr(READER, lambda *_: (200, "<h1>Parked</h1>"))
    assert "what answers there is another page" in set_up("parked")[0]
    monkeypatch.setattr(READER, pages_of(tmp_path / "served"))
    said, printed = set_up("served")
    assert f"A page answers at {PAGE}." in said
    assert NO_PAGE not in printed


def test_once_a_page_was_fetched_back_the_next_document_says_no_more_of_it(
    shop: Path, visit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to_the_end(visit, shop)
    first = next((shop / "papers").glob("invoice-*.pdf"))
    printed = first.read_bytes()
    monkeypatch.setattr(READER, pages_of(shop))
    corekit("publish", shop=shop)
    with Shop(shop) as opened:
        again = opened.issue(WORN)
        assert again.document.no_page == NO_PAGE, "what was issued stays as it is"
        assert with_page_note(opened.context, attrs.evolve(again.document, no_page="")).no_page == ""
    assert first.read_bytes() == printed


def test_a_published_page_that_is_sent_again_after_a_lost_answer_is_no_fault(
    shop: Path, visit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to_the_end(visit, shop)
    monkeypatch.setattr(READER, pages_of(shop))
    corekit("publish", shop=shop)
    there = files(shop / "published")
    with Shop(shop) as opened:
        invoice = opened.issue(WORN)
        assert opened.store.links()[0].published_at
    assert invoice.link.startswith("https://pages.example.org/v#")
    assert files(shop / "published") == there


def test_a_shop_without_a_page_address_has_the_record_mark_and_no_code(tmp_path: Path, visit: Path) -> None:
    shop = found_shop(tmp_path / "other", page="")
    said = to_the_end(visit, shop)
    assert "No page address is set" in said.out
    text = " ".join(paper_text(next((shop / "papers").glob("invoice-*.pdf"))).split())
    assert re.search(r"Record mark ([0-9A-Z]{4}-){3}[0-9A-Z]{4}", text)
    assert "page address" in text
    assert "No page address is set" in done(corekit("publish", shop=shop)).out
    assert not (shop / "published").exists()


def test_a_port_in_use_is_one_clear_refusal(demo_copy: Path) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        refused(
            corekit("serve", "--port", str(taken.getsockname()[1]), shop=demo_copy),
            str(taken.getsockname()[1]),
            "in use",
        )


def test_a_shop_that_publishes_elsewhere_is_not_served_here(shop: Path) -> None:
    text = (shop / "shop.toml").read_text("utf-8")
    written(
        shop, edited(text, ('publish = "published"', 'publish = "https://pages.example.org"')), "shop.toml"
    )
    refused(corekit("serve", shop=shop), "https://pages.example.org")


def test_a_target_that_asks_for_a_key_names_where_to_put_it(shop: Path, visit: Path) -> None:
    to_the_end(visit, shop)
    text = (shop / "shop.toml").read_text("utf-8")
    written(
        shop,
        edited(text, ('publish = "published"', 'publish = "https://pages.example.invalid"')),
        "shop.toml",
    )
    refused(corekit("publish", shop=shop), "page.key")


def test_a_page_server_of_its_own_takes_what_a_shop_with_its_key_publishes(
    shop: Path, visit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to_the_end(visit, shop)
    pages, key = tmp_path / "server" / "pages", tmp_path / "server" / "page.key"
    key.parent.mkdir()
    with serving(
        pages, "--published", str(pages), "--page", "https://pages.example.org", "--key", str(key)
    ) as address:
        assert key.stat().st_mode & 0o077 == 0
        written(
            shop,
            edited(
                (shop / "shop.toml").read_text("utf-8"), ('publish = "published"', f'publish = "{address}"')
            ),
            "shop.toml",
        )
        (shop / "keys" / "page.key").write_text("another-key-altogether", "utf-8")
        refused(corekit("publish", shop=shop), "does not know this key")
        assert files(pages) == {}
        shutil.copy(key, shop / "keys" / "page.key")
        monkeypatch.setattr(READER, lambda asked, form, wait: ASKED(asked.replace(PAGE, address), form, wait))
        assert re.search(r"Published: \d{4}-A0001\.", done(corekit("publish", shop=shop)).out)
        with Shop(shop) as opened:
            code = opened.issue(WORN).link.partition("#")[2]
        with urllib.request.urlopen(f"{address}/v/open", data=f"code={code}".encode()) as answer:
            assert "A0001" in answer.read().decode()
    assert len(files(pages)) == 1
    assert not list(pages.rglob("*.sqlite"))


def test_a_page_server_needs_an_address_that_a_phone_can_reach(tmp_path: Path) -> None:
    words = ("serve", "--published", tmp_path / "pages", "--key", tmp_path / "page.key")
    refused(corekit(*words), "There is no page address")
    refused(corekit(*words, "--page", "http://127.0.0.1"), "https://")
    assert files(tmp_path) == {}
    (tmp_path / "page.key").write_text("short", "utf-8")
    refused(corekit(*words, "--page", "https://pages.example.org"), "key for publishing must have 16")


def test_verify_says_how_many_jobs_it_looked_at(demo_copy: Path) -> None:
    assert f"{len(JOBS)} jobs" in done(corekit("verify", shop=demo_copy)).out


def test_forgetting_asks_destroys_and_still_verifies(demo_copy: Path) -> None:
    papers = {path.name for path in (demo_copy / "papers").iterdir()}
    estimates = {estimate_of(WORN, name, demo_copy).name for name in ("diagnosis 1", "repair 1")}
    published = {path.name for path in (demo_copy / "published").iterdir()}
    with Shop(demo_copy) as shop:
        job = shop.store.find(WORN)
    refused(corekit("forget", WORN, shop=demo_copy), "Nothing was destroyed")
    assert {path.name for path in (demo_copy / "papers").iterdir()} == papers
    said = done(corekit("forget", WORN, shop=demo_copy, answer="y\n"))
    assert "Destroyed:" in said.out and f"It goes by {job} from now on." in said.out
    left = {path.name for path in (demo_copy / "papers").iterdir()}
    assert papers - left == {
        *estimates,
        min(name for name in papers if name.startswith("invoice")),
    }
    still = {path.name for path in (demo_copy / "published").iterdir()}
    (down,) = published - still
    assert still - published == {down.replace(".json", ".withdrawn")}, "one page is down, and for good"
    for path in demo_copy.rglob("*"):
        if path.is_file():
            for personal in (
                "Example Customer",
                "000 0001",
                "DEMO-1",
                "five-door",
                "two days at the kerb",
                WORN,
            ):
                assert personal.encode() not in path.read_bytes(), f"{personal} is still in {path.name}"
    done(corekit("verify", shop=demo_copy))
    done(corekit("invoice", job, shop=demo_copy))
    text = paper_text(demo_copy / "papers" / min(name for name in papers if name.startswith("invoice")))
    assert "removed" in text
    assert "Sample Driver" not in text
    assert "there was no personal text left" in done(corekit("forget", job, "--yes", shop=demo_copy)).out


def test_a_folder_that_may_not_be_written_is_said_in_words(demo_copy: Path, tmp_path: Path) -> None:
    if os.geteuid() == 0:
        run_as_nobody(demo_copy, tmp_path)
        return
    demo_copy.chmod(0o500)
    (demo_copy / "papers").chmod(0o500)
    try:
        refused(corekit("invoice", WORN, shop=demo_copy), "papers")
    finally:
        demo_copy.chmod(0o700)
        (demo_copy / "papers").chmod(0o700)


def run_as_nobody(demo_copy: Path, tmp_path: Path) -> None:
    """Root may write everywhere, so the papers' folder is taken away instead: a file stands in its place."""
    import shutil

    shutil.rmtree(demo_copy / "papers")
    (demo_copy / "papers").write_text("", "utf-8")
    refused(corekit("invoice", WORN, shop=demo_copy), "papers", "stands in the record")
    refused(
        corekit("invoice", WORN, "--draft", "--out", tmp_path / "no" / "such" / "folder.pdf", shop=demo_copy),
        "folder.pdf",
    )


def test_a_reader_that_has_gone_is_no_fault(demo_out: Path) -> None:
    words = " ".join(f"'{word}'" for word in [*COREKIT, "check", WORN, "--shop", str(demo_out)])
    run = subprocess.run(["/bin/sh", "-c", f"{words} | head -1"], capture_output=True, text=True, check=False)
    assert run.stderr == ""
    assert run.stdout.startswith(WORN)


def test_a_fault_of_our_own_is_said_as_such_and_traced_only_when_asked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("corekit.plugin.host.load", lambda: 1 / 0)
    assert main(["plugins"]) == 1
    said = capsys.readouterr().err
    assert "its own fault, not yours" in said
    assert "Traceback" not in said
    monkeypatch.setenv("COREKIT_TRACE", "1")
    with pytest.raises(ZeroDivisionError):
        main(["plugins"])


def test_the_same_words_work_from_a_process_of_their_own(tmp_path: Path) -> None:
    run: Callable[..., subprocess.CompletedProcess[str]] = lambda *words: subprocess.run(  # noqa: E731
        [*COREKIT, *words], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert run("check", "nowhere.toml").returncode == 1
    assert run("isue").returncode == 2
    assert "Traceback" not in run("check", "nowhere.toml").stderr
    assert run("--version").stdout.startswith("corekit ")
    assert sys.executable
