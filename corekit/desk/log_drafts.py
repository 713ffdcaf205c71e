"""Logs and the vehicle's own data on their way into a visit: read, looked at, and only then written."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..errors import CorekitError
from ..fault import DataFault
from ..files import write_once, write_over
from ..intake.declared import Declared
from ..intake.visit import VisitError, read_visit
from ..plugin.host import Plugins
from ..readers.draft import DraftRow, LogDraft, draft_of, rows_of
from ..readers.errors import LogError
from ..readers.events import EVENTS_REST_ON
from ..readers.files import LogReader, Told, log_of

__all__ = [
    "DraftRow",
    "LogDraft",
    "LogError",
    "LogReader",
    "Told",
    "as_words",
    "declared_here",
    "draft_from_car",
    "draft_from_file",
    "rows_of",
    "write_into",
]


class NotWrittenError(CorekitError):
    """A draft could not be written into a visit file; the file is as it was."""


def draft_from_file(
    plugins: Plugins, name: str, content: bytes, told: Told | None = None, ask: LogReader | None = None
) -> LogDraft:
    """The draft of a logger's file; nothing of it is kept.

    Args:
        ask: Asks plugins' readers in another process; without it this process does.

    Raises:
        LogError: no reader makes anything of it; every fault at once.
    """
    return draft_of(log_of(plugins, name, content, told, ask), plugins)


def draft_from_car(
    plugins: Plugins, channel: str, interface: str, *, bitrate: int = 0, seconds: float = 10.0
) -> LogDraft:
    """The draft of the vehicle's own data, read over a bus; nothing of it is kept, and nothing is sent to the
    vehicle but questions.

    Raises:
        LogError: there is no such bus, or no module answers on it.
    """
    from ..readers.bus_link import Link, open_bus
    from ..readers.vehicle import read_vehicle

    wanted = {one.channel for one in plugins.from_channels}
    wanted |= {key for one in plugins.from_channels for key in one.when} | EVENTS_REST_ON
    bus = open_bus(channel, interface, bitrate)
    try:
        log = read_vehicle(
            Link(bus),
            f"{interface} {channel}",
            seconds=seconds,
            wanted=wanted,
            known=plugins.channels,
        )
    finally:
        bus.shutdown()
    return draft_of(log, plugins)


def as_words(draft: LogDraft) -> str:
    """A draft as a person looks at it in a terminal, its rows numbered from 1."""
    lines = ["What happened in it:"] if draft.events else []
    lines += [
        f"  {_time(event.start):>9} to {_time(event.end):<9} {event.kind}"
        + (f" ({event.words})" if event.words else "")
        for event in draft.events
    ]
    lines += (
        ["", "Draft, nothing of it is saved:"] if draft.rows else ["", "Nothing in it is a reading here."]
    )
    for number, row in enumerate(draft.rows, 1):
        place = f", {row.place}" if row.place else ""
        lines.append(f"  {number}  {row.title}{place}: {row.text}{'  (unusual)' if row.is_odd else ''}")
        lines += [
            f"     {words}" for words in (row.beside and f"with {row.beside}", row.where, row.note) if words
        ]
    for title, words in (
        ("It can show:", draft.can),
        ("It cannot show:", draft.cannot),
        ("Left out, or worth a word:", draft.left_out),
    ):
        if words:
            lines += ["", title, *(f"  {one}" for one in words)]
    return "\n".join(lines).strip("\n")


def _time(seconds: float) -> str:
    minutes, rest = divmod(seconds, 60)
    return f"{minutes:.0f}:{rest:04.1f}"


# ---- into a visit file


def declared_here(plugins: Plugins, folder: Path) -> Declared:
    """What a visit file may say, with the shop's instruments if there is a shop."""
    from .check import NO_CURRENCY

    if not (folder / "shop.toml").is_file():
        return Declared.of(plugins, currency=NO_CURRENCY)
    from .settings import declared, read_prices, read_settings

    return declared(plugins, read_settings(folder, demo=True), read_prices(folder).currency)


def write_into(path: Path, rows: Sequence[DraftRow], declared: Declared) -> list[str]:
    """Write rows of a draft at the end of a visit file; gives what was written besides, and remarks.

    Samples of a record go into a file of two columns beside it.

    Raises:
        NotWrittenError: the file cannot take them; it is as it was.
        OSError: the disk refuses.
    """
    try:
        text = path.read_text("utf-8")
    except UnicodeDecodeError as error:
        raise NotWrittenError(f"{path} is no UTF-8 text; nothing was written.") from error
    if path.suffix.lower() == ".json":
        raise NotWrittenError(f"{path} is JSON; drafts are written into TOML. Nothing was written.")
    made = rows_of(rows)
    beside = _samples_beside(path, made)
    added = _as_toml({key: table for key, table in made.items() if key != "vehicle"}, text)
    whole = f"{text.rstrip()}\n\n{added}"
    before = _faults(path, text.encode(), declared)
    written: list[Path] = []
    try:
        for name, content in beside.items():
            write_once(path.parent / name, content)
            written.append(path.parent / name)
        new = [fault for fault in _faults(path, whole.encode(), declared) if fault not in before]
        if new:
            listed = "\n".join(f"  {fault}" for fault in new)
            raise NotWrittenError(f"{path} cannot take these rows; nothing was written:\n{listed}")
        write_over(path, whole.encode())
    except BaseException:
        for one in written:
            one.unlink(missing_ok=True)
        raise
    remarks = [f"Written beside it: {one.name}" for one in written]
    vin = made.get("vehicle", {}).get("vin")
    if vin and f'"{vin}"' not in text:
        remarks.append(
            f'The vehicle gives the VIN {vin}: write vin = "{vin}" under [vehicle] if it is this one.'
        )
    return remarks


def _faults(path: Path, content: bytes, declared: Declared) -> list[DataFault]:
    """What is wrong with the file if it had this content; its folder is where its records lie."""
    trial = path.with_name(f".{path.name}.trial.toml")
    try:
        trial.write_bytes(content)
        read_visit(trial, declared)
    except VisitError as error:
        return list(error.faults)
    finally:
        trial.unlink(missing_ok=True)
    return []


def _samples_beside(path: Path, made: Mapping[str, Any]) -> dict[str, bytes]:
    """Name → content of the files that hold the records' samples; their rows name them from now on."""
    found: dict[str, bytes] = {}
    for step in made.get("step", ()):
        step["records"] = records = [dict(row) for row in step.get("records", ())]
        if not records:
            del step["records"]
        for row in records:
            points = [point.partition(": ") for point in row.pop("points")]
            units = [points[0][0].partition(" ")[2], points[0][2].partition(" ")[2]]
            stem = re.sub(r"[^\w-]", "_", f"{path.stem}-{row['of']}")
            name = next(
                one
                for one in (f"{stem}{'-' + str(n) if n else ''}.csv" for n in range(10_000))
                if one not in found and not (path.parent / one).exists()
            )
            cells = [f"{time.partition(' ')[0]};{value.partition(' ')[0]}" for time, _, value in points]
            head = ";".join(f"[{unit}]" for unit in units)
            found[name] = ("\n".join([head, *cells]) + "\n").encode()
            row["file"] = name
    return found


def _as_toml(tables: Mapping[str, Any], text: str) -> str:
    """Tables as a person would write them at the end of a visit file; an instrument that stands there is left
    out.
    """
    lines: list[str] = []
    for name, sheet in tables.get("instruments", {}).items():
        if f"[instruments.{_toml_string(name)}]" not in text:
            lines += [
                f"[instruments.{_toml_string(name)}]",
                *(f"{key} = {_value(one)}" for key, one in sheet.items()),
                "",
            ]
    for step in tables.get("step", ()):
        lines.append("[[step]]")
        lines += [f"{key} = {_value(one)}" for key, one in step.items()]
        lines.append("")
    return "\n".join(lines)


def _value(data: Any) -> str:
    if isinstance(data, bool):
        return "true" if data else "false"
    if isinstance(data, str):
        return _toml_string(data)
    if isinstance(data, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_value(one)}" for key, one in data.items()) + " }"
    return "[" + ", ".join(map(_value, data)) + "]"


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _toml_string(name)


def _toml_string(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda sign: f"\\u{ord(sign[0]):04X}", escaped) + '"'
