"""Opening a paper that somebody brings: is what it prints what it carries, and where not, which words differ?

It needs no shop. Nothing here says that a paper is genuine: whoever makes a paper anew can make its content
fit. That the shop's record leads to its mark is for `corekit verify --mark`.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

import attrs

from ..model.document import Document
from ..model.mark import content_mark
from ..report.pdf import render_pdf
from ..report.personal_text import mask
from ..report.wording import wording
from ..share.attachment import paper_of, read_paper

_CONTEXT = 6  # words before a difference that say where it stands


@attrs.frozen(kw_only=True)
class Difference:
    """Words that the sheets print otherwise than the content.

    Attributes:
        after: The words printed before.
        printed, carried: What stands on the sheets, and what the content says; empty where there is nothing.
    """

    after: str
    printed: str
    carried: str

    def __str__(self) -> str:
        where = f"after “{self.after}”" if self.after else "at the beginning"
        return f"{where}: the sheets say “{self.printed or '–'}”, the content says “{self.carried or '–'}”"


@attrs.frozen(kw_only=True)
class OpenedPaper:
    """A paper that was opened.

    Attributes:
        document: What it carries. anew: The same drawn again, masked, as a PDF.
        mark: The record mark that the content leads to; empty where the document is of before.
        differences: Numbers, dates, amounts and readings that are printed otherwise.
    """

    document: Document
    anew: bytes
    mark: str
    differences: tuple[Difference, ...]

    @property
    def states_its_mark(self) -> bool:
        return self.mark == self.document.mark


def open_paper(path: Path) -> OpenedPaper:
    """Open a paper and hold what it prints against what it carries.

    Raises:
        PaperFileError: it is no paper of corekit, or carries nothing.
    """
    paper = read_paper(path)
    anew = render_pdf(paper.document, mask, None)
    printed = paper_of(anew, "drawn anew").printed
    return OpenedPaper(
        document=paper.document,
        anew=anew,
        mark=content_mark(paper.document) if paper.document.rests_on else "",
        differences=tuple(differences(_words(paper.printed), _words(printed))),
    )


def differences(printed: Sequence[str], carried: Sequence[str]) -> Iterator[Difference]:
    """Where the two differ in a word with a figure in it.

    Words that stand in place of a mask are a person's and on the customer's own paper only; so is the address
    with its code.
    """
    matcher = difflib.SequenceMatcher(None, printed, carried, autojunk=False)
    for what, start, end, from_, to in matcher.get_opcodes():
        if what == "equal":
            continue
        here, there = printed[start:end], carried[from_:to]
        if any(_is_masked(word) for word in there) or not any(map(_has_figure, (*here, *there))):
            continue
        after = " ".join(printed[max(0, start - _CONTEXT) : start])
        yield Difference(after=after, printed=" ".join(here), carried=" ".join(there))


def _words(printed: str) -> list[str]:
    """The words of a text layer without the link, which is no part of the content; masks as one word each."""
    code = wording()["code"]
    bare = " ".join(printed.split())
    for words in (code["see"], code["scan"]):
        bare = re.sub(f"{re.escape(words)}.*?(?={re.escape(code['mark'])})", "", bare)
    bare = bare.replace(code["no_link"], "")
    for mask_ in sorted(wording()["mask"].values()):
        bare = bare.replace(mask_, f" {_MASK} ")
    return bare.split()


_MASK = "\N{FULL BLOCK}"


def _is_masked(word: str) -> bool:
    return _MASK in word


def _has_figure(word: str) -> bool:
    return any(sign.isdigit() for sign in word)
