"""A long run of guesses at a page: none opens anything, and honest readers are answered all the while.

    python -m tests.guesses 100000

Half of the guesses are whole codes drawn at random, the others a published code with one letter changed.
After every hundred of them somebody with the right code opens the page. A short share runs with the tests.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from corekit.share.link import TOKEN_LENGTH, token, token_hash
from corekit.share.published import PublishedFolder, seal_envelope
from corekit.web.page_app import page_app

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
_LAST = "AEIMQUY4"  # the last letter holds three bits


def guess(seed: random.Random, code: str) -> str:
    if seed.random() < 0.5:
        return "".join(seed.choices(LETTERS, k=TOKEN_LENGTH - 1)) + seed.choice(_LAST)
    place = seed.randrange(TOKEN_LENGTH)
    others = [sign for sign in (_LAST if place == TOKEN_LENGTH - 1 else LETTERS) if sign != code[place]]
    return code[:place] + seed.choice(others) + code[place + 1 :]


def guessed(folder: Path, document: Any, count: int, every: int = 100) -> tuple[Counter[int], Counter[int]]:
    """Statuses of the guesses, and of the honest openings between them."""
    published = PublishedFolder(folder)
    code = token(bytes(32), document.id, 1)
    published.put(token_hash(code), seal_envelope(document, published=datetime.now(UTC)))
    client, seed = page_app(published, bearer=None, demo=True).test_client(), random.Random(count)
    wrong, honest = Counter[int](), Counter[int]()
    for n in range(count):
        wrong[client.post("/v/open", data={"code": guess(seed, code)}).status_code] += 1
        if n % every == 0:
            honest[client.post("/v/open", data={"code": code}).status_code] += 1
    return wrong, honest


def main(count: int) -> int:
    from .web.conftest import a_document

    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        wrong, honest = guessed(Path(folder), a_document(), count)
    print(
        f"{count} guesses in {time.monotonic() - began:.0f} s: {dict(wrong)}; honest openings: {dict(honest)}"
    )
    return 0 if set(wrong) <= {404, 429} and set(honest) == {200} else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000))
