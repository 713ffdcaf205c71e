"""What each system says to a customer is there in German: every text of its source and tables, none besides,
each filled in with the same, and no sentence over a bench drawn by chance that lacks a word.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.model.finding import Finding, Gap
from corekit.plugin.check import run
from corekit.plugin.host import load
from corekit.plugin.system import System
from corekit.report.catalogue import Speaker, catalogue, read_catalogue
from corekit.testing.translation import lack
from corekit.testing.voices import random_bench, told_by_declarations

ROOT = Path(__file__).parents[2]
NOT_TOLD: dict[str, list[str]] = tomllib.loads((ROOT / "tests/data/not-told.toml").read_text("utf-8"))
SYSTEMS = ("battery", "brakes", "cooling", "egr", "ignition")
BENCHES = 3


def system_of(key: str) -> System:
    if key == "brakes":
        sys.path.insert(0, str(ROOT / "demo/brakes"))
        from corekit_brakes import brakes  # type: ignore[import-not-found]

        return brakes  # type: ignore[no-any-return]
    return load().systems[key]


def test_every_installed_system_is_looked_at() -> None:
    assert load().systems.keys() <= set(SYSTEMS)


@pytest.mark.parametrize("key", SYSTEMS)
def test_no_text_of_a_system_lacks_its_german_and_none_is_spare(key: str) -> None:
    # That each is filled in with the same is asked when the file is read.
    found = lack(system_of(key).folder, "de", tuple(NOT_TOLD[key]))
    assert found.missing == ()
    assert found.spare == ()


def said_over(system: System, seed: int) -> Iterator[str]:
    """Everything that the checks say over a bench drawn by chance."""
    bench = random_bench(system, seed)
    for check in system.checks.values():
        try:
            results = list(run(check, bench.case(check.title)))
        except Exception:
            continue  # the product makes a gap of it
        for result in results:
            if isinstance(result, Finding):
                yield from (str(result.text), str(result.for_customer), result.name, result.check)
                if result.figure is not None:
                    yield from (result.figure.title, result.figure.description)
                    yield from (mark.text for mark in result.figure.marks if hasattr(mark, "text"))
            elif isinstance(result, Gap):
                yield from (result.text, result.for_customer, result.about)


@pytest.mark.parametrize("key", SYSTEMS)
def test_whatever_a_system_says_over_its_readings_can_be_said_in_german(key: str) -> None:
    system = system_of(key)
    speaker, missing = Speaker(catalogue("de", [system.folder]), {}), dict[str, None]()
    texts = dict.fromkeys(told.text for told in told_by_declarations(system))
    for seed in range(BENCHES):
        texts |= dict.fromkeys(said_over(system, seed))
    for text in texts:
        speaker.said(text, missing)
    assert list(missing) == []


def test_what_the_installed_systems_say_alike_they_say_alike_in_german() -> None:
    """A paper is put into German as a whole, whichever of the systems a text of it is of."""
    of: dict[str, dict[str, str]] = {}
    for key in load().systems:
        texts = read_catalogue(system_of(key).folder / "language/de.toml").texts
        for text, said in texts.items():
            of.setdefault(text, {})[key] = said
    differ = {text: said for text, said in of.items() if len(set(said.values())) > 1}
    assert differ == {}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Open-circuit voltage: not measured.", "Ruhespannung: nicht gemessen."),
        (
            "Cranking voltage 10.21 V at the posts; at least 9.6 V ± 0.6 V is usual.",
            "Beim Anlassen 10,21 V an den Polen; mindestens 9,6 V ± 0,6 V ist üblich.",
        ),
        (
            "Limit: common practice, at most 50 mA ± 25 mA. Source: [2]. It only advises.",
            "Grenze: übliche Praxis, höchstens 50 mA ± 25 mA. Quelle: [2]. Sie rät nur.",
        ),
        ("after: replace the battery", "nach: Batterie ersetzen"),
        ("Engine speed 2000 rpm ± 50 rpm", "Motordrehzahl 2000 U/min ± 50 U/min"),
    ],
)
def test_a_sentence_with_numbers_is_said_as_a_german_says_it(text: str, said: str) -> None:
    missing = dict[str, None]()
    folders = [system.folder for system in load().systems.values()]
    assert catalogue("de", folders).said(text, missing, {}) == said
    assert missing == {}
