"""What a mechanic said of this visit's testing and no file holds: how long it may take, and which systems are
in question. It stands in the address.
"""

from __future__ import annotations

from urllib.parse import parse_qs, urlencode, urlsplit

import attrs
import flask

from ..desk.assessing import Plugins
from ..model.job import Job

_LONGEST = 24 * 60.0  # minutes


@attrs.frozen(kw_only=True)
class TestOptions:
    """The wishes that go with every link of testing.

    Attributes:
        minutes: Left of this visit; None when nobody said.
        about: Systems in question of which nothing was said yet.
        aside: Keys of what was set aside, for nobody wants to be led back to it.
        listed: This test was chosen from the list of all, and the list comes again after it.
        again: It was chosen from what shows a repair, and that comes again after it.
        place: The place that the address names.
    """

    minutes: float | None = None
    about: tuple[str, ...] = ()
    aside: tuple[str, ...] = ()
    listed: bool = False
    again: bool = False
    place: str = ""

    def without(self, key: str) -> TestOptions:
        """The same, with one more thing set aside."""
        return attrs.evolve(self, aside=tuple(dict.fromkeys((*self.aside, key))))

    @property
    def back(self) -> str:
        """The screen that comes after a test, below the job."""
        return "tests" if self.listed else "retested" if self.again else "test"

    def on_its_own(self) -> TestOptions:
        """The same, whichever screen it was chosen from."""
        return attrs.evolve(self, listed=False, again=False)

    def path(self, job: Job, below: str, *, place: str = "") -> str:
        """An address below the job that keeps the wishes."""
        asked = [*([("place", place)] if place else []), *self.fields]
        return f"/job/{job.id}/{below}" + (f"?{urlencode(asked)}" if asked else "")

    @property
    def fields(self) -> list[tuple[str, str]]:
        minutes = [("minutes", f"{self.minutes:g}")] if self.minutes is not None else []
        listed = [("listed", "1")] if self.listed else [("again", "1")] if self.again else []
        return [
            *minutes,
            *listed,
            *(("about", key) for key in self.about),
            *(("aside", key) for key in self.aside),
        ]


def options_in_address(plugins: Plugins) -> TestOptions:
    """The wishes in the address of this screen, also where it comes back after a post; what is no wish is
    passed over.
    """
    asked = (
        parse_qs(urlsplit(flask.g.screen).query)
        if flask.g.get("screen")
        else flask.request.args.to_dict(flat=False)
    )
    return TestOptions(
        minutes=_minutes(asked.get("minutes", [""])[0]),
        about=tuple(dict.fromkeys(key for key in asked.get("about", []) if key in plugins.systems)),
        aside=tuple(
            dict.fromkeys(
                key
                for key in asked.get("aside", [])
                if key in plugins.measurands or key in plugins.observations or key in plugins.traits
            )
        ),
        listed=bool(asked.get("listed")),
        again=bool(asked.get("again")),
        place=asked.get("place", [""])[0],
    )


def _minutes(text: str) -> float | None:
    try:
        minutes = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return minutes if 0 < minutes <= _LONGEST else None
