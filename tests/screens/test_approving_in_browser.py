"""By touch on a phone: a finger signs, a tap declines and the total follows, a VIN speaks while it is typed,
a photo is taken; and axe-core finds nothing.
"""

from __future__ import annotations

import io
import secrets
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.estimating import estimate_named
from corekit.desk.jobs import job_named, pictures_of
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.screens.signature import read_signature

from ..visits.files import visit_file

pytestmark = pytest.mark.browser


def say(shop: Shop, job: str | None, **rows: Any) -> str:
    return add_rows(shop.context, job, rows, request_id=secrets.token_urlsafe(18)).job


def read_to_the_repair(shop: Shop, job: str) -> None:
    visit = tomllib.loads(visit_file("three-faults").read_text("utf-8"))
    say(shop, job, traits=visit["traits"])
    for step in visit["step"]:
        if "repaired" in step:
            break
        if not {"approved", "paid"} & set(step):
            say(shop, job, step=[step])


def press(page: Any, name: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=name).first.tap()


def by_finger(page: Any, points: list[tuple[float, float]]) -> None:
    """Draw one stroke on the sheet, in shares of its width and height."""
    page.locator("canvas[data-sign]").scroll_into_view_if_needed()
    box = page.locator("canvas[data-sign]").bounding_box()
    at = [(box["x"] + x * box["width"], box["y"] + y * box["height"]) for x, y in points]
    page.mouse.move(*at[0])
    page.mouse.down()
    for point in at[1:]:
        page.mouse.move(*point, steps=4)
    page.mouse.up()


def test_a_finger_signs_under_the_paper_that_is_shown(
    screens: Callable[..., Any], phone: Callable[..., Any], empty_shop: Path
) -> None:
    served, watched = screens(empty_shop), phone()
    page = watched.page
    job = say(served.shop, None, reason="Cranks slowly.", vehicle={"plate": "DEMO-1"})
    page.goto(f"{served.address}/job/{job}")
    press(page, "Show the estimate")
    page.get_by_text("Sign on the screen").tap()
    by_finger(page, [(0.1, 0.5), (0.4, 0.2), (0.7, 0.8)])
    press(page, "Approved in person")
    page.wait_for_url(f"**/job/{job}/test*")
    approved = served.shop.store.job(job).approvals[0].record
    assert approved.how == "in person" and approved.signature is not None
    kept = read_signature(
        next(
            iter(pictures_of(served.shop.context, job_named(served.shop.context, job), "signature").values())
        )
    )
    assert kept is not None and len(kept.strokes) == 1
    # Where the finger went: the sheet is 1000 × 400.
    assert kept.strokes[0][0] == pytest.approx(100, abs=12) and kept.strokes[0][1] == pytest.approx(
        200, abs=12
    )
    assert kept.strokes[0][-2] == pytest.approx(700, abs=12) and kept.strokes[0][-1] == pytest.approx(
        320, abs=12
    )
    assert not watched.errors


def test_a_signature_half_drawn_under_one_paper_does_not_come_back_under_another(
    screens: Callable[..., Any], phone: Callable[..., Any], empty_shop: Path
) -> None:
    served, page = screens(empty_shop), phone().page
    job = say(served.shop, None, reason="Cranks slowly.", vehicle={"plate": "DEMO-1"})
    say(served.shop, job, step=[{"requested": {"operation": "battery.replace", "ground": "customer"}}])
    page.goto(f"{served.address}/job/{job}/estimate")
    press(page, "Show the estimate")
    page.get_by_text("Sign on the screen").tap()
    by_finger(page, [(0.1, 0.5), (0.7, 0.8)])
    drawn = page.locator('input[name="signature"]')
    assert drawn.input_value()
    page.wait_for_function("Object.keys(localStorage).some((name) => name.includes('draft'))")
    page.reload()
    page.wait_for_selector(".back-note")
    assert drawn.input_value(), "under the same paper it comes back"
    say(served.shop, job, step=[{"requested": {"operation": "battery.charge", "ground": "customer"}}])
    page.reload()
    press(page, "New estimate with everything")
    page.wait_for_selector("text=Repair 2")
    assert not drawn.input_value()


def test_the_total_follows_the_tap_that_declines(
    screens: Callable[..., Any], phone: Callable[..., Any], empty_shop: Path
) -> None:
    served, watched = screens(empty_shop), phone()
    page = watched.page
    job = say(served.shop, None, reason="Starts badly.", vehicle={"plate": "DEMO-4"})
    page.goto(f"{served.address}/job/{job}")
    press(page, "Show the estimate")
    press(page, "Approved in person")
    page.wait_for_url(f"**/job/{job}/test*")
    read_to_the_repair(served.shop, job)
    page.goto(f"{served.address}/job/{job}/estimate")
    press(page, "Show the estimate")
    page.locator("label.want", has_text="Clean the EGR valve").tap()
    page.wait_for_selector("[data-trial] >> text=142.50 EUR")  # by hand, see test_agreeing.py
    page.locator("label.want", has_text="Clean the EGR valve").tap()
    page.wait_for_selector("[data-trial]:empty", state="attached")
    assert page.locator("form >> text=240.30 EUR").is_visible(), (
        "what all of it comes to stands there in any case"
    )
    page.locator("label.want", has_text="Clean the EGR valve").tap()
    page.wait_for_selector("[data-trial] >> text=142.50 EUR")
    press(page, "Approved in person")
    page.wait_for_url(f"**/job/{job}/repair*")
    approved = served.shop.store.job(job).approvals[-1].record
    assert (
        approved.declined == ["egr.clean"]
        and estimate_named(served.shop.context, job_named(served.shop.context, job)).total.minor == 24030
    )
    assert not watched.errors


def test_a_vin_speaks_while_it_is_typed(
    screens: Callable[..., Any], phone: Callable[..., Any], empty_shop: Path
) -> None:
    served, watched = screens(empty_shop), phone()
    page = watched.page
    page.goto(f"{served.address}/new")
    page.locator("summary", has_text="VIN or no number").tap()
    page.get_by_label("VIN", exact=True).press_sequentially("1M8GDM9AXKP042788")
    page.wait_for_selector("[data-trial] >> text=The check digit agrees.")
    page.get_by_label("What the customer says").fill("Cranks slowly.")
    press(page, "Start the job")
    page.wait_for_url("**/diagnosis")
    assert len(served.shop.store.jobs()) == 1 and not watched.errors


def test_a_photo_is_shown_before_and_after_it_is_kept(
    screens: Callable[..., Any], phone: Callable[..., Any], empty_shop: Path, tmp_path: Path
) -> None:
    image = pytest.importorskip("PIL.Image", reason="Pillow is not installed")
    out = io.BytesIO()
    image.new("RGB", (3000, 2000), "gray").save(out, "JPEG")
    (tmp_path / "taken.jpg").write_bytes(out.getvalue())
    served, watched = screens(empty_shop), phone()
    page = watched.page
    job = say(served.shop, None, reason="Dent.", vehicle={"plate": "DEMO-1"})
    page.goto(f"{served.address}/job/{job}/photos")
    page.locator("#photo").set_input_files(tmp_path / "taken.jpg")
    page.wait_for_selector(".photo-shown img")
    page.get_by_label("What it shows").fill("Dent in the left door")
    press(page, "Save the photo")
    page.wait_for_selector("figure.taken img")
    page.wait_for_function("document.querySelector('figure.taken img').naturalWidth === 1600")
    assert len(served.shop.store.job(job).photos) == 1 and not watched.errors


@pytest.mark.parametrize(("width", "height"), [(360, 740), (820, 1180)])
def test_every_screen_is_for_everybody_and_for_a_thumb(
    screens: Callable[..., Any], phone: Callable[..., Any], empty_shop: Path, width: int, height: int
) -> None:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    ).Axe()
    served = screens(empty_shop)
    page = phone(width=width, height=height).page
    job = say(
        served.shop, None, reason="Starts badly.", vehicle={"plate": "DEMO-4", "description": "hatchback"}
    )
    found: dict[str, Any] = {}

    def look(name: str) -> None:
        for lid in page.locator("main summary").all():
            lid.tap()
        wrong = [violation["id"] for violation in axe.run(page).response["violations"]]
        wrong += (
            ["wider than the screen"]
            if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
            else []
        )
        wrong += page.evaluate(
            """[...document.querySelectorAll(
              "main button, main summary, main .answer span, main .key span," +
              "main .main, main .other, main .row, main .go a")]
            .filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < 48)
              .map((one) => `small: ${one.textContent.trim()}`)"""
        )
        if wrong:
            found[name] = wrong

    def see(path: str) -> None:
        page.goto(f"{served.address}{path}")
        look(path)

    see("/new")
    see(f"/new?beside={job}")
    see(f"/job/{job}/diagnosis")
    press(page, "Show the estimate")
    look("the paper of the diagnosis")
    press(page, "Approved in person")
    page.wait_for_url(f"**/job/{job}/test*")
    read_to_the_repair(served.shop, job)
    for step in ("diagnosis", "arrive", "photos", "explain", "requested", "waive", "estimate"):
        see(f"/job/{job}/{step}")
    press(page, "Show the estimate")
    look("the paper of the repair")
    assert not found
