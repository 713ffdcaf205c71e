"""Records in a visit file: from a file beside it or typed by hand, never from elsewhere, and asked about
where they are odd.
"""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import Any

import attrs
import pytest

import corekit as ck
from corekit.intake.declared import Declared
from corekit.intake.lenient import read_for_check
from corekit.intake.visit import VisitError, read_visit
from corekit.model.personal import PersonalText

van = ck.System("van", "Van")
current = van.measurand("current", "mA", "Current", possible=(0, 30000), usual=(1, 3000), accuracy="1 %")
drain_log = van.record("log", "Log", of=current, possible=(0, 100000), usual=(0, 20000))
warm = van.record("warm", "Warm-up", of=current, places=("left", "right"), over="min")
DECLARED = Declared(
    measurands=van.measurands, records=van.records, systems=("van",), currency="EUR", instruments={}
)
CSV = "t [s];I [A]\n0;2.1\n60;0.4\n"
CLAMP = {"clamp": {"accuracy": "1 % + 5 mA"}}


def data(*rows: dict[str, Any], **more: Any) -> dict[str, Any]:
    visit = {"job": "a", "reason": "b", "vehicle": {"plate": "DEMO-1"}, **more}
    return {**visit, "step": [{"records": list(rows)}]}


def body(folder: Path, row: dict[str, Any], **more: Any) -> dict[str, Any]:
    path = folder / "visit.json"
    path.write_text(json.dumps(data({"of": "van.log", **row}, **more)), "utf-8")
    (found,) = [draft for draft in read_visit(path, DECLARED).drafts if draft.kind == "recorded"]
    return dict(found.body)


def faults(folder: Path, *rows: dict[str, Any]) -> list[str]:
    path = folder / "visit.json"
    path.write_text(json.dumps(data(*rows)), "utf-8")
    with pytest.raises(VisitError) as error:
        read_visit(path, DECLARED)
    return [str(fault) for fault in error.value.faults]


def test_a_file_beside_the_visit_file_is_kept_in_coherent_units_with_its_name_and_hash(
    tmp_path: Path,
) -> None:
    (tmp_path / "drain.csv").write_text(CSV, "utf-8")
    found = body(tmp_path, {"file": "drain.csv", "with": "clamp"}, instruments=CLAMP)
    assert (found["over"], found["samples"]) == ([0.0, 60.0], [2.1, 0.4])
    assert (found["kind"], found["over_kind"]) == ("current", "time")
    assert (found["unit"], found["over_unit"]) == ("A", "s")
    assert found["file"] == PersonalText("words", "drain.csv") and found["typed"] == []
    assert found["sha256"] == hashlib.sha256(CSV.encode()).hexdigest()
    assert found["instrument"] == "clamp"


@pytest.mark.parametrize(
    "points",
    [
        ["0 s: 2.1 A", "1 min: 400 mA"],
        [["0 s", "2.1 A"], ["1 min", "400 mA"]],
        ["0 s:2,1 A", "60 s:0,4 A"],
    ],
)
def test_points_are_typed_with_their_units_and_kept_as_typed(tmp_path: Path, points: list[Any]) -> None:
    found = body(tmp_path, {"points": points})
    assert (found["over"], found["samples"]) == ([0.0, 60.0], [2.1, 0.4])
    assert (found["file"], found["sha256"], len(found["typed"])) == (None, "", 2)


def test_the_same_points_give_the_same_body_from_toml_and_json(tmp_path: Path) -> None:
    toml = """
        job = "a"
        reason = "b"
        vehicle = { plate = "DEMO-1" }
        [[step]]
        records = [ { of = "van.log", points = ["0 s: 2.1 A", "60 s: 0.4 A"] } ]
    """
    rows = {"of": "van.log", "points": ["0 s: 2.1 A", "60 s: 0.4 A"]}
    assert read_visit(toml.encode(), DECLARED) == read_visit(json.dumps(data(rows)).encode(), DECLARED)


@pytest.mark.parametrize(
    "name",
    ["../outside.csv", "/etc/hostname", "", " ", ".", "..", "sub/../../outside.csv", "link.csv",
     "linked/outside.csv", "none.csv", "sub", "pipe", "a\tb", "x" * 300, "~/outside.csv", "C:\\outside.csv"],
)  # fmt: skip
def test_no_file_outside_the_folder_and_nothing_but_a_file_is_read(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "visit"
    (folder / "sub").mkdir(parents=True)
    (tmp_path / "outside.csv").write_text(CSV, "utf-8")
    (folder / "link.csv").symlink_to(tmp_path / "outside.csv")
    (folder / "linked").symlink_to(tmp_path)
    os.mkfifo(folder / "pipe")
    (said,) = faults(folder, {"of": "van.log", "file": name})
    assert said.startswith("step[0].records[0].file: ") and "2.1" not in said


def test_a_file_in_a_folder_below_is_read(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "drain.csv").write_text(CSV, "utf-8")
    assert body(tmp_path, {"file": "logs/drain.csv"})["samples"] == [2.1, 0.4]


def test_a_file_of_one_mebibyte_is_read_and_a_larger_one_refused(tmp_path: Path) -> None:
    text = CSV + "#" * ((1 << 20) - len(CSV))
    (tmp_path / "drain.csv").write_text(text, "utf-8")
    assert body(tmp_path, {"file": "drain.csv"})["samples"] == [2.1, 0.4]
    (tmp_path / "drain.csv").write_text(text + "#", "utf-8")
    assert "larger than 1 MiB" in faults(tmp_path, {"of": "van.log", "file": "drain.csv"})[0]


def test_mere_content_names_no_file() -> None:
    with pytest.raises(VisitError, match="only in a visit file"):
        read_visit(json.dumps(data({"of": "van.log", "file": "drain.csv"})).encode(), DECLARED)


@pytest.mark.parametrize(
    ("row", "at", "words"),
    [
        ({}, "", "has no samples"),
        ({"file": "d.csv", "points": ["0 s: 1 A", "1 s: 1 A"]}, ".points", "a file is named beside them"),
        ({"points": ["0 s: 1 A"]}, ".points", "holds 1"),
        ({"points": ["0 s: 1 A", "1 s"]}, ".points[1]", "is no point"),
        ({"points": ["0 s: 1 A", ["1 s", "1 A", "x"]]}, ".points[1]", "is no point"),
        ({"points": ["0 s: 1 A", "1 s: 1 V"]}, ".points[1]", '"1 V"'),
        ({"points": ["0 s: 1 A", "1: 1 A"]}, ".points[1]", '"1" has no unit'),
        ({"points": ["0 s: 1 A", "1 s: NaN"]}, ".points[1]", '"NaN"'),
        ({"points": ["5 s: 1 A", "5 s: 2 A"]}, ".points[1]", '"5 s" comes again'),
        ({"points": ["5 s: 1 A", "4 s: 2 A"]}, ".points[1]", '"4 s" comes after "5 s"'),
        ({"points": ["-5 s: 1 A", "4 s: 2 A"]}, ".points", "outside what is possible"),
        ({"points": ["0 s: 1 A", "4 s: 200 A"]}, ".points", "outside what is possible"),
        ({"points": ["0 s: 1 A", "4 s: 21 A"]}, ".points", "(point 1)?"),
        ({"points": ["0 s: 1 A", "4 s: 2 A"], "units": ["s", "A"]}, ".units", "belongs to a file"),
        ({"points": ["0 s: 1 A", "4 s: 2 A"], "place": "left"}, ".place", "one place only"),
        ({"points": ["0 s: 1 A", "4 s: 2 A"], "with": "meter"}, ".with", '"meter"'),
        ({"points": ["0 s: 1 A", "4 s: 2 A"], "of": "van.current"}, ".of", "stands under readings"),
        ({"points": ["0 s: 1 A", "4 s: 2 A"], "of": "van.warm"}, ".place", "is missing"),
        ({"file": "d.csv", "units": ["s"]}, ".units", "holds 1"),
        ({"file": "d.csv", "units": ["s", "V"]}, ".units[1]", '"V" is no unit of current'),
        ({"file": "d.csv", "decimal": ";"}, ".decimal", "is not a decimal mark"),
    ],
)  # fmt: skip
def test_every_fault_of_a_row_has_its_place(tmp_path: Path, row: dict[str, Any], at: str, words: str) -> None:
    (tmp_path / "d.csv").write_text(CSV, "utf-8")
    said = faults(tmp_path, {"of": "van.log", **row})
    assert any(one.startswith(f"step[0].records[0]{at}: ") and words in one for one in said), said


def test_a_fault_of_the_file_stands_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "d.csv").write_text("t [s];I [A]\n0;1\n1;x\n", "utf-8")
    (said,) = faults(tmp_path, {"of": "van.log", "file": "d.csv"})
    assert said.startswith('step[0].records[0].file: "d.csv", line 3: "x" in column 2 is not a number')


def test_no_sample_is_larger_than_the_range_that_it_was_read_on(tmp_path: Path) -> None:
    meter = {"clamp": {"accuracy": "1 % + 2 digits", "ranges": {"2 A": "1 mA", "20 A": "10 mA"}}}
    row = {"points": ["0 s: 2.1 A", "1 s: 0.2 A"], "with": "clamp"}
    assert body(tmp_path, {**row, "range": "20 A"}, instruments=meter)["span"] == "20 A"
    with pytest.raises(VisitError, match="larger than the range it was read on"):
        body(tmp_path, {**row, "range": "2 A"}, instruments=meter)


def test_an_unusual_record_is_taken_once_it_is_confirmed(tmp_path: Path) -> None:
    # 20 A are usual at most, 100 A possible
    for read, confirmed in (("20 A", False), ("20.1 A", True), ("100 A", True)):
        row = {"points": ["0 s: 1 A", f"1 s: {read}"], **({"confirmed": True} if confirmed else {})}
        assert body(tmp_path, row)["confirmed"] is confirmed
    row = {"of": "van.log", "points": ["0 s: 1 A", "1 s: 20.1 A"]}
    assert "confirmed = true" in faults(tmp_path, row)[0]


def test_what_could_not_be_recorded_is_said_like_any_other_thing() -> None:
    seen = {"seen": [{"of": "van.log", "cannot": "no logger at hand"}]}
    visit = {"job": "a", "reason": "b", "vehicle": {"plate": "DEMO-1"}, "step": [seen]}
    (found,) = [one for one in read_visit(json.dumps(visit).encode(), DECLARED).drafts if one.kind == "seen"]
    assert found.body["cannot"] == PersonalText("note", "no logger at hand")


def test_where_a_file_is_only_looked_at_an_odd_record_is_set_aside_alone() -> None:
    good, bad = (
        {"of": "van.log", "points": ["0 s: 1 A", "1 s: 2 A"]},
        {"of": "van.log", "points": ["0 s: 1 A", "1 s: soon"]},
    )
    found = read_for_check(json.dumps(data(bad, good)).encode(), DECLARED)
    assert [one.body["samples"] for one in found.drafts if one.kind == "recorded"] == [[1.0, 2.0]]
    assert [fault.path for fault in found.set_aside] == ["step[0].records[0].points[1]"]
    # An instrument that nobody knows costs the record its instrument, and not the record.
    named = read_for_check(json.dumps(data({**good, "with": "nobody's"})).encode(), attrs.evolve(DECLARED))
    assert [one.body["instrument"] for one in named.drafts if one.kind == "recorded"] == [""]
