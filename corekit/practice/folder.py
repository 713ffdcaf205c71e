"""A folder of practice cars: an invented shop of its own, the car behind each of its jobs, and what was
guessed before it was read.

The car of a job is made anew from its seed each time, and then changed by all the work and trials that the
journal tells of: nothing of it is kept twice.
"""

from __future__ import annotations

import json
import random
import secrets
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs

from ..desk.context import ShopContext
from ..desk.rows import add_rows
from ..desk.settings import PRACTICE_FILE, PRICE_FILE, SHOP_FILE, STORE_FILE
from ..desk.setup import create_shop, is_demo
from ..files import write_over
from ..model.job import Job
from ..plugin.host import Plugins
from .car import Car, invented
from .declared import Practice, PracticeError, practices
from .outcome import car_after

#: Seeds that are drawn where none is named: short enough to be told.
_SEEDS = 1_000_000
#: A guess counts as near within this part of what was read; an estimate of ours.
NEAR = 0.1
_SHOP = """# An invented shop for practice cars. Its papers stay drafts.
name    = "PRACTICE"
address = ["No shop: an invented car"]
tax_id  = "PRACTICE"
"""
_PRICES = """# Invented prices, net.
currency  = "EUR"
tax       = { rates = { standard = "20" }, default = "standard" }
labour    = { per_hour = "60.00" }
call_out  = "20.00"
diagnosis = { price = "30.00" }
"""


@attrs.frozen(kw_only=True)
class Wish:
    """Which car: its seed, the system that its faults are of (empty: any), and whether it is a hard one."""

    seed: int
    system: str = ""
    hard: bool = False


@attrs.frozen(kw_only=True)
class Guess:
    """What somebody thought before it was read: of which thing, the guess, what was read then."""

    of: str
    place: str
    guess: str
    shown: str
    is_near: bool


def set_up(folder: Path, plugins: Plugins) -> None:
    """Make a folder of practice cars; one that is there stays as it is.

    Raises:
        PracticeError: the folder holds something else.
    """
    if (folder / PRACTICE_FILE).is_file() and is_demo(folder):
        return
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise PracticeError(
            f"{folder} holds something that is no folder of practice cars; nothing was touched. Name another"
            " folder with --out."
        )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / SHOP_FILE).write_text(_SHOP, "utf-8")
    (folder / PRICE_FILE).write_text(_PRICES + "".join(_priced(plugins)), "utf-8")
    create_shop(folder, demo=True)
    write_over(folder / PRACTICE_FILE, b"{}\n")
    assert (folder / STORE_FILE).is_file()


def _priced(plugins: Plugins) -> list[str]:
    """A price for every declared operation, so that any can be estimated."""
    found = []
    for key, operation in plugins.operations.items():
        part = plugins.parts.get(operation.replaces)
        parts = (
            f'parts = [ {{ name = {json.dumps(part.title)}, price = "50.00", quantity = "1",'
            ' condition = "new" } ]\n'
            if part is not None
            else ""
        )
        found.append(f'\n[operations."{key}"]\nhours = "0.5"\n{parts}')
    return found


def drawn_seed() -> int:
    """A seed for a car that nobody named one for."""
    return secrets.randbelow(_SEEDS)


@attrs.define(eq=False)
class PracticeFolder:
    """The practice cars of an open shop. Safe to use from several threads."""

    shop: ShopContext
    _lock: threading.Lock = attrs.field(factory=threading.Lock, init=False)

    @property
    def parts(self) -> Mapping[str, Practice[Any]]:
        """System → its part of every practice car."""
        return practices(self.shop.plugins)

    def begin(self, wish: Wish) -> str:
        """Put a car into the driveway, with what its driver tells; gives its job.

        Raises:
            PracticeError: no car can be made of this wish.
        """
        car = self._made(wish)
        shows = {"shows": "often"} if car.calm else {}
        rows: dict[str, Any] = {
            "reason": "PRACTICE",
            "complaint": {"symptoms": list(car.complaints), **shows},
            "vehicle": {"description": f"PRACTICE car {wish.seed}", "no_vin": "practice car"},
        }
        job = add_rows(self.shop, None, rows, request_id=secrets.token_urlsafe(18)).job
        self._keep(job, {"wish": attrs.asdict(wish), "guesses": []})
        return job

    @property
    def kind_of_last(self) -> dict[str, Any]:
        """System and hardness of the car that came last: another one is of its kind."""
        last = next(reversed(self._read().values()), None)
        return {} if last is None else {key: last["wish"][key] for key in ("system", "hard")}

    def wish(self, job: str) -> Wish | None:
        """Which car a job is about; None where it is about none."""
        found = self._read().get(job)
        return None if found is None else Wish(**found["wish"])

    def as_it_came(self, job: Job) -> Car | None:
        """The car of a job as it came; None where it is about none."""
        wish = self.wish(job.id)
        return None if wish is None else self._made(wish)

    def as_it_stands(self, job: Job) -> Car | None:
        """The car of a job after all that was done to it, as it is met at this moment."""
        car = self.as_it_came(job)
        if car is None:
            return None
        return car_after(car, job, self.shop.plugins).at_moment(str(len(job.entries)))

    def draw(self, job: Job, what: str) -> random.Random:
        """The errors of meters: the same until something new is said of the job."""
        return random.Random(f"{job.id}/{len(job.entries)}/{what}")

    def guesses(self, job: str) -> list[Guess]:
        return [Guess(**one) for one in self._read().get(job, {}).get("guesses", [])]

    def count(self, job: str, guess: Guess) -> None:
        """Keep a guess; the last one of a thing and its place counts."""
        with self._lock:
            kept = self._read()
            if job not in kept:
                return
            others = [
                one for one in kept[job]["guesses"] if (one["of"], one["place"]) != (guess.of, guess.place)
            ]
            kept[job]["guesses"] = [*others, attrs.asdict(guess)]
            self._write(kept)

    def _made(self, wish: Wish) -> Car:
        return invented(self.parts, wish.seed, system=wish.system, hard=wish.hard)

    def _keep(self, job: str, what: dict[str, Any]) -> None:
        with self._lock:
            self._write({**self._read(), job: what})

    @property
    def _path(self) -> Path:
        return self.shop.folder / PRACTICE_FILE

    def _read(self) -> dict[str, Any]:
        try:
            found = json.loads(self._path.read_text("utf-8"))
        except (OSError, ValueError) as error:
            raise PracticeError(
                f"{self._path} cannot be read ({error}). Practise in another folder."
            ) from error
        return found if isinstance(found, dict) else {}

    def _write(self, kept: dict[str, Any]) -> None:
        write_over(self._path, (json.dumps(kept, ensure_ascii=False, indent=1) + "\n").encode())
