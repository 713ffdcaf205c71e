"""Photos chosen for the evidence sheet: few, small, bare, on the customer's paper and on no page, gone with
the persons.
"""

from __future__ import annotations

import base64
import io
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import pypdf
import pytest
from PIL import Image

from corekit.desk.errors import DeskError
from corekit.desk.issuing import invoice_draft, invoice_of
from corekit.desk.jobs import job_named, photograph
from corekit.desk.opening import open_paper
from corekit.desk.photos import choose_photo, leave_photo_off
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.model.document import Code, Heading, Photos, to_data
from corekit.model.mark import content_mark
from corekit.reference import data_path
from corekit.report.page import render_page
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import mask
from corekit.report.terminal import render_text

from ..screens.everywhere import all_done, found

SECRET = "Nora Example's dent"


def jpeg(size: tuple[int, int] = (400, 300), colour: str = "teal", **more: Any) -> str:
    """A small JPEG as base64 text."""
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG", **more)
    return base64.b64encode(out.getvalue()).decode()


def noise(size: tuple[int, int]) -> str:
    out = io.BytesIO()
    Image.effect_noise(size, 120).convert("RGB").save(out, "JPEG", quality=95)
    return base64.b64encode(out.getvalue()).decode()


def taken(shop: Shop, job: str, count: int = 1, **more: Any) -> list[str]:
    """The entries of so many photos."""
    return [photograph(shop.context, job, jpeg((64, 48 + n)), **more).id for n in range(count)]


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str]:
    """A shop with a job that is repaired and looked at again, and one whose repair is to be estimated; made
    once for all tests here.
    """
    folder = tmp_path_factory.mktemp("photos") / "shop"
    folder.mkdir()
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    with Shop(folder) as shop:
        return folder, all_done(shop), found(shop)


@pytest.fixture
def shop(ready: tuple[Path, str, str], tmp_path: Path) -> Iterator[Shop]:
    with Shop(Path(shutil.copytree(ready[0], tmp_path / "shop"))) as opened:
        yield opened


@pytest.fixture
def job(ready: tuple[Path, str, str]) -> str:
    return ready[1]


def pictures(paper: bytes) -> list[tuple[int, int]]:
    """Of the photos of a PDF its sizes, page after page, as another reader unpacks them."""
    return [image.image.size for page in pypdf.PdfReader(io.BytesIO(paper)).pages for image in page.images]


def words(paper: bytes) -> str:
    return " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(paper)).pages)


def test_a_chosen_photo_stands_on_the_sheet_behind_the_bill_with_what_it_shows_and_when(
    shop: Shop, job: str
) -> None:
    (one, other) = taken(shop, job, 2, of="battery.case", what="acid at the post")
    choose_photo(shop.context, job, one, jpeg((400, 300)))
    invoice = shop.issue(job)
    paper = invoice.pdf.read_bytes()
    assert pictures(paper) == [(400, 300)], "the other was not chosen"
    first, *behind = pypdf.PdfReader(io.BytesIO(paper)).pages
    assert not list(first.images) and any(list(page.images) for page in behind)
    said = words(paper)
    title = shop.context.plugins.title("battery.case")
    assert f"{title}: acid at the post" in said and "After the work, " in said
    assert other not in str(to_data(invoice.document))


def test_an_estimate_shows_the_photos_that_were_chosen_before_it(
    shop: Shop, ready: tuple[Path, str, str]
) -> None:
    job = ready[2]
    (one,) = taken(shop, job, of="battery.case")
    choose_photo(shop.context, job, one, jpeg())
    estimate = shop.estimate(job, "repair")
    (block,) = [block for block in estimate.document.blocks if isinstance(block, Photos)]
    assert len(block.rows) == 1 and pictures(estimate.pdf.read_bytes()) == [(400, 300)]


def test_the_paper_is_the_same_bytes_each_time_and_no_larger_than_its_photos(shop: Shop, job: str) -> None:
    sizes = [(400, 300), (300, 400), (500, 300)]
    for entry, size in zip(taken(shop, job, 3), sizes, strict=True):
        choose_photo(shop.context, job, entry, jpeg(size))
    invoice = shop.issue(job)
    paper = invoice.pdf.read_bytes()
    assert invoice_of(shop.context, job_named(shop.context, job)).pdf.read_bytes() == paper
    assert sorted(pictures(paper)) == sorted(sizes)
    assert base64.b64decode(jpeg((400, 300))) in paper, "its bytes stand in the file as they were kept"


def test_page_terminal_and_masked_paper_say_that_there_is_a_photo_and_show_none(shop: Shop, job: str) -> None:
    (one,) = taken(shop, job, what=SECRET)
    choose_photo(shop.context, job, one, jpeg())
    document = shop.issue(job).document
    page = render_page(document, mask, "https://example.org/v#A")
    assert "<img" not in page and "data:image" not in page and "(photo: on the original)" in page
    masked = render_pdf(document, mask, None)
    assert pictures(masked) == [] and "(photo: on the original)" in words(masked)
    text = render_text(document, mask, None, width=72)
    assert "(photo: on the original)" in text
    held = str(to_data(document))
    for public in (page, words(masked), text, held):
        assert SECRET not in public and jpeg()[:60] not in public
    assert content_mark(document) == document.mark, "the page computes the same mark without the photo"


@pytest.mark.parametrize("sizes", [[(400, 300)], [(300, 400)] * 5, [(1000, 10), (10, 1000), (400, 300)]])
def test_a_paper_with_photos_prints_what_it_carries_sheet_for_sheet(
    sizes: list[tuple[int, int]], shop: Shop, job: str
) -> None:
    for entry, size in zip(taken(shop, job, len(sizes), what="a crack"), sizes, strict=True):
        choose_photo(shop.context, job, entry, jpeg(size))
    invoice = shop.issue(job)
    opened = open_paper(invoice.pdf)
    assert opened.differences == () and opened.states_its_mark
    sheets = len(pypdf.PdfReader(invoice.pdf).pages)
    shop.forget(job)
    drawn = invoice_of(shop.context, job_named(shop.context, job)).pdf
    assert len(pypdf.PdfReader(drawn).pages) == sheets, "nor does a sheet come or go with the photos"


def test_forgetting_the_persons_destroys_the_photo_on_paper_too(shop: Shop, job: str) -> None:
    (one,) = taken(shop, job, what=SECRET)
    choose_photo(shop.context, job, one, jpeg((411, 300)))
    paper = shop.issue(job).pdf
    shop.forget(job)
    assert not paper.exists()
    drawn = invoice_of(shop.context, job_named(shop.context, job)).pdf.read_bytes()
    assert pictures(drawn) == [] and "(photo removed)" in words(drawn)
    held = b"".join(path.read_bytes() for path in shop.context.folder.rglob("*") if path.is_file())
    assert jpeg((411, 300)).encode() not in held


def test_of_ten_photos_six_go_on_a_paper_and_the_next_is_refused_until_one_is_taken_off(
    shop: Shop, job: str
) -> None:
    ten = taken(shop, job, 10)
    for n, entry in enumerate(ten[:6]):
        choose_photo(shop.context, job, entry, jpeg((400, 300 + n)))
    with pytest.raises(DeskError, match=r"at most 6 photos.*Take one off first"):
        choose_photo(shop.context, job, ten[6], jpeg())
    leave_photo_off(shop.context, job, ten[0])
    choose_photo(shop.context, job, ten[6], jpeg((400, 300)))
    on = [noted.id for noted, _ in job_named(shop.context, job).photos_for_paper]
    assert on == ten[1:7]
    paper = shop.issue(job).pdf.read_bytes()
    assert sorted(pictures(paper)) == [(400, 300 + n) for n in range(6)]


@pytest.mark.parametrize(
    ("image", "why"),
    [
        (jpeg((1001, 10)), "at most 1000 pixels a side"),
        (noise((900, 900)), "80 kB"),
        (jpeg(comment=b"taken at home"), "more than a picture"),
        (base64.b64encode(b"hello").decode(), "no JPEG file"),
        ("no base64", "does not go on a document"),
        ("", "no JPEG file"),
    ],
)
def test_a_copy_that_is_too_large_or_more_than_a_picture_is_refused(
    image: str, why: str, shop: Shop, job: str
) -> None:
    (one,) = taken(shop, job)
    with pytest.raises(DeskError, match=why):
        choose_photo(shop.context, job, one, image)
    assert job_named(shop.context, job).photos_for_paper == ()


def test_a_copy_at_the_bounds_is_taken(shop: Shop, job: str) -> None:
    (one,) = taken(shop, job)
    choose_photo(shop.context, job, one, jpeg((1000, 1000)))
    assert len(job_named(shop.context, job).photos_for_paper) == 1


def test_choosing_twice_keeps_one_and_a_withdrawn_photo_is_on_no_paper(shop: Shop, job: str) -> None:
    (one,) = taken(shop, job)
    first = choose_photo(shop.context, job, one, jpeg(), request_id="choose-this-photo-1")
    assert choose_photo(shop.context, job, one, jpeg(), request_id="choose-this-photo-1").id == first.id
    assert choose_photo(shop.context, job, one, jpeg(), request_id="choose-this-photo-2").id == first.id
    assert len(job_named(shop.context, job).photos_for_paper) == 1
    leave_photo_off(shop.context, job, one, request_id="leave-this-photo-off")
    leave_photo_off(shop.context, job, one, request_id="leave-this-photo-off")
    assert job_named(shop.context, job).photos_for_paper == ()
    with pytest.raises(DeskError, match="withdrawn meanwhile"):
        choose_photo(shop.context, job, "0" * 64, jpeg())


def test_choosing_a_photo_moves_no_day_and_no_line_of_the_invoice(shop: Shop, job: str) -> None:
    (one,) = taken(shop, job)
    before = invoice_draft(shop.context, job_named(shop.context, job)).document
    choose_photo(shop.context, job, one, jpeg())
    after = invoice_draft(shop.context, job_named(shop.context, job)).document
    there, then = (
        [
            block
            for block in document.blocks
            if not isinstance(block, Photos | Code) and block != Heading(text="Photos")
        ]
        for document in (after, before)
    )
    assert there == then and len(after.blocks) == len(before.blocks) + 2
    assert attrs.evolve(after, id="", blocks=()) == attrs.evolve(before, id="", blocks=())
