"""What was plainly seen: plugs, distributor cap, the spark at a tester, where a misfire went, whether the
coil is switched.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

import corekit as ck

from .answers import CapLook, Face, Fitted, Kind, Spark, Switching, Wires
from .declarations import (
    ballast,
    cap_look,
    coil_wires,
    feed_drop,
    ignition,
    kind,
    plug_face,
    repair_switching,
    replace_cap,
    replace_plugs,
    spark,
    supply_cranking,
    supply_running,
    switching,
)
from .supply import battery_cranking, battery_running, loss_of, may_be_ballasted

# What each look usually means. source: plug-looks
_MEANS = {
    Face.TAN: "tan or pale grey, as in a sound engine",
    Face.NEW: "new",
    Face.SOOT: "dry black soot, from short trips, a rich mixture, a blocked air filter or a weak spark",
    Face.OIL: (
        "wet and black with oil, which gets past rings or valve guides; a new plug would soon look the same"
    ),
    Face.FUEL: "wet with fuel, so it did not fire",
    Face.BURNT: (
        "white, blistered or blued, so it ran too hot: loose plug, wrong heat range, timing or lean mixture"
    ),
    Face.WORN: "electrodes worn and rounded, which raises the required voltage",
    Face.CRACKED: "insulator cracked; the spark jumps inside the crack",
}
#: What is plainly wrong, for the customer.
_TOLD = {
    Face.BURNT: "burnt, because it ran too hot there",
    Face.WORN: "worn, so the spark has too far to jump",
    Face.CRACKED: "cracked, so the spark jumps in the wrong place",
}
_FAILS = (Face.CRACKED, Face.BURNT, Face.WORN)
_SOUND = (Face.TAN, Face.NEW)


@ignition.check("Spark plug appearance")
def plugs_looked_at(
    case: ck.Case, seen: Annotated[dict[str, Face], plug_face]
) -> Iterator[ck.Finding | ck.Gap]:
    """All plugs in one sentence each way.

    Colour supports, it does not decide; cracks, burns and worn electrodes are plain.
    """
    groups: dict[Face, list[str]] = {}
    for place, face in seen.items():
        groups.setdefault(face, []).append(place)
    text = "; ".join(f"{_listed(places)}: {_MEANS[face]}" for face, places in groups.items())
    says = "Spark plugs: {text}."
    if any(face in groups for face in _FAILS):
        yield case.visual(
            plug_face,
            ck.Claim("ignition.plug_face", calls_for=replace_plugs),
            says,
            passes=False,
            tells="{told}.",
            values={"text": text, "told": _told(groups)},
        )
    elif all(face in _SOUND for face in groups):
        yield case.visual(
            plug_face,
            ck.Claim("ignition.plug_face"),
            says,
            passes=True,
            tells="The spark plugs look as they should.",
            values={"text": text},
        )
    else:
        evidence = case.noted(plug_face, *seen)
        yield case.advise(
            ck.Claim("ignition.plug_face", evidence=evidence),
            says + " Find the cause before replacing plugs.",
            tells="The spark plugs show that something is amiss; first its cause is to be found.",
            values={"text": text},
        )


def _told(groups: dict[Face, list[str]]) -> str:
    """What is wrong with the plugs, by the plainest of what was seen."""
    worst = next(face for face in _FAILS if face in groups)
    places = groups[worst]
    if len(groups) == 1 and len(places) > 1:
        return f"The spark plugs are {_TOLD[worst]}"
    plugs = "Spark plug" if len(places) == 1 else "Spark plugs"
    return f"{plugs} of {_listed(places)}: {_TOLD[worst]}"


@ignition.check("Distributor cap and rotor")
def cap_looked_at(
    case: ck.Case, seen: Annotated[CapLook | None, cap_look], how: Annotated[Kind | None, kind]
) -> Iterator[ck.Finding | ck.Gap]:
    """A cracked or tracked cap sends the spark astray, often to another cylinder."""
    if seen is None:
        without = how in (Kind.OWN_COIL, Kind.WASTED)
        yield (
            case.does_not_apply("This ignition has no distributor.")
            if without
            else case.gap(cap_look, "Distributor cap and rotor: not checked.")
        )
        return
    says = {
        CapLook.SOUND: "Distributor cap and rotor look sound.",
        CapLook.WORN: "The contacts in distributor cap or rotor are burnt or worn.",
        CapLook.TRACKED: (
            "Distributor cap or rotor is cracked or tracked: the spark leaks along the dark line, most of all"
            " in the wet."
        ),
    }[seen]
    yield case.visual(
        cap_look, ck.Claim("ignition.cap", calls_for=replace_cap), says, passes=seen is CapLook.SOUND
    )


@ignition.check("Spark at the spark tester")
def spark_seen(
    case: ck.Case,
    seen: Annotated[dict[str, Spark], spark],
    *,
    direct: Annotated[ck.Reading | None, feed_drop],
    running: Annotated[ck.Reading | None, supply_running],
    cranking: Annotated[ck.Reading | None, supply_cranking],
    battery_runs: Annotated[ck.Reading | None, battery_running],
    battery_cranks: Annotated[list[ck.Reading] | None, battery_cranking],
    resistor: Annotated[Fitted | None, ballast],
    how: Annotated[Kind | None, kind],
) -> Iterator[ck.Finding | ck.Gap]:
    """A weak spark speaks against a coil only once the supply has been found good."""
    bad = [place for place, one in seen.items() if one is not Spark.STEADY]
    evidence = case.noted(spark, *seen)
    if not bad:
        yield case.advise(
            ck.Claim("ignition.spark", evidence=evidence, urgency=ck.Urgency.NOTHING),
            (
                "At the spark tester there is a spark every time ({places}). That roughly rules out"
                " coil and leads; under load a gap requires more voltage."
            ),
            values={"places": _listed(list(seen))},
        )
        return
    words: dict[str, Any] = {
        "bad": _listed(bad),
        "what": "no spark" if all(seen[place] is Spark.NONE for place in bad) else "a weak or missing spark",
    }
    loss = loss_of(
        direct=direct,
        running=running,
        battery_runs=battery_runs,
        cranking=cranking,
        battery_cranks=battery_cranks,
        through=may_be_ballasted(resistor, how),
    )
    drop, low = case.limit(feed_drop).high, case.limit(supply_cranking).low
    lost = loss is not None and drop is not None and loss.lost.number > drop.number
    weak = lost or (cranking is not None and low is not None and cranking.number < low.number)
    if loss is None and cranking is None:
        yield case.inconclusive(
            ck.Claim("ignition.spark", evidence=evidence, next_test=feed_drop),
            (
                "At the spark tester there is {what} on {bad}. A weak supply alone can cause that:"
                " read the coil supply before replacing anything."
            ),
            values=words,
        )
    elif weak:
        yield case.inconclusive(
            ck.Claim("ignition.spark", evidence=evidence, next_test=feed_drop),
            (
                "At the spark tester there is {what} on {bad}, but the coil supply is weak, which"
                " explains it: repair that, then check the spark again."
            ),
            values=words,
        )
    else:
        shared = len(bad) == len(seen) > 1
        where = (
            "what all cylinders share (switching, coil, distributor)"
            if shared
            else "what belongs to it alone (coil or lead)"
        )
        yield case.advise(
            ck.Claim("ignition.spark", evidence=evidence, urgency=ck.Urgency.THIS_VISIT),
            (
                "At the spark tester there is {what} on {bad}, and the coil supply is good. Usual"
                " causes: {where}."
            ),
            values={"where": where, **words},
        )


@ignition.check("Coil switching")
def switched(
    case: ck.Case, seen: Annotated[Switching, switching], wires: Annotated[Wires | None, coil_wires]
) -> Iterator[ck.Finding | ck.Gap]:
    """A coil that is never switched makes no spark, however good it is.

    The command of a coil with its driver inside rests low; the switched terminal of one without rests high.
    """
    logic = wires is Wires.MORE
    says = {
        Switching.SWINGS: "While cranking the coil is switched on and off.",
        Switching.HIGH: (
            "While cranking the coil's command stays high: it never goes low. Usual causes: module or wiring."
            if logic
            else (
                "While cranking the coil's switched side stays high: it is never switched on. Usual"
                " causes: points, module, pick-up or their wiring."
            )
        ),
        Switching.LOW: (
            "While cranking the coil's command stays low: no spark is ever asked for. Usual causes: no engine"
            " speed from the crankshaft sensor, module, or wiring."
            if logic
            else (
                "While cranking the coil's switched side stays low: never switched off, or no supply"
                " arrives. Usual causes: points, module, a short, or the feed."
                + (
                    ""
                    if wires is Wires.TWO
                    else " With three or four wires at the coil it means that no spark is asked for."
                )
            )
        ),
    }[seen]
    yield case.visual(
        switching,
        ck.Claim("ignition.switching", calls_for=repair_switching),
        says,
        passes=seen is Switching.SWINGS,
        tells=(
            "The ignition coil is switched as it should be."
            if seen is Switching.SWINGS
            else "The ignition coil is not switched as it should be."
        ),
    )


def _listed(places: list[str]) -> str:
    """`cylinders 1, 2 and 4`; one alone keeps its name."""
    if len(places) == 1:
        return places[0]
    word, numbers = places[0].split(" ")[0], [place.split(" ")[-1] for place in places]
    return f"{word}s {', '.join(numbers[:-1])} and {numbers[-1]}"
