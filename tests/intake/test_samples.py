"""Samples from a file of two columns: as loggers and spreadsheets write it, every fault with its line, and
nothing in it believed.
"""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.intake.samples import NAMED, Samples, SamplesError, read_samples
from corekit.model.sampling import MOST_SAMPLES

van = ck.System("van", "Van")
current = van.measurand("current", "A", "Current", possible=(-1000, 1000), usual=(0, 20), accuracy="1 %")
speed = van.measurand("speed", "rpm", "Speed", possible=(0, 9000), usual=(0, 6000), accuracy="10 rpm")
LOG = van.record("log", "Log", of=current)
RAMP = van.record("ramp", "Ramp", of=current, over=speed)


def read(text: str, given: tuple[str, ...] = (), decimal: str = "") -> Samples:
    return read_samples(text.encode(), LOG, given, decimal)


def faults(content: str | bytes, given: tuple[str, ...] = (), decimal: str = "") -> list[str]:
    with pytest.raises(SamplesError) as error:
        read_samples(content if isinstance(content, bytes) else content.encode(), LOG, given, decimal)
    return [str(fault) for fault in error.value.faults]


# Two samples, 0 s at 2.1 A and 90 s at 0.25 A, in every way that they are written.
@pytest.mark.parametrize(
    "text",
    [
        "Time [s],Current [A]\n0,2.1\n90,0.25\n",
        "Time (s);Current (A)\n0;2,1\n90;0,25\n",
        "t / s\tI / A\r\n0\t2,1\r\n90\t0,25",
        "time in min;current in mA\n0;2100\n1,5;250\n",
        "Time;Current\n(min);(mA)\n0;2100\n1.5;250\n",
        "s;A\n0;2.1\n90;0.25\n",
        '"Time, since locked [s]","Current [mA]"\n"0","2100"\n"90","250"\n',
        '"t [s]","I [A]"\n"0","2,1"\n"90","0,25"\n',
        "sep=;\nt [s];I [A]\n0;2.1\n90;0.25\n",
        "\ufefft [s];I [A]\r0;2.1\r90;0.25\r",
        "# logger 7\n\nt [s];I [A];\n0;2.1;\n# door shut\n90;2.5E-001;\n",
        "0 s;2,1 A\n1,5 min;250 mA\n",
        "t [s];I (clamp 2) [A]\n+0;2.1\n90;.25\n",
    ],
)
def test_two_columns_are_read_in_whatever_way_they_are_written(text: str) -> None:
    found = read(text)
    assert (found.over, found.samples) == ((0.0, 90.0), (2.1, 0.25))
    assert found.sha256 == hashlib.sha256(text.encode()).hexdigest()


def test_units_may_stand_in_the_row_instead() -> None:
    found = read("a;b\n0;2100\n1,5;250\n", ("min", "mA"))
    assert (found.over, found.samples) == ((0.0, 90.0), (2.1, 0.25))
    assert (found.over_unit, found.unit) == ("min", "mA")


def test_a_number_is_what_is_written_rounded_once() -> None:
    # 0.1 mA is the float nearest to 0.0001 A, which 0.1 * 0.001 is not.
    assert read("t [s];I [mA]\n0;0.1\n1;0.3\n").samples == (0.0001, 0.0003)


def test_what_it_is_sampled_over_may_be_another_quantity() -> None:
    found = read_samples(b"n [rpm];I [A]\n600;1\n1200;2\n", RAMP)
    assert found.over == (10.0, 20.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("t [s];I [A]\n0;1\n1;nan\n", ["line 3", '"nan" in column 2 is not a number']),
        ("t [s];I [A]\n0;1\n1;OL\n", ["line 3", '"OL"']),
        ("t [s];I [A]\n0;1\n1;\n", ["line 3", '""']),
        ("t [s];I [A]\n0;1\n1;=1+1\n", ["line 3", '"=1+1"']),
        ("t [s];I [A]\n0;1\n1;@SUM(A1)\n", ["line 3", '"@SUM(A1)"']),
        ("t [s];I [A]\n0;1\n1;inf\n", ["line 3", '"inf"']),
        ("t [s];I [A]\n0;1\n1;1e999\n", ["line 3", '"1e999"']),
        ("t [s];I [A]\n0;1\n1;0x10\n", ["line 3", '"0x10"']),
        ("t [s];I [A]\n0;1\n1;٣\n", ["line 3"]),
        ("t [s];I [A]\n0;1\n1;1.2.3\n", ["line 3", '"1.2.3"']),
        ("t [s];I [A]\n0;1\n1;2;3\n", ["line 3", "3 columns"]),
        ("t [s];I [A]\n0;1\n1\n", ["line 3", "1 column"]),
        ("t [s];I [A]\n0;1\n1;\"2\n", ["line 3"]),
        ("t [s];I [A]\n0;1\n" + "1" * 201 + ";2\n", ["line 3", "characters"]),
        ("t [s];I [A]\n0;1\n2;1\n1;1\n", ["line 4", '"1" comes after "2"']),
        ("t [s];I [A]\n0;1\n0,0;1\n", ["line 3", '"0,0" comes again after "0"']),
        ("t [s];I [A]\n0;1,5\n1;2.5\n", ["line 2", "a comma", "line 3 a point"]),
        ("t [s];I [V]\n0;1\n1;1\n", ["line 1", 'column 2 is in "V"']),
        ("I [A];t [s]\n0;1\n1;1\n", ["line 1", "swapped"]),
        ("t;I\n0;1\n1;1\n", ["line 2", "has no unit", "column's title"]),
        ("t [s];I [A]\n0;1\n", ["holds 1 samples"]),
        ("t [s];I [A]\n", ["holds 0 samples"]),
        ("", ["holds 0 samples"]),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_is_named_with_its_line(text: str, words: list[str]) -> None:
    said = " ".join(faults(text))
    assert all(word in said for word in words), said


def test_a_unit_in_the_row_may_not_contradict_the_title() -> None:
    assert "the row says A" in " ".join(faults("t [s];I [mA]\n0;1\n1;1\n", ("s", "A")))


def test_a_comma_that_may_part_thousands_in_every_number_is_asked_back() -> None:
    text = "t [s];I [mA]\n0;1,250\n1;2,500\n"
    assert "a thousandfold apart" in " ".join(faults(text))
    assert read(text, decimal=",").samples == (0.00125, 0.0025)
    # One number in which it cannot is enough.
    assert read("t [s];I [mA]\n0;1,250\n1;0,500\n").samples == (0.00125, 0.0005)
    assert "a thousandfold apart" in " ".join(faults("0 s;1,250 mA\n1 s;2,500 mA\n"))
    assert "another mark" in " ".join(faults(text, decimal="."))


@pytest.mark.parametrize("content", [b"\xff\xfet\x00", b"a\x00b", "t [s];I [°A]".encode("latin-1")])
def test_what_is_no_utf_8_is_refused(content: bytes) -> None:
    assert faults(content)


def test_as_many_samples_as_are_kept_are_read_and_one_more_is_refused() -> None:
    rows = [f"{n};1" for n in range(MOST_SAMPLES + 1)]
    assert len(read("t [s];I [A]\n" + "\n".join(rows[:-1])).over) == MOST_SAMPLES
    assert f"holds {MOST_SAMPLES + 1} samples" in faults("t [s];I [A]\n" + "\n".join(rows))[0]


def test_a_file_of_another_kind_is_refused_in_a_few_lines() -> None:
    said = faults("t [s];I [A]\n" + "".join(f"{n};x\n" for n in range(500)))
    assert len(said) == NAMED + 1 and f"{500 - NAMED} more lines" in said[-1]


numbers = st.floats(-900, 900, allow_nan=False).map(lambda number: round(number, 5))


@given(
    samples=st.lists(numbers, min_size=2, max_size=40),
    steps=st.lists(st.floats(0.001, 1000).map(lambda step: round(step, 3)), min_size=40, max_size=40),
    parted=st.sampled_from([";", "\t"]),
    mark=st.sampled_from(".,"),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
)
def test_what_was_written_is_what_is_read(
    samples: list[float], steps: list[float], parted: str, mark: str, end: str
) -> None:
    over = [round(sum(steps[:n]), 3) for n in range(len(samples))]
    rows = [
        f"{at:.3f}{parted}{sample:.5f}".replace(".", mark) for at, sample in zip(over, samples, strict=True)
    ]
    found = read(end.join([f"t [s]{parted}I [A]", *rows]), decimal=mark)
    assert (list(found.over), list(found.samples)) == (over, samples)


@given(
    st.one_of(
        st.binary(max_size=300), st.text(max_size=300).map(lambda text: text.encode("utf-8", "replace"))
    )
)
def test_no_bytes_bring_it_down(content: bytes) -> None:
    try:
        found = read_samples(content, LOG)
    except SamplesError as error:
        assert all(fault.got for fault in error.faults) and len(error.faults) < 60
    else:
        assert len(found.over) == len(found.samples) >= 2


@given(st.text(alphabet="0123456789.,;-+eE \t\n\"'=#[]sAmn", max_size=120))
def test_nothing_that_looks_like_such_a_file_brings_it_down(text: str) -> None:
    try:
        found = read(text, ("s", "A"))
    except SamplesError as error:
        assert error.faults
    else:
        assert all(after > before for before, after in zip(found.over, found.over[1:], strict=False))
