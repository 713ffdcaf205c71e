"""What a system declares, and what is refused while it does, each with a message that says what to write."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from enum import Enum, StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import pytest

import corekit as ck
from corekit.model.limit import Span
from corekit.plugin.check import Form
from corekit.units import UnitError

if TYPE_CHECKING:
    from decimal import Decimal as OnlyForTypes

horn = ck.System("horn", "Horn")


class Sound(Enum):
    LOUD = "loud"
    FAINT = "faint"


class Colour(Enum):
    RED = "red"


class Loose(StrEnum):
    ON = "on"


class Numbered(Enum):
    ONE = 1


voltage = horn.measurand("voltage", "V", "Voltage", possible=(0, 30), usual=(9, 15), accuracy="0.1 V")
current = horn.measurand(
    "current", "A", "Current", possible=(0, 30), usual=(1, 10), accuracy="0.1 A", places=("left", "right")
)
sound = horn.observation("sound", "Sound", Sound)
rust = horn.observation("rust", "Rust", Sound, places=("left", "right"))
horn_part, fuse_part = horn.part("horn", "Horn"), horn.part("fuse", "Fuse")
kind = horn.trait("kind", "Kind", Sound, part=horn_part)
fuse = horn.trait("fuse", "Fuse", units=("A",), possible=(1, 30), part=fuse_part)

Yields = Iterator[ck.Finding | ck.Gap]


# ---- measurands, observations, traits, operations


def test_spans_and_accuracy_are_kept_in_the_coherent_unit() -> None:
    system = ck.System("tyre", "Tyre")
    made = system.measurand(
        "inflation", "bar gauge", "Pressure", possible=(0, 10), usual=(1.5, 4), accuracy="0.1 bar"
    )
    assert (made.kind, made.unit) == ("pressure gauge", "bar gauge")
    assert (made.possible, made.usual, made.accuracy.amount) == (Span(0, 1e6), Span(1.5e5, 4e5), 1e4)
    warm = system.measurand("warmth", "°C", "Warmth", possible=(-40, None), usual=(0, 40), accuracy="2 °C")
    assert (warm.possible, warm.accuracy.amount) == (Span(233.15, None), 2.0)


def declared(name: str = "thing", unit: str = "V", accuracy: str = "1 %", **more: Any) -> Callable[[], Any]:
    spans = {"possible": (0, 10), "usual": (0, 10), **more}
    return lambda: ck.System("fresh", "Fresh").measurand(name, unit, "Title", accuracy=accuracy, **spans)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (declared(unit=""), ["no unit"]),
        (declared(unit="volts of sort"), ["no unit 'volts of sort'"]),
        (declared(unit="bar"), ["bar gauge", "bar abs", "bar diff"]),
        (declared(name="Line Pressure"), ["lower case", "'Line Pressure'"]),
        (declared(accuracy="good"), ["'good'", "0.5 % + 2 digits"]),
        (declared(accuracy="0 %"), ["without uncertainty"]),
        (declared(accuracy="1 % + 2 digits"), ["fresh.thing", "digits", "an amount in V"]),
        (declared(accuracy="2 A"), ["voltage"]),
        (declared(possible=(10, 0)), ["low end", "above"]),
        (lambda: ck.System("Horn 2", "Horn"), ["lower-case", "'Horn 2'"]),
        (lambda: ck.System("fresh", "F").observation("look", "Look", Loose), ["Loose", "not a StrEnum"]),
        (
            lambda: ck.System("fresh", "F").observation("look", "Look", Numbered),
            ["Numbered", "words people read"],
        ),
        (lambda: ck.System("fresh", "F").trait("part", "Part", Loose), ["not a StrEnum"]),
        (lambda: ck.System("fresh", "F").trait("part", "Part"), ["closed answers or units"]),
        (
            lambda: ck.System("fresh", "F").trait("part", "Part", Sound, units=("A",)),
            ["closed answers or units"],
        ),
    ],
    ids=[
        "no unit",
        "unknown unit",
        "a bare bar",
        "name",
        "accuracy in words",
        "no uncertainty",
        "digits of nothing",
        "accuracy of another kind",
        "span",
        "system's key",
        "StrEnum answers",
        "answers that are no words",
        "StrEnum trait",
        "trait of nothing",
        "trait of both",
    ],
)
def test_what_cannot_be_meant_is_refused_where_it_is_declared(
    make: Callable[[], Any], words: list[str]
) -> None:
    with pytest.raises((ValueError, TypeError)) as error:
        make()
    text = str(error.value).replace('"', "'")
    assert [word for word in words if word not in text] == []


@pytest.mark.parametrize("second", ["measurand", "observation", "trait"])
@pytest.mark.parametrize("first", ["measurand", "observation", "trait"])
def test_a_key_means_one_thing_only(first: str, second: str) -> None:
    system = ck.System("fresh", "Fresh")
    make = {
        "measurand": lambda: system.measurand(
            "level", "mm", "Level", possible=(0, 1), usual=(0, 1), accuracy="1 mm"
        ),
        "observation": lambda: system.observation("level", "Level", Sound),
        "trait": lambda: system.trait("level", "Level", Sound),
    }
    make[first]()
    with pytest.raises(ValueError, match=r"fresh\.level is declared twice"):
        make[second]()


def test_operations_calculations_and_checks_are_declared_once_too() -> None:
    system = ck.System("fresh", "Fresh")
    system.operation("clean", "Clean")
    with pytest.raises(ValueError, match=r"fresh\.clean is declared twice"):
        system.operation("clean", "Clean")

    def twice(
        amount: Annotated[float, ck.Input("A", "Current of the lamp")],
    ) -> Annotated[float, ck.Output("A", "Current of two lamps")]:
        return 2 * amount

    system.calculation(source="s")(twice)
    with pytest.raises(ValueError, match=r"fresh\.twice is declared twice"):
        system.calculation(source="s")(twice)

    def beep(case: ck.Case) -> Yields:
        yield case.does_not_apply("")

    system.check("Beep")(beep)
    with pytest.raises(ValueError, match="there already is a check beep"):
        system.check("Beep again")(beep)


def test_a_finding_s_code_begins_with_its_system() -> None:
    with pytest.raises(ValueError, match=r"begins with its system's key: horn\."):
        horn.checked_code("lamp.dim")


# ---- checks


def good(
    case: ck.Case,
    one: Annotated[ck.Reading, voltage],
    maybe: Annotated[ck.Reading | None, voltage],
    all_of_them: Annotated[list[ck.Reading], current],
    heard: Annotated[Sound | None, sound],
    by_place: Annotated[dict[str, Sound] | None, rust],
    which: Annotated[Sound, kind],
    rated: Annotated[ck.Value, fuse],
) -> Yields:
    yield case.does_not_apply("")


def test_a_signature_says_what_each_parameter_is() -> None:
    check = ck.System("fresh", "Fresh").check("Good")(good)
    assert [(p.name, p.form, p.of.key, p.needed) for p in check.parameters] == [
        ("one", Form.ONE, "horn.voltage", True),
        ("maybe", Form.ONE, "horn.voltage", False),
        ("all_of_them", Form.EVERY, "horn.current", True),
        ("heard", Form.ANSWER, "horn.sound", False),
        ("by_place", Form.EVERY, "horn.rust", False),
        ("which", Form.ANSWER, "horn.kind", True),
        ("rated", Form.VALUE, "horn.fuse", True),
    ]


def returns(case: ck.Case, read: Annotated[ck.Reading, voltage]) -> Yields:
    return iter([case.does_not_apply("")])


def no_case(read: Annotated[ck.Reading, voltage]) -> Yields:
    yield from ()


def bare(case: ck.Case, read: ck.Reading) -> Yields:
    yield from ()


def untyped(case: ck.Case, read) -> Yields:  # type: ignore[no-untyped-def]
    yield from ()


def value_of_measurand(case: ck.Case, read: Annotated[ck.Value, voltage]) -> Yields:
    yield from ()


def reading_of_observation(case: ck.Case, read: Annotated[ck.Reading, sound]) -> Yields:
    yield from ()


def other_answers(case: ck.Case, heard: Annotated[Colour, sound]) -> Yields:
    yield from ()


def answers_of_a_value(case: ck.Case, rated: Annotated[Sound, fuse]) -> Yields:
    yield from ()


def one_of_many(case: ck.Case, read: Annotated[ck.Reading, current]) -> Yields:
    yield from ()


def one_look_of_many(case: ck.Case, seen: Annotated[Sound, rust]) -> Yields:
    yield from ()


def one_or_the_other(case: ck.Case, read: Annotated[ck.Reading | ck.Value, voltage]) -> Yields:
    yield from ()


def a_text(case: ck.Case, read: Annotated[ck.Reading, "horn.voltage"]) -> Yields:
    yield from ()


def only_for_types(case: ck.Case, read: Annotated[OnlyForTypes, voltage]) -> Yields:
    yield from ()


def whole_outside(case: ck.Case, read: Annotated[ck.Reading, voltage] | None) -> Yields:
    yield from ()


@pytest.mark.parametrize(
    ("function", "words"),
    [
        (returns, ["yield case.judge"]),
        (no_case, ["case: Case"]),
        (bare, ["read", "Annotated"]),
        (untyped, ["read", "Annotated"]),
        (whole_outside, ["read", "Annotated"]),
        (value_of_measurand, ["read", "Reading or list[Reading]"]),
        (reading_of_observation, ["horn.sound", "Sound"]),
        (other_answers, ["heard", "Sound"]),
        (answers_of_a_value, ["horn.fuse", "Value"]),
        (one_of_many, ["horn.current", "left, right", "list[Reading]"]),
        (one_look_of_many, ["horn.rust", "dict[str, Sound]"]),
        (one_or_the_other, ["more than one type"]),
        (a_text, ["neither a measurand, a record, an observation nor a trait"]),
        (only_for_types, ["OnlyForTypes", "module level"]),
    ],
    ids=lambda part: part.__name__ if callable(part) else "",
)
def test_a_signature_that_cannot_be_meant_is_refused_at_import(
    function: Callable[..., Any], words: list[str]
) -> None:
    with pytest.raises(TypeError) as error:
        ck.System("fresh", "Fresh").check("Bad")(function)
    text = str(error.value)
    assert text.startswith(f"{function.__name__}: ")
    assert [word for word in words if word not in text] == []


def test_a_measurand_made_inside_a_function_is_refused_with_where_it_belongs() -> None:
    hidden = horn  # a local name, which annotations cannot see

    def local(case: ck.Case, read: Annotated[ck.Reading, hidden.missing]) -> Yields:  # type: ignore[name-defined]
        yield from ()

    with pytest.raises(TypeError, match="module level"):
        ck.System("fresh", "Fresh").check("Local")(local)


# ---- calculations


def plain_number(amount: float) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def no_result(amount: Annotated[float, ck.Input("A", "Current of the coil")]) -> float:
    return amount


def not_coherent(
    amount: Annotated[float, ck.Input("A", "Current of the coil")],
) -> Annotated[float, ck.Output("mV", "Voltage of the coil")]:
    return amount


def celsius(
    amount: Annotated[float, ck.Input("°C", "Current of the coil")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def open_pressure(
    amount: Annotated[float, ck.Input("bar", "Current of the coil")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def two_inputs(
    amount: Annotated[float, ck.Input("A", "Current of the coil"), ck.Input("V", "Voltage of the coil")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def output_as_input(
    amount: Annotated[float, ck.Output("A", "Current of the coil")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def whole_numbers(
    amount: Annotated[int, ck.Input("A", "Current of the coil")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def with_default(
    amount: Annotated[float, ck.Input("A", "Current of the coil")] = 1.0,
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def by_name_only(
    *, amount: Annotated[float, ck.Input("A", "Current of the coil")]
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def any_number(
    *amounts: Annotated[float, ck.Input("A", "Current of the coil")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return sum(amounts)


def unseen(
    amount: Annotated[OnlyForTypes, ck.Input("A", "Current of the coil")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return float(amount)


def unit_alone(amount: Annotated[float, "A"]) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def no_label(
    amount: Annotated[float, ck.Input("A", " ")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def name_as_label(
    amount: Annotated[float, ck.Input("A", "amount")],
) -> Annotated[float, ck.Output("A", "Amount in amperes")]:
    return amount


def no_label_of_result(
    amount: Annotated[float, ck.Input("A", "Current of the coil")],
) -> Annotated[float, ck.Output("A", "")]:
    return amount


@pytest.mark.parametrize(
    ("function", "words"),
    [
        (plain_number, ["amount", "no unit"]),
        (no_result, ["the result", "no unit"]),
        (not_coherent, ["the result", "mV", "coherent", "here V"]),
        (celsius, ["amount", "°C", "here K"]),
        (open_pressure, ["bar gauge"]),
        (two_inputs, ["amount", "one ck.Input and nothing else"]),
        (output_as_input, ["amount", "one ck.Input and nothing else"]),
        (unit_alone, ["amount", "one ck.Input and nothing else", "'A'"]),
        (no_label, ["amount", "needs a label", "' '"]),
        (name_as_label, ["amount", "needs a label", "'amount'"]),
        (no_label_of_result, ["the result", "needs a label"]),
        (whole_numbers, ["Annotated[float"]),
        (with_default, ["amount", "without a default"]),
        (by_name_only, ["amount", "ordinary parameter"]),
        (any_number, ["amounts", "ordinary parameter"]),
        (unseen, ["OnlyForTypes", "module level"]),
    ],
    ids=lambda part: part.__name__ if callable(part) else "",
)
def test_a_calculation_states_unit_and_label_of_all_it_uses(
    function: Callable[..., float], words: list[str]
) -> None:
    with pytest.raises((TypeError, UnitError)) as error:
        ck.System("fresh", "Fresh").calculation(source="s")(function)
    assert [word for word in words if word not in str(error.value)] == []


# ---- parts


def test_an_undeclared_part_is_refused_wherever_it_is_named() -> None:
    fresh = ck.System("fresh", "Fresh")
    stranger = ck.System("other", "Other").part("pump", "Pump")
    for wrong in (stranger, "fresh.pump", ck.Part(key="fresh.pump", title="Pump")):
        for declare in (
            lambda part: fresh.trait("kind", "Kind", units=("A",), part=part),
            lambda part: fresh.observation("noise", "Noise", Sound, part=part),
            lambda part: fresh.operation("replace", "Replace it", replaces=part),
            lambda part: fresh.measurand(
                "drop", "V", "Drop", possible=(0, 30), usual=(0, 1), accuracy="0.1 V", part=part
            ),
        ):
            with pytest.raises(ValueError, match=r"fresh\.part\(…\) has declared before"):
                declare(wrong)


def test_a_part_keeps_its_places_and_is_named_by_its_key() -> None:
    fresh = ck.System("fresh", "Fresh")
    pump = fresh.part("pump", "Pump", places=("left", "right"))
    assert (pump.key, pump.places, fresh.parts) == ("fresh.pump", ("left", "right"), {"fresh.pump": pump})
    replace = fresh.operation("replace", "Replace the pump", replaces=pump)
    assert replace.replaces == "fresh.pump"
    with pytest.raises(ValueError, match="declared twice"):
        fresh.part("pump", "Pump")
