"""The customer reads sentences without jargon, whatever a system says.

Texts that are declared are read as they stand. Findings and gaps are read as the checks say them over many
random benches, and where no bench led to one, as templates in the source.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from pathlib import Path

import pytest

from corekit.plugin.host import load
from corekit.plugin.system import System
from corekit.testing.jargon import MOST_WORDS, jargon_in, miss_of, written_in
from corekit.testing.voices import Kind, Told, random_bench, told_by_checks, told_by_declarations

ROOT = Path(__file__).parents[2]
JARGON: dict[str, dict[str, str]] = tomllib.loads((ROOT / "shared/jargon.toml").read_text("utf-8"))
WAITING: dict[str, dict[str, int]] = tomllib.loads(
    (ROOT / "tests/data/voices-waiting.toml").read_text("utf-8")
)
BENCHES = 100
SYSTEMS = ("battery", "brakes", "cooling", "egr", "ignition")


def system_of(key: str) -> System:
    if key == "brakes":
        import sys

        sys.path.insert(0, str(ROOT / "demo/brakes"))
        from corekit_brakes import brakes  # type: ignore[import-not-found]

        return brakes  # type: ignore[no-any-return]
    return load().systems[key]


def told_by(system: System) -> list[Told]:
    """Every text once: of one template the longest that came of it."""
    benches = (random_bench(system, seed) for seed in range(BENCHES))
    longest: dict[tuple[Kind, str, str], Told] = {}
    for told in (*told_by_declarations(system), *told_by_checks(system, *benches)):
        key = (told.kind, told.of, told.template or told.text)
        if key not in longest or told.words > longest[key].words:
            longest[key] = told
    return list(longest.values())


def misses(key: str) -> list[str]:
    """Every miss of a system, one line each, sorted by what it is a miss of."""
    system = system_of(key)
    found = [miss for told in told_by(system) if (miss := miss_of(told))]
    for path in sorted(system.folder.glob("*.py")):
        silent, words = written_in(path)
        found += [f"{Kind.FINDING} {line}" for line in silent]
        for text in words:
            # A place is one word here, and what fills it is read where a bench leads to it.
            plain = re.sub(r"\{\w+\}", "…", text)
            if wrong := jargon_in(plain):
                found.append(f"{Kind.FINDING} {path.name}: {', '.join(wrong)}: {text}")
            elif len(plain.split()) > MOST_WORDS:
                found.append(f"{Kind.FINDING} {path.name}: {len(plain.split())} words: {text}")
    return list(dict.fromkeys(found))


@pytest.mark.parametrize("key", SYSTEMS)
def test_the_customer_is_told_everything_in_at_most_twenty_words_without_jargon(key: str) -> None:
    """What still waits is counted by system and kind; the counts may only fall."""
    found = misses(key)
    counted = Counter(line.split(" ", 1)[0] for line in found)
    too_many = {kind: count for kind, count in counted.items() if count > WAITING.get(key, {}).get(kind, 0)}
    assert not too_many, "\n".join(line for line in found if line.split(" ", 1)[0] in too_many)


def test_what_waits_is_of_systems_that_are_there() -> None:
    assert WAITING.keys() <= {"ignition"}, "the core's own examples wait for nothing"
    assert all(count > 0 for counts in WAITING.values() for count in counts.values())
    assert all(kind in set(Kind) for counts in WAITING.values() for kind in counts)


def test_every_installed_system_is_read() -> None:
    assert load().systems.keys() <= set(SYSTEMS)


def test_a_term_of_the_trade_is_found_with_the_everyday_way_beside_it() -> None:
    assert jargon_in("Null the meter.")[0].startswith('"null"; say')
    assert [line.split(";")[0] for line in jargon_in("It draws 380 mA, at 12 V.")] == ['"mA"']
    assert jargon_in("A charger of 12 A at 1500 rpm") and jargon_in("0.6 Ω at its coil")


@pytest.mark.parametrize(
    "text",
    [
        "A sound battery keeps its charge.",  # A is a word here
        "An annulled order, grounds for hope, and the earthworm.",
        "Parked, the car uses about 8 times as much current as usual: something stays on.",
        "The battery shows 12.4 V after 3 days at 5 °C.",
    ],
)
def test_everyday_words_and_quantities_are_no_jargon(text: str) -> None:
    assert jargon_in(text) == []


def test_twenty_words_are_enough_and_twenty_one_are_not() -> None:
    twenty = " ".join(["word"] * MOST_WORDS)
    assert miss_of(Told(Kind.GAP, "x", twenty, True)) == ""
    assert "21 words" in miss_of(Told(Kind.GAP, "x", f"{twenty} more", True))
    assert "own" in miss_of(Told(Kind.FINDING, "x", "Trade.", False))


def test_a_statement_without_the_customers_words_is_found_in_the_source(tmp_path: Path) -> None:
    path = tmp_path / "checks.py"
    path.write_text(
        'PLAIN = {1: "It is null."}\n'
        'case.advise(claim, "One voice.")\n'
        'case.visual(at, claim, "Seen.", passes=True, tells=PLAIN[1])\n'
        'ck.Tells(passes="Good.", fails="Bad.")\n',
        "utf-8",
    )
    silent, words = written_in(path)
    assert silent == ["checks.py:2: advise without tells", "checks.py:4: Tells without undecided"]
    assert set(words) == {"It is null.", "Good.", "Bad."}


def test_every_way_leads_from_the_trades_word_to_another() -> None:
    for terms in JARGON.values():
        for term, instead in terms.items():
            assert instead and instead != term, term


def test_random_benches_lead_to_most_of_what_a_system_can_say() -> None:
    """Else the words would go unread: of the codes that the battery's checks name, three in four come up."""
    system = system_of("battery")
    said = {told.of for told in told_by(system) if told.kind is Kind.FINDING}
    named: set[str] = set()
    for path in system.folder.glob("*.py"):
        named |= set(re.findall(r'Claim\(\s*"(battery\.[a-z_]+)"', path.read_text("utf-8")))
    assert len(named & said) >= 0.75 * len(named), sorted(named - said)
