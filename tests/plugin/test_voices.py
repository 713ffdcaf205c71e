"""Everything that a system declares has a place for the customer's words, and says something without them."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated, Any

import attrs
import pytest

import corekit as ck
from corekit.model.finding import Gap, Reason
from corekit.model.source import Basis, Source, Status
from corekit.model.value import exact
from corekit.plugin.case import Sighting
from corekit.plugin.check import run
from corekit.plugin.host import Plugins
from corekit.testing import Bench

lamps = ck.System("lamps", "Lamps")
lamps.sources = {  # type: ignore[misc]
    "rule": Source(key="rule", title="a rule", basis=Basis.PRACTICE, status=Status.NONE)
}


class Lens(Enum):
    CLEAR = "clear"
    DULL = "dull"


SENTENCES = {Lens.CLEAR: "The lens is clear.", Lens.DULL: "The lens has gone dull."}
drop = lamps.measurand(
    "drop",
    "V",
    "Voltage drop, ground side",
    possible=(0, 30),
    usual=(0, 1),
    accuracy="0.1 V",
    tells="what the lamp's connection loses",
)
flow = lamps.measurand("flow", "A", "Current", possible=(0, 30), usual=(0, 5), accuracy="0.1 A")
log = lamps.record("log", "Log", of=flow, tells="how the current went over the night")
lens = lamps.observation("lens", "Lens", Lens, tells="the lens of the lamp", tells_each=SENTENCES)
socket = lamps.observation("socket", "Socket", Lens)
kind = lamps.trait("kind", "Kind", Lens, tells="which lamp it is")
renew = lamps.operation("renew", "Replace the lamp", tells="A new lamp is fitted.")
aim = lamps.operation("aim", "Aim the lamps")


def test_the_customer_reads_his_own_name_of_a_thing_and_else_its_title() -> None:
    assert drop.for_customer == "what the lamp's connection loses"
    assert log.for_customer == "how the current went over the night"
    assert lens.for_customer == "the lens of the lamp"
    assert kind.for_customer == "which lamp it is"
    assert (flow.for_customer, socket.for_customer) == ("Current", "Socket")


def test_the_customer_reads_a_sentence_for_every_answer_and_else_name_and_answer() -> None:
    assert lens.told("dull") == "The lens has gone dull."
    assert socket.told("dull") == "Socket: dull."


def test_the_customer_reads_a_sentence_about_work_and_else_its_title() -> None:
    assert (renew.for_customer, aim.for_customer) == ("A new lamp is fitted.", "Aim the lamps.")


def test_the_words_are_found_by_key_over_all_systems() -> None:
    plugins = Plugins(systems={"lamps": lamps})
    names = {key: plugins.for_customer(key) for key in ("lamps.drop", "lamps.log", "lamps.renew", "lamps.x")}
    assert names == {
        "lamps.drop": "what the lamp's connection loses",
        "lamps.log": "how the current went over the night",
        "lamps.renew": "A new lamp is fitted.",
        "lamps.x": "lamps.x",
    }


@pytest.mark.parametrize(
    ("sentences", "named"),
    [
        ({Lens.CLEAR: "It is clear."}, "missing dull"),
        ({**SENTENCES, "cracked": "It is cracked."}, "no answer cracked"),
    ],
)
def test_sentences_for_some_answers_only_or_for_none_of_them_are_refused(
    sentences: dict[Any, str], named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        ck.System("other", "Other").observation("lens", "Lens", Lens, tells_each=sentences)


def test_a_fault_has_a_headline_and_a_sentence_for_the_customer_and_else_its_name() -> None:
    row = {"per_1000": 2, "why": "they burn out"}
    table = lamps.fault_table(
        {
            "faults": {
                "burnt": {
                    **row,
                    "name": "Filament open",
                    "cause": "a burnt-out lamp",
                    "tells": "The lamp has burnt out.",
                },
                "dull": {**row, "name": "Lens dull"},
                "led": {**row, "name": "LED driver"},
                "low": {**row, "name": "DC socket burnt"},
                "fuse": {**row, "name": "A fuse has blown"},
            }
        },
        "faults.toml",
    )
    burnt, dull = table.faults["burnt"], table.faults["dull"]
    assert (burnt.headline, burnt.for_customer) == ("a burnt-out lamp", "The lamp has burnt out.")
    assert (dull.headline, dull.for_customer) == ("lens dull", "Lens dull.")
    assert table.faults["led"].headline == "LED driver"
    assert table.faults["low"].headline == "DC socket burnt"
    assert table.faults["fuse"].headline == "a fuse has blown"


@lamps.check("Connection")
def connection(
    case: ck.Case, lost: Annotated[ck.Reading, drop], at: Annotated[Lens, lens]
) -> Iterator[ck.Finding | ck.Gap]:
    yield case.gap(kind, "The kind is not known.")
    yield case.gap(kind, "The kind is not known.", tells="We could not see which lamp it is.")


def gaps_of(bench: Bench) -> list[Gap]:
    found = run(lamps.checks["connection"], bench.case())
    return [one for one in found if isinstance(one, Gap)]


def test_a_gap_tells_the_customer_what_was_not_checked_in_his_own_words() -> None:
    assert [gap.for_customer for gap in gaps_of(Bench(lamps))] == [
        "Not checked: what the lamp's connection loses."
    ]
    full = Bench(lamps).read("drop", "0.1 V").see("lens", "clear")
    assert [gap.for_customer for gap in gaps_of(full)] == [
        "Not checked: which lamp it is.",
        "We could not see which lamp it is.",
    ]


def test_a_gap_of_something_out_of_reach_tells_the_customer_why() -> None:
    bench = Bench(lamps)
    bench.sightings["lamps.drop", ""] = Sighting(None, "seen-drop", "the lamp is glued in")
    assert [gap.for_customer for gap in gaps_of(bench)] == [
        "Not checked: what the lamp's connection loses (the lamp is glued in)."
    ]


def test_readings_that_disagree_are_no_verdict_in_the_customers_words_either() -> None:
    bench = Bench(lamps).read("flow", "1 A").read_also("flow", "4 A")
    case = bench.case()
    says = ck.Says(passes="Good.", fails="Bad.", undecided="Open.")
    tells = ck.Tells(passes="All is well.", fails="All is lost.", undecided="Who knows.")
    limit = case.computed_limit("lamps.flow", "rule", high=exact(flow.kind, 5.0), width=0.1, why="a rule")
    finding = case.judge(case[flow], limit, ck.Claim("lamps.flow"), says, tells)
    assert "read again" in str(finding.for_customer) and "well" not in str(finding.for_customer)


def test_a_gap_without_other_words_is_told_in_the_trades() -> None:
    gap = Gap(system="lamps", check="Connection", reason=Reason.DOES_NOT_APPLY, text="It has none.")
    assert gap.for_customer == "It has none."
    assert attrs.evolve(gap, tells="This car has none.").for_customer == "This car has none."
