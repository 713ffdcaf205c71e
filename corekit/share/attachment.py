"""A paper as a file that somebody brings: the content it carries, and what is printed on its sheets."""

from __future__ import annotations

from pathlib import Path

import attrs

from ..errors import CorekitError
from ..model.canonical import canonical
from ..model.document import Document, from_data, to_data
from ..report.pdf import ATTACHMENT
from .published import LARGEST, PublishError, strict_json

#: No paper is larger; one of ten sheets takes some 120 kB.
LARGEST_PAPER = 20_000_000


class PaperFileError(CorekitError):
    """A file is no paper that can be opened; the message says which, what is wrong and what to do."""


@attrs.frozen(kw_only=True)
class PaperFile:
    """The Document that a paper carries, and the words printed on its sheets, in the order of the file."""

    document: Document
    printed: str


def read_paper(path: Path) -> PaperFile:
    """What a paper carries and prints.

    Raises:
        PaperFileError: it cannot be read, is no PDF, or carries no content of corekit.
    """
    try:
        if path.stat().st_size > LARGEST_PAPER:
            raise PaperFileError(f"{path}: larger than any paper of corekit (20 MB); name the paper itself.")
        data = path.read_bytes()
    except OSError as error:
        raise PaperFileError(f"{path}: cannot be read ({error.strerror or error}).") from error
    return paper_of(data, str(path))


def paper_of(data: bytes, name: str) -> PaperFile:
    """As `read_paper`, of a file's bytes; `name` is for messages."""
    import io

    from pypdf import PdfReader

    try:
        reader = PdfReader(io.BytesIO(data))
        attached = reader.attachments.get(ATTACHMENT, [])
        printed = "\n".join(page.extract_text() for page in reader.pages)
    except Exception as error:  # a file from outside: whatever the reader stumbles over, it is no paper
        raise PaperFileError(f"{name}: this is no PDF that can be read ({type(error).__name__}).") from error
    if len(attached) != 1:
        how_many = "carries no content of its own" if not attached else "carries its content twice"
        raise PaperFileError(
            f"{name}: this PDF {how_many}, so there is nothing to hold its sheets against. Papers issued"
            " before carry none; a copy that was printed and scanned has lost it."
        )
    try:
        if len(attached[0]) > LARGEST:
            raise PublishError("it is larger than any document.")
        document = from_data(strict_json(attached[0]))
        canonical(to_data(document))  # half of a pair, say, is no text: nothing could be drawn of it
    except (PublishError, ValueError) as error:
        raise PaperFileError(f"{name}: what it carries is no document of corekit: {error}") from error
    return PaperFile(document=document, printed=printed)
