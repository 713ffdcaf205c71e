"""A verdict is one large word: pass, fail, undecided; a good reading without a limit is as usual."""

from __future__ import annotations

import attrs
import pytest

from corekit.model.finding import Finding, Text, Urgency, Verdict
from corekit.screens.verdict import AS_USUAL, verdict_word

FINDING = Finding(
    code="clutch.play",
    system="clutch",
    check="Play",
    verdict=Verdict.PASS,
    urgency=Urgency.NOTHING,
    text=Text("It has play."),
)


@pytest.mark.parametrize(
    ("verdict", "urgency", "word", "when", "shape"),
    [
        (Verdict.PASS, Urgency.NOTHING, "pass", "", "inside"),
        (Verdict.FAIL, Urgency.BEFORE_DRIVING, "fail", "before driving", "outside"),
        (Verdict.UNDECIDED, Urgency.THIS_VISIT, "undecided", "this visit", "end"),
        (Verdict.ADVICE, Urgency.NOTHING, AS_USUAL, "", "inside"),
        (Verdict.ADVICE, Urgency.PLAN_IT, "plan it", "", "outside"),
    ],
)
def test_every_verdict_has_one_word_and_one_shape(
    verdict: Verdict, urgency: Urgency, word: str, when: str, shape: str
) -> None:
    said = verdict_word(attrs.evolve(FINDING, verdict=verdict, urgency=urgency))
    assert (said.word, said.when, said.shape) == (word, when, shape)
