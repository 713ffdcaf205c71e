"""A day of odd input in one process: bad files, values and texts, jobs, papers, pages and screens, again and
again. What the process holds is measured after each round and stays what it was.
"""

from __future__ import annotations

import gc
import random
import resource
import shutil
from pathlib import Path

from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.model.document import from_data, to_data
from corekit.report import scripts
from corekit.report.fonts import typeface
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from . import mutations
from .counts import Counts
from .fields import SCREENS
from .hostile import STRINGS
from .work import new_shop, plugins, ready

GROWTH = 0.05  # of what is held after the first rounds, which fill the caches; a leak grows with every round
_WARM = 3  # rounds
_FILES, _VALUES, _TEXTS = 400, 800, 24  # of a round


def held() -> float:
    """What the process holds now, [MiB]."""
    gc.collect()
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 2**20


def memory(rounds: int, folder: Path, seed: int = 9) -> Counts:
    """So many rounds, each of some 1200 odd inputs and a whole job."""
    counts, draws = Counts("memory of a day's odd input"), random.Random(seed)
    for style in scripts.FACES:  # each once, however late its letters come
        if scripts.is_installed(style):
            typeface(style)
    sizes: list[float] = []
    for number in range(rounds + _WARM):
        for part in (mutations.files(_FILES, seed + number), mutations.values(_VALUES, seed + number)):
            counts.tries += part.tries
            counts.wrong += part.wrong
        _job(folder / "shop", draws, number, counts)
        shutil.rmtree(folder / "shop")
        sizes.append(held())
    first, last = sizes[_WARM], sum(sizes[-3:]) / 3
    counts.seen["rounds"] = rounds
    step = max(1, len(sizes) // 12)
    counts.notes.append("MiB held after rounds: " + " ".join(f"{size:.1f}" for size in sizes[::step]))
    if last > first * (1 + GROWTH):
        counts.wrong.append(f"memory grew from {first:.1f} to {last:.1f} MiB")
    return counts


def _job(folder: Path, draws: random.Random, number: int, counts: Counts) -> None:
    """A job from its file to the invoice, hostile texts said to it, and every screen of it."""
    files = folder.parent / "files"
    files.mkdir(exist_ok=True)
    with Shop(new_shop(folder), plugins=plugins()) as shop:
        job = ready(shop, f"job-{number}", files)
        for place, text in enumerate(draws.sample(STRINGS, _TEXTS)):
            counts.tries += 1
            try:
                rows = {"customer": {"name": text, "address": text}, "step": [{"remarked": {"words": text}}]}
                add_rows(shop.context, job, rows, request_id=f"request-{place:016}")
                counts.seen["texts taken"] += 1
            except (CorekitError, UnicodeEncodeError):
                counts.seen["texts refused"] += 1
        invoice = shop.issue(job)
        assert from_data(to_data(invoice.document)) == invoice.document
        browser = work_app(Van(shop.context), NoAuth()).test_client()
        for path in SCREENS:
            counts.tries += 1
            answer = browser.get(path.format(job), follow_redirects=True)
            if answer.status_code >= 500:
                counts.wrong.append(f"{path}: {answer.status_code}")
