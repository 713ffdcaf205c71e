"""What another shop handed over and its customer brought: an earlier visit in a job, with its origin.

The content is masked as it came, so it names nobody. It is told and never judged: what it prints was read by
others, with what and how is theirs to know.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..model.job import Job
from ..model.records import Brought
from ..report.text import clean

if TYPE_CHECKING:
    from ..model.document import Document


def brought_document(record: Brought) -> Document:
    import json

    from ..model.document import from_data  # few jobs have such a paper

    return from_data(json.loads(record.content))


def origin_words(document: Document) -> str:
    """Which paper it is, and whose."""
    return clean(f"{document.title} of {document.shop}, {document.issued}")


def brought_lines(job: Job) -> Iterator[list[str]]:
    """Each paper that was brought, in lines: whose it is and its mark, what it answers, what it prints of
    readings and work.
    """
    for noted in job.all(Brought):
        from ..model.document import Account, Answer, Readings

        document = brought_document(noted.record)
        lines = [f"{origin_words(document)}, record mark {noted.record.mark}"]
        for block in document.blocks:
            if isinstance(block, Answer):
                lines.append(block.text)
            elif isinstance(block, Readings):
                lines += [
                    f"{row.name}: {' then '.join(filter(None, (row.before, row.after)))}"
                    for row in block.rows
                ]
            elif isinstance(block, Account):
                lines += [work.text for row in block.rows for work in row.works]
        yield [clean(line) for line in lines]
