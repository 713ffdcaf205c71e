"""Make pictures of everything the demo shows: every page of every paper, every page behind a code, the terminal's words.

    .venv/bin/python tests/pictures.py OUT [--keep]

`--keep` also renews the two pictures that the README shows, in demo/pictures/. Needs the `test` extra and a Chromium.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2
from playwright.sync_api import sync_playwright

from corekit.desk.demo import run_demo
from corekit.desk.shop import Shop
from corekit.reference import data_path
from corekit.share.published import PublishedFolder
from corekit.share.server import page_app, server_for

PHONE = {"width": 360, "height": 740}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"]


def main(out: Path, *, keep: bool) -> None:
    out.mkdir(parents=True, exist_ok=True)
    shop = out / "demo-out"
    for line in run_demo(shop):
        print(line)
    papers(shop, out)
    pages(shop, out)
    words(shop, out)
    if keep:
        kept = data_path("demo") / "pictures"
        kept.mkdir(exist_ok=True)
        shutil.copy(out / "invoice-2026-A0001-1.png", kept / "invoice.png")
        shutil.copy(out / "page-2026-A0001-first.png", kept / "page.png")


def papers(shop: Path, out: Path) -> None:
    for path in sorted((shop / "papers").glob("*.pdf")):
        for number, page in enumerate(pypdfium2.PdfDocument(path), 1):
            page.render(scale=110 / 72).to_pil().save(out / f"{path.stem}-{number}.png")


def pages(shop: Path, out: Path) -> None:
    app = page_app(PublishedFolder(shop / "published"), bearer=None, demo=True, now=lambda: datetime.now(UTC))
    server = server_for(app, "127.0.0.1", 8741)
    threading.Thread(target=server.run, daemon=True).start()
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
    server.close()


def words(shop: Path, out: Path) -> None:
    corekit = [sys.executable, "-c", "import sys; from corekit.cli import main; sys.exit(main())"]
    said = []
    checks = [["check", job, "--shop", str(shop)] for job in ("worn-battery", "odd-reading", "undecided")]
    for command in (["--help"], *checks, ["verify", "--shop", str(shop)], ["plugins"]):
        done = subprocess.run([*corekit, *command], capture_output=True, text=True, check=False)
        said.append(f"$ corekit {' '.join(command)}\n{done.stdout}{done.stderr}")
    (out / "terminal.txt").write_text("\n".join(said), "utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]), keep="--keep" in sys.argv)
