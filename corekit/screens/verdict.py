"""A verdict as a large word with a shape of ours beside it, so that it is read at arm's length and without a
colour.
"""

from __future__ import annotations

import attrs

from ..model.finding import Finding, Urgency, Verdict

#: What a good reading is called that no limit decides.
AS_USUAL = "as usual"


@attrs.frozen
class VerdictWord:
    """What stands large, what stands small beside it, and the shape: a dot inside an allowed span, outside of
    it, or on its end.

    Attributes:
        word: *pass*, *fail*, *undecided*; of a statement without a limit when something is to be done, or
            that all is as usual.
        when: Until when something is to be done; empty where the word says it or nothing is to be done.
        shape: *inside*, *outside* or *end*.
    """

    word: str
    when: str
    shape: str


def verdict_word(finding: Finding) -> VerdictWord:
    """How a finding is said in one word."""
    nothing = finding.urgency is Urgency.NOTHING
    when = "" if nothing else str(finding.urgency)
    if finding.verdict is Verdict.PASS:
        return VerdictWord("pass", when, "inside")
    if finding.verdict is Verdict.FAIL:
        return VerdictWord("fail", when, "outside")
    if finding.verdict is Verdict.UNDECIDED:
        return VerdictWord("undecided", when, "end")
    return VerdictWord(AS_USUAL, "", "inside") if nothing else VerdictWord(when, "", "outside")
