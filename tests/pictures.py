"""Make pictures of everything the demo shows: every page of every paper, every page behind a code, every kind
of screen, the terminal's words.

    .venv/bin/python tests/pictures.py OUT [--keep | --screens [--language de] | --papers]

Needs the `test` extra and a Chromium.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2
from cheroot.wsgi import Server
from odd_papers import SIZES, drawn
from odd_papers import papers as odd
from PIL import Image
from playwright.sync_api import Browser, sync_playwright
from screens.everywhere import crawl, fill, kinds, richest

from corekit.desk.demo import run_demo
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.reference import data_path
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.share.published import PublishedFolder
from corekit.web.page_app import page_app
from corekit.web.pages import page_server

PHONE, TABLET = {"width": 360, "height": 740}, {"width": 820, "height": 1180}
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def main() -> None:
    parser = argparse.ArgumentParser(description="Make pictures of everything the demo shows.")
    parser.add_argument("out", type=Path, metavar="OUT", help="the folder that takes them")
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--keep", action="store_true", help="renew the README's pictures in demo/pictures/, too"
    )
    what.add_argument("--screens", action="store_true", help="the screens alone")
    what.add_argument("--papers", action="store_true", help="papers at their limits (odd_papers.py) alone")
    parser.add_argument("--language", default="en", help="of the screens (%(default)s)")
    told = parser.parse_args()
    told.out.mkdir(parents=True, exist_ok=True)
    if told.papers:
        odd_papers(told.out)
        return
    screens(told.out, told.language)
    if not told.screens:
        demo(told.out, keep=told.keep)


def demo(out: Path, *, keep: bool) -> None:
    shop = out / "demo-out"
    for line in run_demo(shop):
        print(line)
    papers(shop, out)
    pages(shop, out)
    words(shop, out)
    if keep:
        for picture, name in (
            ("invoice-2026-A0001-1", "invoice"),
            ("page-2026-A0001-first", "page"),
            ("screen-typing", "screen"),
        ):
            small(out / f"{picture}.png", data_path("demo") / "pictures" / f"{name}.png")


def odd_papers(out: Path) -> None:
    """Every page of papers at their limits, on both sizes of paper."""
    shutil.rmtree(out / "shops", ignore_errors=True)
    for name, document, texts in odd(out / "shops"):
        for size in SIZES:
            data = drawn(document, texts, size)
            (out / f"{name} {size}.pdf").write_bytes(data)
            for number, page in enumerate(pypdfium2.PdfDocument(data), 1):
                page.render(scale=80 / 72).to_pil().save(out / f"{name} {size} {number}.png")


def small(picture: Path, to: Path) -> None:
    """In 32 colours, which is enough for ink on paper."""
    to.parent.mkdir(exist_ok=True)
    Image.open(picture).convert("RGB").quantize(32, dither=Image.Dither.NONE).save(to, optimize=True)


def papers(shop: Path, out: Path) -> None:
    for path in sorted((shop / "papers").glob("*.pdf")):
        for number, page in enumerate(pypdfium2.PdfDocument(path), 1):
            page.render(scale=110 / 72).to_pil().save(out / f"{path.stem}-{number}.png")


def pages(shop: Path, out: Path) -> None:
    app = page_app(PublishedFolder(shop / "published"), bearer=None, demo=True, now=lambda: datetime.now(UTC))
    server = page_server(app, "127.0.0.1", 8741)
    threading.Thread(target=server.serve, daemon=True).start()
    with Shop(shop) as opened, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        page = browser.new_page(viewport=PHONE, device_scale_factor=2)
        for job in opened.store.jobs():
            invoice = opened.issue(job)
            page.goto("about:blank")
            page.goto(invoice.link)
            page.wait_for_selector("h1 >> nth=0")
            page.wait_for_timeout(800)
            page.screenshot(path=out / f"page-{invoice.number}-first.png")
            page.screenshot(path=out / f"page-{invoice.number}.png", full_page=True)
            page.pdf(path=out / f"page-{invoice.number}-print.pdf", format="A4")
        page.goto("about:blank")
        page.goto("http://127.0.0.1:8741/v#AAAAAAAAAAAAAAAAAAAAAAAAAA")
        page.wait_for_timeout(800)
        page.screenshot(path=out / "page-nothing.png", full_page=True)
        browser.close()
    server.stop()


def screens(out: Path, language: str) -> None:
    """Every kind of screen, everything opened, as long as it is and as it comes; and one reading while it is
    typed.
    """
    folder = out / "van"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    spoken = folder / "shop.toml"
    spoken.write_text(f'screen_language = "{language}"\n{spoken.read_text("utf-8")}', "utf-8")
    with Shop(folder) as shop, sync_playwright() as playwright:
        jobs = fill(shop)
        app = work_app(Van(shop.context), NoAuth())
        server = Server(("127.0.0.1", 0), app, numthreads=4, shutdown_timeout=1)
        server.prepare()
        threading.Thread(target=server.serve, daemon=True).start()
        address = f"http://127.0.0.1:{server.bind_addr[1]}"
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        every = crawl(app)[1]
        for shape, size, seen in (("phone", PHONE, kinds(every)), ("tablet", TABLET, richest(every))):
            page = browser.new_page(viewport=size, has_touch=True, is_mobile=True)
            for number, screen in enumerate(seen):
                page.goto(f"{address}{screen.path}")
                name = (
                    re.sub(r"[^a-z]+", "-", screen.rule.replace("<job>", "").removeprefix("/job")).strip("-")
                    or "jobs"
                )
                page.screenshot(path=out / f"screen-{shape}-{number:03}-{name}.png")
                page.evaluate("for (const one of document.querySelectorAll('main details')) one.open = true")
                page.screenshot(path=out / f"screen-{shape}-{number:03}-{name}-long.png", full_page=True)
            page.close()
        if language == "en":
            typing(
                browser,
                f"{address}/job/{jobs['one reading']}/test/battery.load_voltage",
                out / "screen-typing.png",
            )
        browser.close()
        server.stop()


def typing(browser: Browser, address: str, to: Path) -> None:
    """The screen of a test while a reading is typed into it: the strip and the verdict stand beside the
    field.
    """
    page = browser.new_page(viewport=PHONE, has_touch=True, is_mobile=True, device_scale_factor=2)
    page.goto(address)
    page.locator("details.gate > summary").tap()
    page.get_by_label("Load set for the test", exact=True).fill("340")
    page.get_by_label("Time under load", exact=True).fill("15")
    page.get_by_label("Voltage under load", exact=True).fill("8.4")
    page.wait_for_selector("[data-trial] svg")
    page.locator(".quantity").first.scroll_into_view_if_needed()
    page.evaluate(
        "scrollTo(0, document.querySelector('.quantity').getBoundingClientRect().top + scrollY - 8)"
    )
    page.screenshot(path=to)
    page.close()


def words(shop: Path, out: Path) -> None:
    corekit = [sys.executable, "-c", "import sys; from corekit.cli import main; sys.exit(main())"]
    said = []
    checks = [["check", job, "--shop", str(shop)] for job in ("worn-battery", "check-up", "undecided")]
    for command in (["--help"], *checks, ["verify", "--shop", str(shop)], ["plugins"]):
        done = subprocess.run([*corekit, *command], capture_output=True, text=True, check=False)
        said.append(f"$ corekit {' '.join(command)}\n{done.stdout}{done.stderr}")
    (out / "terminal.txt").write_text("\n".join(said), "utf-8")


if __name__ == "__main__":
    main()
