"""Own words are never lost: they stand wherever an answer would, and among what comes next until somebody
answers them. What was read is neither asked for again nor said with an empty name.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.account.noted import is_noted, unanswered_words
from corekit.assess.assessment import assess
from corekit.assess.suspect import NextTest
from corekit.desk.assessment_data import as_data
from corekit.desk.assessment_text import as_words
from corekit.desk.check import CheckView, look
from corekit.desk.in_memory import scratch_job
from corekit.intake.declared import Declared
from corekit.intake.visit import VisitError, read_visit
from corekit.model.finding import Finding, Reason
from corekit.plugin.host import load
from corekit.report.findings import not_looked_at
from corekit.report.next_tests import named_tests
from corekit.visit.questions import present_answers

SMOKE = "smoke from the regulator, unplugged"
HOSES = {"of": "egr.vacuum_hoses", "words": SMOKE}
REACTION = {"of": "egr.reaction", "is": "no change"}


def view(tmp_path: Path, *steps: dict[str, Any]) -> CheckView:
    path = tmp_path / "visit.json"
    path.write_text(json.dumps({"job": "a", "reason": "b", "step": list(steps)}))
    return look(str(path), is_file=True, folder=tmp_path / "none")


def words(seen: CheckView) -> str:
    return " ".join(as_words(seen).split())


def next_part(seen: CheckView) -> str:
    text = words(seen)
    return text[text.index("not answered yet") :] if "not answered yet" in text else ""


def test_own_words_stand_where_the_answer_would_and_never_as_not_looked_at(tmp_path: Path) -> None:
    bare, noted = view(tmp_path, {"seen": [REACTION]}), view(tmp_path, {"seen": [REACTION, HOSES]})
    title = load().title("egr.vacuum_hoses")
    assert any(gap.wants == "egr.vacuum_hoses" for gap in bare.assessment.open_gaps), (
        "else this test shows nothing"
    )
    assert title in [gap.about for gap in bare.assessment.open_gaps]
    after = words(noted).partition("not looked at: ")[2].partition(".")[0]
    assert title not in after
    assert title not in [
        gap.about for gap in noted.assessment.open_gaps if not is_noted(gap, noted.assessment.job)
    ]
    assert f"Noted in words {title}: {SMOKE}" in words(noted)
    assert not any(title.lower() in sentence.lower() for sentence in not_looked_at(noted.assessment))
    data = as_data(noted)
    assert [(row["of"], row["words"], row["answered"]) for row in data["noted"]] == [
        ("egr.vacuum_hoses", SMOKE, False)
    ]
    assert not any(
        gap["wants"] == "egr.vacuum_hoses" and gap["reason"] == str(Reason.NOT_MEASURED)
        for gap in data["gaps"]
    )
    job = noted.assessment.job
    assert present_answers(job, noted.plugins, noted.texts)["egr.vacuum_hoses", ""] == SMOKE


@pytest.mark.parametrize(
    "answer",
    [
        [{"seen": [{**HOSES, "cleared": "a new regulator is ordered"}]}],
        [{"seen": [HOSES]}, {"seen": [{"of": "egr.vacuum_hoses", "is": "sound"}]}],
        [{"seen": [{**HOSES, "withdrawn": "it was steam"}]}],
    ],
    ids=["a word", "an answer", "withdrawn"],
)
def test_own_words_stand_under_what_next_until_somebody_answers_them(
    tmp_path: Path, answer: list[dict[str, Any]]
) -> None:
    assert SMOKE in next_part(view(tmp_path, {"seen": [HOSES]}))
    # Another look in own words, or at something else, answers nothing.
    for other in (
        {**HOSES, "words": "more smoke"},
        REACTION,
        {"of": "egr.vacuum_hoses", "cannot": "no lamp"},
    ):
        assert SMOKE in next_part(view(tmp_path, {"seen": [HOSES]}, {"seen": [other]}))
    answered = view(tmp_path, *answer)
    assert SMOKE not in next_part(answered)
    assert unanswered_words(answered.assessment) == ()


def test_a_finding_that_rests_on_own_words_answers_them(tmp_path: Path) -> None:
    seen = view(tmp_path, {"seen": [HOSES]})
    (one,) = unanswered_words(seen.assessment)
    assert isinstance(seen.assessment.findings, tuple)
    some = view(tmp_path, {"seen": [{"of": "battery.case", "is": "cracked"}]}).assessment.findings[0]
    assert isinstance(some, Finding)
    rests = attrs.evolve(seen.assessment, findings=(attrs.evolve(some, evidence=(one.entry,)),))
    assert unanswered_words(rests) == ()


def test_a_remark_is_shown_by_check_and_stays_until_it_is_answered(tmp_path: Path) -> None:
    scratch = {"remarked": {"words": "a scratch along the left door"}}
    seen = view(tmp_path, scratch, {"seen": [REACTION]})
    assert "Noted in words Remark: a scratch along the left door" in words(seen)
    assert "Remark: a scratch" in next_part(seen)
    cleared = view(tmp_path, {"remarked": {**scratch["remarked"], "cleared": "shown to the customer"}})
    assert "a scratch along the left door Answered: shown to the customer" in words(cleared)
    assert next_part(cleared) == ""


def test_an_answer_to_own_words_needs_words_beside_it(tmp_path: Path) -> None:
    rows = {"job": "a", "reason": "b", "vehicle": {"plate": "DEMO-1"}}
    for row in ({**REACTION, "cleared": "done"}, {**HOSES, "cleared": " "}):
        content = json.dumps({**rows, "step": [{"seen": [row]}]}).encode()
        with pytest.raises(VisitError) as caught:
            read_visit(content, Declared.of(load(), currency="EUR"))
        assert [fault.path for fault in caught.value.faults] == ["step[0].seen[0].cleared"]


def test_own_words_after_a_repair_are_looked_at_too_and_speak_of_nothing_else(tmp_path: Path) -> None:
    repaired = {"repaired": {"operation": "egr.clean"}}
    seen = view(tmp_path, {"seen": [REACTION]}, repaired, {"seen": [HOSES]})
    title = load().title("egr.vacuum_hoses")
    assert title not in words(seen).partition("not looked at: ")[2].partition(".")[0]
    gap = next(gap for gap in seen.assessment.gaps if gap.wants == "egr.vacuum_hoses")
    assert is_noted(gap, seen.assessment.job)
    assert not is_noted(attrs.evolve(gap, wants="egr.sensing_hoses"), seen.assessment.job)


# ---- what comes next


def test_a_test_that_names_nothing_is_not_said() -> None:
    def test(key: str, question: str) -> NextTest:
        return NextTest(system="egr", key=key, question=question, minutes=1, bits=0.1, wants=key)

    good = test("egr.vacuum_hoses", "Are the hoses sound?")
    assert named_tests([test("", ", before anything is said of plug gaps."), good, test("egr.x", " ")]) == [
        good
    ]


def test_one_open_place_of_several_leads_to_no_test_without_a_name(tmp_path: Path) -> None:
    """Cylinder 1 is too close to the limit to call, cylinder 2 is plainly wide."""
    rows: dict[str, Any] = {
        "job": "a",
        "reason": "b",
        "specification": [{"of": "ignition.plug_gap", "low": "0.8 mm", "high": "0.9 mm", "from": "handbook"}],
        "step": [
            {
                "readings": [
                    {"of": "ignition.plug_gap", "place": "cylinder 1", "is": "0.85 mm"},
                    {"of": "ignition.plug_gap", "place": "cylinder 2", "is": "1.35 mm"},
                ]
            }
        ],
    }
    path = tmp_path / "gap.json"
    path.write_text(json.dumps(rows))
    seen = look(str(path), is_file=True, folder=tmp_path / "none")
    questions = [test["question"] for test in as_data(seen)["next_tests"]]
    assert questions and not any(question.lstrip()[:1] in ("", ",", ".") for question in questions)
    assert ". ," not in words(seen)


def test_codes_that_were_read_are_not_asked_for_again(tmp_path: Path) -> None:
    def asked(*lists: dict[str, Any]) -> list[str]:
        seen = view(tmp_path, {"seen": [REACTION]}, *({"codes": one} for one in lists))
        return [test["test"] for test in as_data(seen)["next_tests"] if "code" in test["question"].lower()]

    assert asked(), "else this test shows nothing"
    assert asked({"stored": []}) == asked({"stored": ["P0401"]}) == asked({"stored": [], "pending": []}) == []
    assert asked({"stored": [], "permanent": ["P0401"]}) == [], "a permanent code says neither"
    assert asked({"pending": []}), "the stored list is still to be read"
    only_pending = words(view(tmp_path, {"seen": [REACTION]}, {"codes": {"pending": []}}))
    assert "codes = { stored = [ … ] }" in only_pending or "After these" in only_pending


def test_check_of_a_saved_job_shows_the_words_too(tmp_path: Path) -> None:
    visit = read_visit(
        json.dumps(
            {"job": "a", "reason": "b", "vehicle": {"plate": "X"}, "step": [{"seen": [HOSES]}]}
        ).encode(),
        Declared.of(load(), currency="EUR"),
    )
    job, texts = scratch_job(visit)
    plugins = load()
    gone = CheckView(assessment=assess(job, plugins), plugins=plugins)
    assert SMOKE in words(CheckView(assessment=gone.assessment, plugins=plugins, texts=texts))
    assert "removed" in words(gone)
