"""No file under 1 MiB keeps a reader busy: what nobody writes by hand is refused before it is looked at."""

from __future__ import annotations

import json
import time
import tomllib
from collections.abc import Callable

import pytest

from corekit.datafile import MOST_COMMAS, MOST_HEADINGS
from corekit.desk.settings import declared, read_settings
from corekit.fault import KEPT, Faults
from corekit.intake.declared import Declared
from corekit.intake.fault import VisitError
from corekit.intake.file import MOST_KEYS, MOST_REPAIRS, MOST_STEPS, MOST_TABLES, parsed
from corekit.intake.lenient import read_for_check
from corekit.intake.visit import read_visit
from corekit.plugin.host import load
from corekit.reference import data_path

#: A plain file of the largest size; so many of them may the worst cost, about two seconds of a processor.
_PLAIN = "a = [" + "1.5, " * 200_000 + "]\n"
PLAIN_FILES = 8
HEAD = 'job = "x"\nreason = "y"\n[vehicle]\nplate = "A"\ndescription = "van"\n'
_READING = '{of = "battery.open_circuit_voltage", is = "12.6 V", with = "meter"},'
HURTING = {
    "a key of many parts": "a" + ".a" * 100_000 + " = 1\n",
    "many keys of many parts": "".join(f"a{n}{'.a' * 1000} = 1\n" for n in range(400)),
    "a heading of many parts": "[" + ".".join(["a"] * 50_000) + "]\n",
    "quoted parts": "a" + '."a"' * 50_000 + " = 1\n",
    "parts in a row": "x = [{a" + ".a" * 90_000 + " = 1}]\n",
    "empty steps": "[[step]]\n" * 100_000,
    "steps": HEAD + f"[[step]]\nreadings = [{_READING}]\n" * 6000,
    "unknown keys": HEAD + "".join(f"k{n} = 1\n" for n in range(15_000)),
    "unknown tables": "".join(f"[a{n}.b]\n" for n in range(60_000)),
    "unknown keys of a step": HEAD + "[[step]]\n" + "".join(f"redings{n} = 1\n" for n in range(50_000)),
    "unknown readings": HEAD + "[[step]]\nreadings = [" + '{of = "nope", is = "12"},' * 15_000 + "]\n",
    "unknown readings below the limit": HEAD
    + ("[[step]]\nreadings = [" + '{of = "nope", is = "12"},' * 2900 + "]\n") * 2,
    "readings": HEAD + f"[[step]]\nreadings = [{_READING * 10_000}]\n",
    "numbers": "a = [" + "1," * 500_000 + "]",
    "numbers below the limit": "a = [" + "1," * 250_000 + "]",
    "headings": "".join(f"[a{n}.b]\n" for n in range(80_000)),
    "headings below the limit": "".join(f"[a{n}.b]\n" for n in range(20_000)),
    "arrays in arrays": "a = " + "[" * 300_000 + "]" * 300_000,
    "few arrays in arrays": "a = " + "[" * 200 + "]" * 200,
    "JSON in JSON": '{"a": ' + "[" * 900 + "]" * 900 + "}",
    "JSON keys": "{" + ",".join(f'"k{n}": 1' for n in range(80_000)) + "}",
    "JSON steps": '{"job": "x", "reason": "y", "step": [' + ",".join(["{}"] * 300_000) + "]}",
    "instruments": HEAD + "".join(f"[instruments.a{n}]\nx = 1\n" for n in range(30_000)),
    "digits": "a = " + "9" * 900_000,
    "letters": "a" * 1_000_000,
    "letters and a dot": "a" * 500_000 + "." + "a" * 500_000,
    "quotes": "a = " + '"' * 900_000,
    "comments": "#\n" * 500_000,
    "a day of repairs": HEAD
    + f"[[step]]\nreadings = [{_READING}]\n[[step]]\nrepaired = {{operation = 'battery.charge'}}\n" * 900,
}


@pytest.fixture(scope="module")
def known() -> Declared:
    return declared(load(), read_settings(data_path("demo") / "shop", demo=True), "EUR")


@pytest.mark.parametrize("reader", [read_visit, read_for_check])
@pytest.mark.parametrize("kind", HURTING)
def test_a_file_made_to_hurt_costs_no_more_than_a_few_plain_files_of_its_size(
    kind: str, reader: object, known: Declared
) -> None:
    content = HURTING[kind].encode()
    assert len(content) < 1 << 20
    plain = _seconds(lambda: tomllib.loads(_PLAIN))
    took = _seconds(lambda: _tried(reader, content, known))
    assert took < PLAIN_FILES * plain  # both measured here, side by side


def _tried(reader: object, content: bytes, known: Declared) -> None:
    try:
        reader(content, known)  # type: ignore[operator]
    except VisitError as error:
        assert str(error)


def _seconds(work: Callable[[], object]) -> float:
    """Seconds of one processor."""
    began = time.process_time()
    work()
    return time.process_time() - began


def visit(steps: int, rows: int = 0, keys: int = 1) -> bytes:
    return json.dumps(
        {"step": [{} for _ in range(steps)], "x": [{}] * rows, "y": {f"k{n}": 1 for n in range(keys)}}
    ).encode()


def repaired(times: int) -> bytes:
    return json.dumps({"step": [{"repaired": {"operation": "battery.charge"}}] * times}).encode()


def headings(times: int) -> bytes:
    """As many, of one table of tables, so that no other bound is met first."""
    return ('text = """' + "\n[a]" * times + '"""\n').encode()


def numbers(times: int) -> bytes:
    return ("a = [" + "1," * times + "]").encode()


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        (visit(MOST_STEPS), visit(MOST_STEPS + 1)),
        (visit(0, MOST_TABLES - 2), visit(0, MOST_TABLES - 1)),  # the file itself and y are tables too
        (visit(0, 0, MOST_KEYS), visit(0, 0, MOST_KEYS + 1)),
        (repaired(MOST_REPAIRS), repaired(MOST_REPAIRS + 1)),
        (headings(MOST_HEADINGS), headings(MOST_HEADINGS + 1)),
        (numbers(MOST_COMMAS), numbers(MOST_COMMAS + 1)),
    ],
    ids=["steps", "tables", "keys", "repairs", "headings", "commas"],
)
def test_what_is_just_within_a_bound_is_read_on(within: bytes, beyond: bytes) -> None:
    assert parsed(within)
    with pytest.raises(VisitError, match=r"at most|a file for each visit"):
        parsed(beyond)


def test_of_very_many_faults_the_first_are_kept_and_the_rest_is_said_to_be_there() -> None:
    faults = Faults()
    for number in range(KEPT * 3):
        faults.add((f"k{number}",), "is not a key here")
    assert len(faults.found) == KEPT + 1
    assert f"more than {KEPT} faults" in faults.found[-1][1].text
