"""What was plainly seen: plugs, distributor cap, the spark at a tester, where a misfire went, whether the
coil is switched.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

import corekit as ck

from .answers import (
    IN_SCOPE,
    CapLook,
    CoilLook,
    CoilType,
    DropMeter,
    Face,
    Fitted,
    Kind,
    Routing,
    Spark,
    Switching,
    Wires,
)
from .declarations import (
    ballast,
    cap_look,
    coil_look,
    coil_type,
    coil_wires,
    drop_meter,
    engine_speed,
    feed_drop,
    ground_drop,
    ignition,
    kind,
    plug_face,
    repair_switching,
    replace_cap,
    replace_coil,
    replace_plugs,
    routing,
    spark,
    supply_cranking,
    supply_key_on,
    supply_running,
    switching,
)
from .observations import Rpm, rpm
from .spark_path import spark_at_coil
from .supply import RUNNING, battery_cranking, battery_running, loss_of, may_be_ballasted, may_hide

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
#: Where several are wet at once. Petrol in the cylinders makes vapour where sparks may be: dried in the open.
_FLOODED = (
    " Several wet alike: no spark at all, or flooded by short starts in the cold. Dry them in the open, away"
    " from any spark; most ECUs cut the fuel while it is cranked with the throttle fully open."
)
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
    text = "; ".join(f"{_cylinder_list(places)}: {_MEANS[face]}" for face, places in groups.items())
    says = "Spark plugs: {text}."
    if any(face in groups for face in _FAILS):
        yield case.visual(
            plug_face,
            ck.Claim("ignition.plug_face", calls_for=replace_plugs),
            says,
            passes=False,
            tells="{told}.",
            values={"text": text, "told": _plug_words(groups)},
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
        wet = len(groups.get(Face.FUEL, ())) > 1
        yield case.advise(
            ck.Claim("ignition.plug_face", evidence=evidence),
            says + " Find the cause before replacing plugs." + (_FLOODED if wet else ""),
            tells=(
                "Several spark plugs are wet with petrol; they are dried, and the reason is looked for."
                if wet
                else "The spark plugs show that something is amiss; first its cause is to be found."
            ),
            values={"text": text},
        )


def _plug_words(groups: dict[Face, list[str]]) -> str:
    """What is wrong with the plugs, by the plainest of what was seen."""
    worst = next(face for face in _FAILS if face in groups)
    places = groups[worst]
    if len(groups) == 1 and len(places) > 1:
        return f"The spark plugs are {_TOLD[worst]}"
    plugs = "Spark plug" if len(places) == 1 else "Spark plugs"
    return f"{plugs} of {_cylinder_list(places)}: {_TOLD[worst]}"


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
        cap_look,
        ck.Claim("ignition.cap", calls_for=replace_cap),
        says,
        passes=seen is CapLook.SOUND,
        tells={
            CapLook.SOUND: "The part that hands the spark to the cylinders looks sound.",
            CapLook.WORN: "The part that hands the spark to the cylinders is worn.",
            CapLook.TRACKED: "The part that hands the spark to the cylinders is cracked: it leaks there.",
        }[seen],
    )


@ignition.check("Spark at the spark tester")
def spark_seen(
    case: ck.Case,
    seen: Annotated[dict[str, Spark], spark],
    *,
    direct: Annotated[ck.Reading | None, feed_drop],
    grounded: Annotated[ck.Reading | None, ground_drop],
    turning: Annotated[Rpm | None, rpm],
    pulses: Annotated[Switching | None, switching],
    before: Annotated[Spark | None, spark_at_coil],
    running: Annotated[ck.Reading | None, supply_running],
    cranking: Annotated[ck.Reading | None, supply_cranking],
    battery_runs: Annotated[ck.Reading | None, battery_running],
    battery_cranks: Annotated[list[ck.Reading] | None, battery_cranking],
    resistor: Annotated[Fitted | None, ballast],
    how: Annotated[Kind | None, kind],
    meter: Annotated[DropMeter | None, drop_meter],
    made: Annotated[CoilType | None, coil_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """A weak spark speaks against a coil only once the supply has been found good."""
    bad = [place for place, one in seen.items() if one is not Spark.STEADY]
    evidence = case.noted(spark, *seen)
    if not bad:
        yield case.advise(
            ck.Claim("ignition.spark", evidence=evidence, urgency=ck.Urgency.NOTHING),
            (
                "At the spark tester there is a spark every time ({places}). That roughly rules out"
                " coil and leads as they were then; what fails hot, wet or now and then is tried while it"
                " fails, and under load a gap requires more voltage."
            ),
            tells="There is a spark every time where it was tried.",
            values={"places": _cylinder_list(list(seen))},
        )
        return
    words: dict[str, Any] = {
        "bad": _cylinder_list(bad),
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
    unasked = (
        "no engine speed is shown while it cranks, so none is asked for: crankshaft sensor, its plug and"
        " wheel first"
        if turning is Rpm.NONE
        else "the coil is not switched while it cranks: what switches it comes first"
        if pulses in (Switching.HIGH, Switching.LOW)
        else ""
    )
    if unasked:
        yield case.advise(
            ck.Claim("ignition.spark", evidence=evidence, urgency=ck.Urgency.THIS_VISIT),
            "At the spark tester there is {what} on {bad}, and {why}. Coil, leads and plugs are not judged"
            " by that.",
            tells="There is no spark because none is asked for; why is looked for next.",
            values={**words, "why": unasked},
        )
        return
    if grounded is not None and case.side(grounded, case.limit(ground_drop)) is ck.Side.ABOVE:
        yield case.inconclusive(
            ck.Claim("ignition.spark", evidence=[*evidence, grounded]),
            (
                "At the spark tester there is {what} on {bad}, and the ground side loses {lost}, which"
                " explains it:"
                " repair that, then check the spark again."
            ),
            tells="A bad connection back to the battery makes the spark weak; that is repaired first.",
            values={**words, "lost": ck.show(grounded.value, "V", uncertainty=False)},
        )
        return
    if before is Spark.STEADY:
        yield case.advise(
            ck.Claim("ignition.spark", evidence=evidence, urgency=ck.Urgency.THIS_VISIT),
            "At the spark tester there is {what} on {bad}, and at the coil's own lead every time: supply"
            " and coil make it.",
            tells="The spark is made, and lost on its way to the spark plugs.",
            values=words,
        )
        return
    if how is not None and how not in IN_SCOPE:
        yield case.advise(
            ck.Claim("ignition.spark", evidence=evidence, urgency=ck.Urgency.THIS_VISIT),
            "At the spark tester there is {what} on {bad}. What makes it is out of this system's scope here.",
            tells="The spark is weak or missing; what makes it is of a kind that is not tested here.",
            values=words,
        )
        return
    hidden = (
        loss is not None
        and loss.when != RUNNING
        and not weak
        and may_hide(meter, made, direct.condition(engine_speed) if direct is not None else None)
    )
    if hidden or (loss is None and cranking is None):
        yield case.inconclusive(
            ck.Claim("ignition.spark", evidence=evidence, next_test=feed_drop),
            (
                "At the spark tester there is {what} on {bad}. A weak supply alone can cause that:"
                " read the coil supply{peak} before replacing anything."
            ),
            tells="The spark is weak or missing; whether too little voltage arrives is read first.",
            values={**words, "peak": " by peak hold, scope or record" if hidden else ""},
        )
    elif weak:
        yield case.inconclusive(
            ck.Claim("ignition.spark", evidence=evidence),
            (
                "At the spark tester there is {what} on {bad}, but the coil supply is weak, which"
                " explains it: repair that, then check the spark again."
            ),
            tells="The spark is weak because too little voltage arrives at the coil; that is repaired first.",
            values=words,
        )
    else:
        where = _where_lost(len(bad), len(seen), how)
        yield case.advise(
            ck.Claim("ignition.spark", evidence=evidence, urgency=ck.Urgency.THIS_VISIT),
            ("At the spark tester there is {what} on {bad}, and the coil supply is good. {where}."),
            tells="The spark is weak or missing although the coil is supplied; why is looked for next.",
            values={"where": where, **words},
        )


def _where_lost(bad: int, seen: int, how: Kind | None) -> str:
    """What comes into question by how many of those that were tried lack it."""
    if bad < seen:
        own = {
            Kind.DISTRIBUTOR: "lead, tower of the cap",
            Kind.WASTED: "lead; where both of one coil lack it, that coil",
            Kind.OWN_COIL: "coil, boot, driver",
        }.get(how or Kind.MAGNETO, "coil or lead")
        return f"Usual causes: what belongs to {'it' if bad == 1 else 'those cylinders'} alone ({own})"
    if seen == 1:
        return (
            "Whether the others have one was not looked at: that tells one coil or lead from what all share"
        )
    if how is Kind.OWN_COIL:
        return (
            "Usual causes: what all cylinders share (engine speed, command, feed); coils seldom fail together"
        )
    return "Usual causes: what all cylinders share (switching, coil, distributor)"


_COIL_LOOKS = {
    CoilLook.SOUND: ("{it} and its tower look sound; one that fails warm does too.", "{it} looks sound."),
    CoilLook.TRACKED: (
        "{it}: cracked or carbon-tracked. The spark takes that path again.",
        "{it} is cracked, and the spark leaks out there.",
    ),
    CoilLook.SWOLLEN: (
        "{it}: swollen or leaking, so it ran too hot. Supply and dwell before another one is fitted.",
        "{it} has been too hot; why is looked for before a new one is fitted.",
    ),
}


@ignition.check("Coil and its tower")
def coils_looked_at(
    case: ck.Case, seen: Annotated[dict[str, CoilLook], coil_look]
) -> Iterator[ck.Finding | ck.Gap]:
    """A track or a crack leaks whatever the ohmmeter says; a bulge has been too hot."""
    for place, look in seen.items():
        said, told = _COIL_LOOKS[look]
        yield case.visual(
            coil_look,
            ck.Claim(
                "ignition.coil_look",
                place=place,
                calls_for=None if look is CoilLook.SOUND else replace_coil,
            ),
            said,
            passes=look is CoilLook.SOUND,
            tells=told,
            values={"it": place.capitalize()},
        )


@ignition.check("Leads and boots beside the exhaust")
def routed(case: ck.Case, seen: Annotated[Routing, routing]) -> Iterator[ck.Finding | ck.Gap]:
    """What a boot bears, its lead does not. source: heat-by-exhaust"""
    close = seen is Routing.CLOSE
    yield case.advise(
        ck.Claim(
            "ignition.routing",
            evidence=case.noted(routing),
            urgency=ck.Urgency.THIS_VISIT if close else ck.Urgency.NOTHING,
        ),
        (
            "A lead or boot lies on or close to the exhaust. Ceramic boots are said to bear about 2000 °F,"
            " common"
            " practice without a source; the lead behind them bears 105 to 230 °C. Move and clip it clear,"
            " then look"
            " at it for a crack or a track."
        )
        if close
        else "Leads and boots lie clear of the exhaust.",
        tells=(
            "A lead of the ignition lies too close to the hot exhaust and is moved away from it."
            if close
            else "The leads of the ignition lie clear of the hot exhaust."
        ),
    )


@ignition.check("Coil switching")
def switched(
    case: ck.Case,
    seen: Annotated[Switching, switching],
    wires: Annotated[Wires | None, coil_wires],
    fed: Annotated[ck.Reading | None, supply_key_on],
    turning: Annotated[Rpm | None, rpm],
    made: Annotated[CoilType | None, coil_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """A coil that is never switched makes no spark, however good it is.

    The command of a coil with its driver inside rests low; the switched terminal of one without rests high.
    """
    logic = wires is Wires.MORE
    supplied = fed is not None and case.side(fed, case.limit("ignition.supply_there")) is ck.Side.INSIDE
    low = (
        "never switched off, for a supply arrives: that lowers what the coil's feed shows, too"
        if supplied
        else "never switched off, or no supply arrives"
    )
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
                f"While cranking the coil's switched side stays low: {low}. Usual causes: points, module,"
                f" a short"
                f"{'' if supplied else ', or the feed'}."
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
        ck.Claim(
            "ignition.switching",
            # Without engine speed nothing is switched however sound it is: that has to be seen first.
            calls_for=repair_switching if made is CoilType.POINTS or turning is Rpm.SHOWN else None,
        ),
        says,
        passes=seen is Switching.SWINGS,
        tells=(
            "The ignition coil is switched as it should be."
            if seen is Switching.SWINGS
            else "The ignition coil is not switched as it should be."
        ),
    )


def _cylinder_list(places: list[str]) -> str:
    """`cylinders 1, 2 and 4`; one alone keeps its name."""
    if len(places) == 1:
        return places[0]
    word, numbers = places[0].split(" ")[0], [place.split(" ")[-1] for place in places]
    return f"{word}s {', '.join(numbers[:-1])} and {numbers[-1]}"
