"""What was noted in own words: nobody judges it, and nobody may miss it.

Own words with an observation stand wherever its answer would; with the remarks they stay among what comes
next until somebody answers them.
"""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from ..assess.assessment import Assessment
from ..model.finding import Gap
from ..model.job import Job, Noted
from ..model.personal import Personal
from ..model.records import Measured, Remarked, Seen


@attrs.frozen(kw_only=True)
class OwnWords:
    """One thing that was noted in own words.

    Attributes:
        entry, stage: The entry that says it, and when.
        of, place: Key of what was looked at, and where; empty for a remark on the vehicle.
        words: As they are referred to.
        cleared: What somebody said who answered them; empty while nobody has.
    """

    entry: str
    stage: int
    words: object
    of: str = ""
    place: str = ""
    cleared: str = ""

    def text(self, texts: Mapping[str, str]) -> str:
        """The words themselves; where they were destroyed it says so."""
        return _text(self.words, texts)


def own_words(job: Job) -> tuple[OwnWords, ...]:
    """All that was noted in own words, in the order in which it was."""
    found = []
    for noted in job.standing:
        record = noted.record
        if isinstance(record, Seen) and record.words is not None:
            found.append(
                OwnWords(
                    entry=noted.id,
                    stage=record.stage,
                    words=record.words,
                    of=record.of,
                    place=record.place,
                    cleared=record.cleared,
                )
            )
        elif isinstance(record, Remarked) and record.words is not None:
            found.append(
                OwnWords(entry=noted.id, stage=record.stage, words=record.words, cleared=record.cleared)
            )
    return tuple(found)


def unanswered_words(assessment: Assessment) -> tuple[OwnWords, ...]:
    """Own words that nobody has answered: not with a word, not by an answer to the same thing later on, and
    no finding rests on them.
    """
    job = assessment.job
    rested_on = {entry for finding in assessment.findings for entry in finding.evidence}
    order = {noted.id: place for place, noted in enumerate(job.standing)}
    return tuple(
        one
        for one in own_words(job)
        if not one.cleared
        and one.entry not in rested_on
        and not any(_answers(noted, one) for noted in job.standing[order[one.entry] + 1 :])
    )


def _answers(noted: Noted[object], one: OwnWords) -> bool:
    record = noted.record
    if not one.of or not isinstance(record, (Measured, Seen)) or record.of != one.of:
        return False
    says = isinstance(record, Measured) or bool(record.answer)
    return says and (not one.place or record.place == one.place)


def is_noted(gap: Gap, job: Job) -> bool:
    """True where a gap is about something of which own words say what was seen, at whatever stage: then
    nobody may say that it was not looked at.
    """
    return bool(gap.wants) and any(one.of == gap.wants for one in own_words(job))


def seen_words(record: Seen, texts: Mapping[str, str]) -> str:
    """What somebody saw, in a few words: the answer, the own words, or why it could not be had."""
    if record.cannot:
        return f"not obtained: {record.cannot}"
    return record.answer or _text(record.words, texts) or "noted in words"


def _text(words: object, texts: Mapping[str, str]) -> str:
    return texts.get(words.hash, "") if isinstance(words, Personal) else ""
