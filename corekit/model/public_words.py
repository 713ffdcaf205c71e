"""Closed lists of answers that may be printed and published as they stand.

Whatever else is typed in their place may name a person or a house, so it is personal by its type: it is kept
with the persons, a paper for the customer shows it, and every other copy shows what stands for it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import attrs

from .personal import KeptWords, Personal, PersonalText, SpokenWords

_PAGE = r"(?:,? (?:p\.?|page|pages|section|table|fig\.?|figure|chapter) ?[A-Za-z]{0,2}-?[0-9][0-9.\-–]{0,8})*"


@attrs.frozen(kw_only=True)
class PublicWords:
    """The answers of one field.

    Attributes:
        answers: As they are printed; case and spaces do not count.
        instead: What is read where own words stand.
        cited: A page or section may follow an answer.
    """

    answers: tuple[str, ...]
    instead: str
    cited: bool = False

    def read(self, raw: Any) -> Any:
        """The answer as it was said, or own words as `KeptWords`."""
        kept = self.kept(raw)
        if isinstance(kept, (KeptWords, SpokenWords)) or not isinstance(kept, str):
            return kept
        return kept if not kept.strip() or self.holds(kept) else self.own(kept)

    def kept(self, raw: Any) -> Any:
        """Own words that are kept with the persons as `KeptWords`; a text as it is, for a field whose other
        answers a plugin declares: there whoever takes in a row tells which words are a person's.
        """
        if isinstance(raw, Mapping):
            return KeptWords(self.instead, Personal(raw["personal"], raw["hash"]))
        return KeptWords(self.instead, raw) if isinstance(raw, (Personal, PersonalText)) else raw

    def own(self, text: str) -> KeptWords:
        """A person's own words, on their way in."""
        return KeptWords(self.instead, PersonalText("note", text))

    def holds(self, text: str) -> bool:
        """True when the text is one of the answers."""
        said = " ".join(text.casefold().split())
        answers = [answer.casefold() for answer in self.answers]
        if said in answers:
            return True
        listed = "|".join(map(re.escape, answers))
        return re.fullmatch(f"(?:{listed}){_PAGE if self.cited else ''}", said, re.IGNORECASE) is not None


#: Why something cannot be had. The screens offer some of these; see `corekit.visit.questions`.
CANNOT = PublicWords(
    answers=(
        "no access",
        "no access without taking more apart",
        "no reach",
        "no tool for it here",
        "no gauge here",
        "seized",
        "seized, or would break",
        "sealed lid",
        "the lid is seized",
        "not fitted on this vehicle",
        "not possible in this weather or place",
        "too dangerous here",
        "nobody here knows",
        "the owner left",
        "dark",
        "no connector",
        "no connector found",
        "no answer at the connector",
        "the module (ecu) does not answer",
        "no scan tool here",
        "no reader at hand",
        "posts under a cover",
        "beyond the range, shows ol",
    ),
    instead="for a reason that is noted with the shop",
)
NO_VIN = PublicWords(
    answers=(
        "not seen yet",
        "not seen",
        "not readable",
        "dirty",
        "not asked for",
        "not asked for on a misfire",
        "plate under the carpet",
        "plate under the windscreen is covered",
    ),
    instead="for a reason that is noted with the shop",
)
_CARRIERS = ("label", "sticker", "type plate")
_PLACES = (
    "bonnet",
    "hood",
    "engine bay",
    "engine cover",
    "door",
    "door frame",
    "fuse box",
    "coil",
)
WHERE_FROM = PublicWords(
    answers=(
        *_CARRIERS,
        *(
            f"{carrier} {how} the {place}"
            for carrier in _CARRIERS
            for how in ("under", "in", "on")
            for place in _PLACES
        ),
        "handbook",
        "manual",
        "owner's manual",
        "owner's handbook",
        "repair manual",
        "repair manual of the vehicle",
        "workshop manual",
        "service sheet",
        "data sheet",
        "datasheet",
        "maker's data",
    ),
    instead="a document that is noted with the shop",
    cited=True,
)
#: What a part was swapped with, where that is no place of it.
SWAPPED_WITH = PublicWords(
    answers=("another vehicle", "another car", "the other side", "a spare", "a new one", "a known good one"),
    instead="one that is noted with the shop",
)
CLEARED = PublicWords(
    answers=("cleaned off", "repaired", "renewed", "done", "gone", "as it was", "told the customer"),
    instead="the answer is noted with the shop",
)
HOW_APPROVED = PublicWords(
    answers=(
        "in person",
        "by phone",
        "by message",
        "by text message",
        "by e-mail",
        "by email",
        "by letter",
        "in writing",
        "with a signature",
        "in person, with a signature",
        "on the page",
    ),
    instead="in a way that is noted with the shop",
)
HOW_PAID = PublicWords(
    answers=(
        "cash",
        "card",
        "by card",
        "credit card",
        "debit card",
        "bank",
        "transfer",
        "bank transfer",
        "by transfer",
        "by bank transfer",
        "direct debit",
        "cheque",
        "check",
        "by cheque",
        "voucher",
        "by phone app",
    ),
    instead="in a way that is noted with the shop",
)
#: Why approved work took more or less than estimated, or more was approved for it.
WHY_CHANGED = PublicWords(
    answers=(
        "a seized bolt",
        "a seized part",
        "a broken bolt",
        "a broken part",
        "rust",
        "hard to reach",
        "it took longer",
        "it took less time",
        "it went fast",
        "more was worn than could be seen",
        "a further part was needed",
        "another part was needed",
        "fewer parts were needed",
        "the old part held",
        "the price of the part changed",
        "the customer asked for it",
    ),
    instead="for a reason that is noted with the shop",
)
WHY_CREDITED = PublicWords(
    answers=(
        "wrong price",
        "wrong quantity",
        "wrong tax rate",
        "wrong customer",
        "wrong address",
        "charged twice",
        "a part was taken back",
        "the old part was returned",
        "the work was not done",
        "the work did not help",
        "guarantee",
        "goodwill",
        "a discount",
        "issued by mistake",
        "the invoice is corrected",
    ),
    instead="for a reason that is noted with the shop",
)
WHY_WRITTEN_OFF = PublicWords(
    answers=(
        "cannot be collected",
        "too little to ask for",
        "goodwill",
        "agreed with the customer",
        "the customer is insolvent",
        "out of time",
        "rounding",
    ),
    instead="for a reason that is noted with the shop",
)
WHY_LESS = PublicWords(
    answers=("a regular", "goodwill", "as agreed", "a colleague in the trade", "paid at once", "a discount"),
    instead="for a reason that is noted with the shop",
)
#: Why what was said is taken back. The program's own words are among them, and those that screens offer.
WHY_WITHDRAWN = PublicWords(
    answers=(
        "its system can read it now",
        "the probe slipped",
        "the clip slipped",
        "clip slipped",
        "wrong clamp",
        "wrong range",
        "read at the wrong place",
        "read on the wrong vehicle",
        "typing error",
        "typed for another car",
        "typed twice",
        "the diagnosis was wrong",
        "noted wrongly",
        "not for the document",
        "it turned out otherwise",
        "the customer decided otherwise",
        "the money was given back",
        "given back",
    ),
    instead="for a reason that is noted with the shop",
)
