"""The vehicle's own data as a log: codes, monitors, freeze frame, live values and VIN, by SAE J1979.

Everything is asked for and nothing is set. What a module refuses, leaves out or sends in another length than
the standard has is named and not taken. Source: data-scaling.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterator

import attrs

from .. import units
from ..channels import ChannelList, channels
from ..fault import DataFault
from ..model.channel import Channel, Log, Track
from ..model.trouble import decode
from ..model.vin import VinError, read_vin
from .bus_link import Answer, Link
from .column import usual_step
from .errors import LogError

#: List of codes → the service that gives it.
LISTS = {"stored": 0x03, "pending": 0x07, "permanent": 0x0A}
_LIVE, _FROZEN, _RESULTS, _ABOUT = 0x01, 0x02, 0x06, 0x09
_STATUS, _VIN = 0x01, 0x02
_GROUP = 0x20  # parameters that one answer says are there
#: Monitor identifiers of the misfires of cylinder 1 and up, the test that counts those of this driving cycle,
#: and the scaling that is a plain count. Source: data-scaling.
_FIRST_CYLINDER, _THIS_CYCLE, _PLAIN_COUNT, _RESULT = 0xA2, 0x0C, 0x24, 9
_CYLINDERS = 12


@attrs.frozen
class _Reader:
    """Asks, and puts down what came of it."""

    link: Link
    known: ChannelList
    remarks: dict[str, None] = attrs.field(factory=dict)

    def supported(self, service: int, to: str, first: int = 0) -> set[int]:
        """The parameters that a module says it has, from `first` on."""
        found: set[int] = set()
        group = first
        while group <= 0xE0:
            frame = (0,) if service == _FROZEN else ()
            answers = [one for one in self.link.ask(service, group, *frame, to=to) if one.refusal is None]
            mask = answers[0].data[1 + len(frame) :] if answers else b""
            if len(mask) != 4:
                if mask:
                    self.odd(answers[0], service, group, 4)
                return found
            bits = int.from_bytes(mask, "big")
            found |= {group + 1 + n for n in range(_GROUP) if bits >> (31 - n) & 1}
            group += _GROUP
            if group not in found:
                return found
        return found

    def odd(self, answer: Answer, service: int, parameter: int, count: int) -> None:
        self.remarks[
            f"Module {answer.address}, asked for {service:02X} {parameter:02X}, answered with another number"
            f" of bytes than {count}; nothing of it was taken."
        ] = None


def read_vehicle(
    link: Link,
    name: str,
    *,
    seconds: float = 10.0,
    wanted: Collection[str] = (),
    known: ChannelList | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> Log:
    """What the modules on a bus tell.

    Args:
        name: Of the bus, for where readings come from.
        seconds: How long live values are read; 0 for none.
        wanted: Keys of the channels to read; all that the vehicle has where left out.
        known: The channels that there are; those that come with corekit where left out.

    Raises:
        LogError: no module answers.
    """
    reader = _Reader(link, known or channels())
    modules = _modules(reader)
    if not modules:
        raise LogError(
            [
                DataFault(
                    "bus",
                    "an answer to what parameters there are",
                    f"no module (ECU) on {name} answers, in addresses of 11 or 29 bits",
                    "it again with the key on and the adapter's bit rate right (mostly 500000 or 250000)",
                )
            ]
        )
    codes = {state: _codes(reader, service) for state, service in LISTS.items()}
    notes = [*_lamp(reader, modules), *_freeze_frames(reader, modules)]
    monitors = _monitors(reader, modules)
    if monitors:
        notes.append(_monitor_words(reader, monitors))
    tracks = [*_live(reader, modules, seconds, wanted, clock)] if seconds > 0 else []
    missing = [state for state, told in codes.items() if not told]
    if missing:
        reader.remarks[f"No module gives a list of {' and '.join(missing)} codes."] = None
    return Log(
        bus=name,
        tracks=tuple(tracks),
        codes={state: told for state, told in codes.items() if told},
        vin=_vin(reader),
        monitors=monitors,
        notes=tuple(notes),
        remarks=(*reader.remarks, *link.remarks),
    )


def _modules(reader: _Reader) -> dict[str, set[int]]:
    """Address → live parameters, of every module that answers; addresses of 11 bits are tried first."""
    for is_long in (False, True):
        reader.link.is_long = is_long
        found = [one for one in reader.link.ask(_LIVE, 0x00) if one.refusal is None]
        if found:
            return {one.address: reader.supported(_LIVE, one.address) for one in found}
    return {}


# ---- codes


def _codes(reader: _Reader, service: int) -> dict[str, tuple[str, ...]]:
    """Address → the codes of a list; a module that gives none of this kind is not in it."""
    found = {}
    for answer in reader.link.ask(service):
        if answer.refusal is not None:
            continue
        count, data = (answer.data[0] if answer.data else -1), answer.data[1:]
        if count < 0 or len(data) < 2 * count:
            reader.remarks[
                f"Module {answer.address}, asked for {service:02X}, says {max(count, 0)} codes and sends"
                f" {len(data) // 2}; nothing of it was taken."
            ] = None
            continue
        pairs = [data[n : n + 2] for n in range(0, 2 * count, 2)]
        found[answer.address] = tuple(dict.fromkeys(decode(pair) for pair in pairs if any(pair)))
    return found


# ---- lamp, monitors, freeze frame


def _status(reader: _Reader, address: str) -> bytes:
    for answer in reader.link.ask(_LIVE, _STATUS, to=address):
        if answer.refusal is None:
            if len(answer.data) == 5:
                return answer.data[1:]
            reader.odd(answer, _LIVE, _STATUS, 4)
    return b""


def _lamp(reader: _Reader, modules: dict[str, set[int]]) -> Iterator[str]:
    for address, has in modules.items():
        status = _status(reader, address) if _STATUS in has else b""
        if status and status[0] >> 7:
            yield f"Module {address} has its lamp on and counts {status[0] & 0x7F} codes."


def _monitors(reader: _Reader, modules: dict[str, set[int]]) -> dict[str, bool]:
    """Key → complete, of every monitor that some module has: all that have it must have completed it."""
    found: dict[str, bool] = {}
    for address, has in modules.items():
        status = _status(reader, address) if _STATUS in has else b""
        if not status:
            continue
        engine = "compression" if status[1] >> 3 & 1 else "spark"
        for key, monitor in reader.known.monitors.items():
            if monitor.only and monitor.only != engine:
                continue
            there, missing = status[monitor.byte], status[monitor.byte if monitor.byte == 1 else 3]
            if there >> monitor.supported & 1:
                found[key] = found.get(key, True) and not missing >> monitor.incomplete & 1
    return found


def _monitor_words(reader: _Reader, monitors: dict[str, bool]) -> str:
    def listed(is_complete: bool) -> str:
        titles = [
            reader.known.monitors[key].title for key, complete in monitors.items() if complete is is_complete
        ]
        return ", ".join(titles).lower() or "none"

    return f"Monitors since the codes were cleared: complete {listed(True)}; not complete {listed(False)}."


def _freeze_frames(reader: _Reader, modules: dict[str, set[int]]) -> Iterator[str]:
    """What was stored at the moment that a code was set, in words: it is no reading of now."""
    for address in modules:
        answers = [one for one in reader.link.ask(_FROZEN, 0x02, 0x00, to=address) if one.refusal is None]
        data = answers[0].data if answers else b""
        if len(data) != 4 or not any(data[2:]):
            continue
        has = reader.supported(_FROZEN, address)
        told = []
        for channel in reader.known.channels.values():
            parameter = channel.data
            if parameter is None or parameter.number not in has:
                continue
            for answer in reader.link.ask(_FROZEN, parameter.number, 0x00, to=address):
                if answer.refusal is None and len(answer.data) == 2 + parameter.count:
                    told.append(f"{channel.title.lower()} {_value_words(channel, answer.data[2:])}")
                elif answer.refusal is None:
                    reader.odd(answer, _FROZEN, parameter.number, parameter.count)
        if told:
            yield f"Freeze frame of {decode(data[2:])} in module {address}: {', '.join(told)}."


def _value_words(channel: Channel, raw: bytes) -> str:
    assert channel.data is not None
    number = f"{float(channel.data.value(raw)):.4g}"
    return f"{number} {units.declared_text(channel.unit)}"


# ---- live values


def _live(
    reader: _Reader,
    modules: dict[str, set[int]],
    seconds: float,
    wanted: Collection[str],
    clock: Callable[[], float],
) -> Iterator[Track]:
    """Every wanted channel, asked one after the other until the time is over."""
    asked = {
        key: (channel, address)
        for key, channel in reader.known.channels.items()
        if channel.data is not None and (not wanted or key in wanted)
        for address in [next((one for one, has in modules.items() if channel.data.number in has), "")]
        if address
    }
    samples: dict[str, list[tuple[float, float]]] = {key: [] for key in asked}
    before = _misfires(reader, modules) if not wanted or "misfires" in wanted else {}
    begin = clock()
    while asked and clock() - begin < seconds:
        for key, (channel, address) in asked.items():
            value = _value(reader, channel, address)
            moment = clock() - begin
            if value is not None and (not samples[key] or moment > samples[key][-1][0]):
                samples[key].append((moment, value))
    after = _misfires(reader, modules) if before else {}
    for key, (channel, address) in asked.items():
        times = tuple(moment for moment, _ in samples[key])
        if len(times) < 2:
            reader.remarks[
                f"{channel.title}: fewer than two answers in {seconds:g} s; nothing was taken."
            ] = None
            continue
        yield Track(
            channel=key,
            title=channel.title,
            times=times,
            values=tuple(value for _, value in samples[key]),
            interval=usual_step(times),
            address=address,
        )
    ends = samples.get("engine_speed", [])
    for (address, place), count in after.items():
        if len(ends) > 1 and (address, place) in before:
            yield Track(
                channel="misfires",
                place=place,
                title=reader.known.channels["misfires"].title,
                times=(ends[0][0], ends[-1][0]),
                values=(before[address, place], count),
                interval=ends[-1][0] - ends[0][0],
                address=address,
            )


def _value(reader: _Reader, channel: Channel, address: str) -> float | None:
    """One live value in the coherent unit."""
    parameter = channel.data
    assert parameter is not None
    for answer in reader.link.ask(_LIVE, parameter.number, to=address):
        if answer.refusal is not None or answer.address != address:
            continue
        if len(answer.data) != 1 + parameter.count:
            reader.odd(answer, _LIVE, parameter.number, parameter.count)
            continue
        number = parameter.value(answer.data[1:])
        low, high = channel.possible
        if low <= number <= high:
            one = units.unit(channel.unit)
            return float(number * one.factor_exact + one.offset_exact)
    return None


def _misfires(reader: _Reader, modules: dict[str, set[int]]) -> dict[tuple[str, str], float]:
    """(address, cylinder) → misfires of this driving cycle, where a module counts them."""
    found = {}
    for address in modules:
        has = reader.supported(_RESULTS, address, 0xA0)
        for n in range(_CYLINDERS):
            if _FIRST_CYLINDER + n not in has:
                continue
            for answer in reader.link.ask(_RESULTS, _FIRST_CYLINDER + n, to=address):
                if answer.refusal is not None:
                    continue
                for start in range(0, len(answer.data) - _RESULT + 1, _RESULT):
                    result = answer.data[start : start + _RESULT]
                    if result[1] == _THIS_CYCLE and result[2] == _PLAIN_COUNT:
                        found[address, f"cylinder {n + 1}"] = float(int.from_bytes(result[3:5], "big"))
    return found


# ---- about the vehicle


def _vin(reader: _Reader) -> str:
    """The VIN that the modules give; empty where none does, or two give different ones."""
    found: dict[str, str] = {}
    for answer in reader.link.ask(_ABOUT, _VIN):
        if answer.refusal is not None:
            continue
        text = answer.data[2:].strip(b"\0\xff ").decode("ascii", errors="replace")
        try:
            found[answer.address] = read_vin(text).text
        except VinError as error:
            reader.remarks[
                f"Module {answer.address} gives a VIN that is none ({error.got}); it was not taken."
            ] = None
    if len(set(found.values())) > 1:
        told = ", ".join(f"{vin} by {address}" for address, vin in found.items())
        reader.remarks[f"The modules give different VINs: {told}; none was taken."] = None
        return ""
    return next(iter(found.values()), "")
