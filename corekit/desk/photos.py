"""The photos on a job's papers: chosen one by one, small, bare of all but the picture."""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Iterator

from ..model.document import Document, Photos
from ..model.entry import Draft, Entry, own_subject
from ..model.job import Job
from ..model.jpeg import LARGEST_ON_PAPER, MOST_ON_PAPER, SIDE_ON_PAPER, Jpeg, JpegError, read_jpeg
from ..model.personal import Personal, PersonalText
from ..model.records import PhotoChosen, Withdrawn, body_of
from ..store.mark import random_id
from .context import ShopContext, request_of
from .errors import DeskError
from .jobs import texts_of


def choose_photo(shop: ShopContext, job: str, photo: str, image: str, *, request_id: str = "") -> Entry:
    """Put a photo on the evidence sheet of the papers that are made from now on; chosen already, it stays.

    Args:
        photo: The entry of the photo.
        image: A small copy as base64 text: a JPEG with nothing in it but the picture.
        request_id: Of what brings it; brought under it again, it adds nothing.

    Raises:
        DeskError: there is no such photo, the copy is too large or holds more than a picture, or as many
            photos are chosen as a paper takes.
        RequestConflictError: the id is another request's.
    """
    picture = _read_small(image)
    job = shop.store.find(job)
    content = {"photo for paper": photo, "copy": hashlib.sha256(image.encode()).hexdigest()}
    with shop.store.transaction(job, request=request_of(request_id, content)) as transaction:
        if transaction.known is not None:
            return transaction.known.entries[0]
        assert transaction.job is not None
        if photo not in {noted.id for noted in transaction.job.photos}:
            raise DeskError("This photo was withdrawn meanwhile. Nothing was changed.")
        standing = [one.entry for one in transaction.job.all(PhotoChosen) if one.record.photo == photo]
        if standing:
            transaction.note_standing(standing[0])
            return standing[0]
        if len(transaction.job.photos_for_paper) >= MOST_ON_PAPER:
            raise DeskError(
                f"A document takes at most {MOST_ON_PAPER} photos, and as many are chosen. Take one off"
                " first. Nothing was changed."
            )
        chosen = PhotoChosen(
            photo=photo, width=picture.width, height=picture.height, image=PersonalText("photo", image)
        )
        subject = own_subject("photo_chosen", random_id(12))
        return transaction.append([Draft(kind="photo_chosen", subject=subject, body=body_of(chosen))])[0]


def leave_photo_off(shop: ShopContext, job: str, photo: str, *, request_id: str = "") -> None:
    """Take a photo off the papers that are made from now on; the photo itself stays.

    Raises:
        RequestConflictError: the id is another request's.
    """
    job = shop.store.find(job)
    content = {"photo off paper": photo}
    with shop.store.transaction(job, request=request_of(request_id, content)) as transaction:
        if transaction.known is not None:
            return
        assert transaction.job is not None
        chosen = [one.entry for one in transaction.job.all(PhotoChosen) if one.record.photo == photo]
        transaction.append(
            Draft(
                kind="withdrawn",
                subject=one.subject,
                body=body_of(Withdrawn()),
                replaces=(one.id,),
                reason="not for the document",
            )
            for one in chosen
        )
        if not chosen:
            transaction.note_standing()


def _read_small(image: str) -> Jpeg:
    try:
        data = base64.b64decode(image, validate=True)
        picture = read_jpeg(data)
    except (binascii.Error, JpegError) as error:
        raise DeskError(f"This photo does not go on a document: {error} Nothing was changed.") from error
    if len(data) > LARGEST_ON_PAPER or max(picture.width, picture.height) > SIDE_ON_PAPER:
        raise DeskError(
            f"A photo on a document has at most {SIDE_ON_PAPER} pixels a side and {LARGEST_ON_PAPER // 1000}"
            f" kB; this one has {picture.width} × {picture.height} and {-(-len(data) // 1000)} kB."
            " Nothing was changed."
        )
    return picture


def texts_on(shop: ShopContext, document: Document, *jobs: Job) -> dict[str, str]:
    """What the customer's own copy of a Document resolves: the personal texts of its jobs, and the photos
    that stand on it.
    """
    return texts_of(shop, *jobs) | photos_on(shop, document)


def photos_on(shop: ShopContext, document: Document) -> dict[str, str]:
    """The photos that stand on a Document, by hash."""
    return shop.store.texts(photo_references(document))


def photo_references(document: Document) -> Iterator[Personal]:
    """The photos that a Document names."""
    for block in document.blocks:
        if isinstance(block, Photos):
            yield from (run for row in block.rows for run in row.image if isinstance(run, Personal))
