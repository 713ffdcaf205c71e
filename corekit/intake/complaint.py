"""What the customer tells, and what came of something that was tried: rows of a visit file."""

from __future__ import annotations

from collections.abc import Mapping

from ..complaints import AGAIN, SymptomList, symptoms, trials
from ..fault import Place, any_of, quotation
from ..model.job import stage_name
from ..model.public_words import SWAPPED_WITH
from ..model.records import Complained, Retold, Tried, body_of
from .drafts import Drafts, personal
from .form import ComplaintAgainStep, ComplaintRow, TriedStep


class ComplaintRows(Drafts):
    """Rows about the complaint and about trials. Everything may be said by its key or by its words."""

    def _complaint(self, row: ComplaintRow | None) -> None:
        if row is None:
            return
        known: SymptomList = symptoms()
        path: Place = ("complaint",)
        words = {key: symptom.words for key, symptom in known.symptoms.items()}
        told = []
        for n, text in enumerate(row.symptoms or []):
            key = self._key_of((*path, "symptoms", n), text, "a symptom", words)
            told.append(key)
        if not told and not self.faults.below((*path, "symptoms")):
            self.faults.add((*path, "symptoms"), "is missing", any_of(map(quotation, words.values())))
        when = [
            self._key_of((*path, "when", n), text, "a circumstance", known.circumstances)
            for n, text in enumerate(row.when or [])
        ]
        shows = {key: one.words for key, one in known.shows.items()}
        share = "" if row.shows is None else self._key_of((*path, "shows"), row.shows, "how often", shows)
        record = Complained(symptoms=[key for key in told if key], circumstances=when, shows=share)
        self._say("complaint", "complaint", body_of(record), path)

    def _complaint_again(self, path: Place, row: ComplaintAgainStep) -> None:
        known = trials().results
        result = self._key_of(
            (*path, "is"), row.is_, "how the complaint is now", {key: known[key] for key in AGAIN}
        )
        self._say(
            "complaint_again",
            f"{stage_name(self.stage)}/complaint",
            body_of(Retold(result=result, stage=self.stage)),
            path,
            taken=row.taken,
            withdrawn=self._full((*path, "withdrawn"), row.withdrawn),
        )

    def _read_tried(self, path: Place, row: TriedStep) -> None:
        known = trials()
        part = self._declaration((*path, "part"), row.part, "a part", self.declared.parts)
        how = self._key_of(
            (*path, "how"), row.how, "a way to try it", {key: way.words for key, way in known.ways.items()}
        )
        way = known.ways.get(how)
        results = {key: known.results[key] for key in (way.results if way else known.results)}
        result = self._key_of((*path, "result"), row.result, "what came of it", results)
        words = self._full((*path, "words"), row.words)
        if result == "other" and not words and not self.faults.at((*path, "words")):
            self.faults.add((*path, "words"), "is missing", "what came of it, in words", 'words = "…"')
        if how == "swapped" and not row.with_ and not self.faults.at((*path, "with")):
            self.faults.add(
                (*path, "with"), "is missing", "what it was exchanged with", 'with = "cylinder 3"'
            )
        ago = self.examination.quantity((*path, "ago"), row.ago, ["years"]) if row.ago is not None else None
        if row.ago is not None and not row.before:
            self.faults.add(
                (*path, "ago"), "is said of something tried now", "before = true beside it, or no ago"
            )
        if part is None or way is None or not result:
            return
        place = self._place((*path, "place"), row.place, part.places, part.key, needed=False)
        record = Tried(
            part=part.key,
            how=how,
            result=result,
            place=place,
            swapped_with=_swapped_with(row.with_ or "", part.places),
            stage=self.stage,
            before=bool(row.before),
            ago=ago.number if ago is not None else None,
            ago_typed=row.ago or "",
            words=personal("note", words),
        )
        self._say(
            "tried",
            f"{stage_name(self.stage)}/tried/{part.key}/{place}/{how}",
            body_of(record),
            path,
            taken=row.taken,
            withdrawn=self._full((*path, "withdrawn"), row.withdrawn),
        )

    def _key_of(self, path: Place, text: str | None, what: str, words: Mapping[str, str]) -> str:
        """The key of what was said by its key or its words, small words left out or not; empty with a fault,
        which lists all, those with the most words in common first: the nearest may mean the opposite.
        """
        typed = _telling_words(text or "")
        common = {key: len(set(typed) & set(_telling_words(said))) for key, said in words.items()}
        listed = any_of(quotation(words[key]) for key in sorted(words, key=lambda key: -common[key]))
        if not self._is_given(path, text, f"{what}: {listed}", quotation(next(iter(words.values())))):
            return ""
        plain = " ".join((text or "").casefold().split())
        for key, said in words.items():
            if plain in (key.casefold(), key.casefold().replace("_", " "), said.casefold()):
                return key
        alike = [key for key, said in words.items() if typed and _telling_words(said) == typed]
        if len(alike) == 1:
            return alike[0]
        self.faults.add(path, f"{quotation(text or '')} is not {what}", listed, listed)
        return ""


def _swapped_with(text: str, places: tuple[str, ...]) -> str:
    """A place of the part or an answer of the closed list, as it is; whatever else is typed may name a
    person, and is kept with the persons.
    """
    declared = {place.casefold(): place for place in places}
    place = declared.get(" ".join(text.casefold().split()))
    if place is not None or not text.strip() or SWAPPED_WITH.holds(text):
        return place or text
    return SWAPPED_WITH.own(text)


#: Words without which a sentence still says the same. No word that denies is among them.
_SMALL_WORDS = frozenset(("a", "an", "the", "it", "its", "is", "are", "i", "my"))


def _telling_words(text: str) -> list[str]:
    """
    >>> _telling_words("The engine lamp is on.")
    ['engine', 'lamp', 'on']
    """
    words = (word.strip(".,;:!?") for word in text.casefold().split())
    return [word for word in words if word and word not in _SMALL_WORDS]
