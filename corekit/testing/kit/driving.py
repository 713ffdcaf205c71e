"""Checks and calculations driven by hypothesis over their whole spans and beyond."""

from __future__ import annotations

import math
import random
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

import attrs

from ...errors import InputError
from ...model.finding import Finding, Gap, Verdict
from ...model.measurand import Measurand, Observation, Setting, Trait
from ...model.sampling import Sampling
from ...model.value import Value
from ...plugin.calculation import Calculation, Input
from ...plugin.case import Case
from ...plugin.check import Check, run
from ...plugin.claim import Claim
from ...plugin.derived import Derivation, derive
from ...plugin.guard import Overrun, guarded
from ...plugin.intact import Original
from ...plugin.reading import Reading
from ...plugin.system import System
from .alterations import found_or_altered, others_than
from .benches import Laid, bench_for, typed_in
from .nonconformity import Nonconformity, error_words, line_of
from .side_effects import ReachedOutsideError, watched

#: How long one check may take over one bench, [s]: as long as in the product.
MOST_SECONDS = 5.0
#: How long a smaller example is looked for once one was found, [s].
MOST_SHRINKING = 5.0
#: How good a verdict is for the vehicle; advice is left out, for it decides nothing.
_GOOD = {Verdict.FAIL: 0, Verdict.UNDECIDED: 1, Verdict.PASS: 2}
#: A relative uncertainty for a calculation's inputs, and where an open range is taken to go.
_DOUBT, _FAR = 0.01, 1e4
#: The most of a declared range that is in doubt.
_DOUBTED = 0.1
#: The nearest to an end that does not belong to a range, and the smallest number but 0, as a share of it.
_LEAST = 1e-6


class ShownError(Exception):
    """Hypothesis has found something; it goes on to the smallest example of it."""

    def __init__(self, shown: Nonconformity) -> None:
        super().__init__(str(shown))
        self.shown = shown


class TooSlowError(BaseException):
    """A check or calculation that was stopped; no smaller example is looked for, each would take as long."""

    def __init__(self, shown: Nonconformity) -> None:
        super().__init__(str(shown))
        self.shown = shown


def smallest(attack: Callable[[random.Random], None], examples: int, of: str) -> Nonconformity | None:
    """A nonconformity that so many attacks lead to, made as small as `MOST_SHRINKING` seconds allow. The
    attacks are the same at every run.

    Raises:
        InputError: hypothesis is not installed.
    """
    try:
        from hypothesis import HealthCheck, Phase, Verbosity, given, settings
        from hypothesis import strategies as st
        from hypothesis.errors import Flaky
    except ImportError as error:
        raise InputError(
            "The conformance kit needs hypothesis, which is not installed here; install it with"
            " pip install 'corekit[plugin]'."
        ) from error
    quiet = settings(
        max_examples=examples,
        deadline=None,
        database=None,
        derandomize=True,
        verbosity=Verbosity.quiet,
        print_blob=False,
        phases=(Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
        report_multiple_bugs=False,
    )

    failed: list[Nonconformity] = []
    until = math.inf

    @quiet
    @given(st.randoms(use_true_random=False))
    def attacks(chance: random.Random) -> None:
        nonlocal until
        if time.monotonic() > until:
            return
        try:
            attack(chance)
        except (ShownError, TooSlowError) as found:
            until = min(until, time.monotonic() + MOST_SHRINKING)
            failed.append(found.shown)
            raise

    try:
        attacks()
    except (ShownError, TooSlowError) as found:
        return found.shown
    except Flaky:
        if time.monotonic() > until:
            return failed[-1]
        return Nonconformity(
            of=of,
            fault="said one thing and then another of the same readings",
            cure="A check is a function of its case alone: keep nothing between two calls, ask no clock.",
        )
    return None


def nonconforming_checks(
    system: System, examples: int, foreign: Mapping[str, Measurand]
) -> Iterator[Nonconformity]:
    """Each check, and each derived reading, over everything that can lie before it; of each the first fault
    alone.
    """
    driven = [
        (f"derived reading {key.split('.', 1)[1]}", _deriving_check(one))
        for key, one in system.derived.items()
    ]
    driven += [(f"check {check.key}", check) for check in system.checks.values()]
    original = Original(others_than(system))
    for of, check in driven:

        def attack(chance: random.Random, check: Check[...] = check, of: str = of) -> None:
            _attack_check(system, check, bench_for(system, check, chance, foreign=foreign), of)

        def attack_without(chance: random.Random, check: Check[...] = check, of: str = of) -> None:
            _attack_need(system, check, chance, foreign, of)

        def attack_order(chance: random.Random, check: Check[...] = check, of: str = of) -> None:
            _attack_order(system, check, chance, foreign, of)

        attacks = [attack]
        if _needs(check):
            attacks.append(attack_without)
        if check.worse_with or check.better_with:
            attacks.append(attack_order)
        first = found_or_altered(original, of, partial(_first, attacks, examples, of))
        if first is not None:
            yield first


def _first(
    attacks: Sequence[Callable[[random.Random], None]], examples: int, of: str
) -> Nonconformity | None:
    found = (smallest(one, examples, of) for one in attacks)
    return next((one for one in found if one is not None), None)


def _deriving_check(one: Derivation) -> Check[...]:
    """A check that says what a derivation gives, to be driven like any other."""

    def says(case: Case, **given: object) -> Iterator[Finding | Gap]:
        for made in derive(one, attrs.evolve(case, readings=_without(case, one.measurand.key))):
            if isinstance(made, Gap):
                yield made
            else:
                claim = Claim(f"{case.system.key}.derived", unit=one.measurand.unit)
                yield case.advise(claim, "{value}", made, tells="{value}")

    return Check(title=one.measurand.title, function=says, parameters=one.parameters)


def _without(case: Case, key: str) -> dict[tuple[str, str], Reading]:
    return {at: reading for at, reading in case.readings.items() if at[0] != key}


def results_of(check: Check[...], before: Laid, system: System, of: str) -> list[Finding | Gap]:
    """What a check says of what lies before it.

    Raises:
        ShownError: it raised, was slow, or did something besides.
    """
    case = before.case(check)
    was = repr((case.readings, case.records, case.sightings, case.fitted, case.specified))
    with watched() as besides:
        found, error = _run_in_time(check, case, system)
    if besides:
        raise _draw_error(of, f"{besides[0]}", "A check computes and yields; leave everything else alone.")
    if error is not None and not isinstance(error, ReachedOutsideError):
        shown = _draw_error(
            of,
            f"raised {error_words(error)} with {before.words}",
            _cure_of(error),
            line_of(error, system.folder),
        )
        raise TooSlowError(shown.shown) if isinstance(error, Overrun) else shown from error
    if repr((case.readings, case.records, case.sightings, case.fitted, case.specified)) != was:
        raise _draw_error(
            of, "changes what it is given", "Work on copies: a reading and a case stay as they are."
        )
    return found


def _run_in_time(
    check: Check[...], case: Case, system: System
) -> tuple[list[Finding | Gap], BaseException | None]:
    """What the check says, and what it raised."""
    try:
        with guarded(system.key, check.title, MOST_SECONDS, check.where):
            return run(check, case), None
    except (Exception, Overrun, SystemExit) as raised:
        return [], raised


def _draw_error(of: str, fault: str, cure: str, at: str = "") -> ShownError:
    return ShownError(Nonconformity(of=of, fault=fault, cure=cure, at=at))


def _cure_of(error: BaseException) -> str:
    if isinstance(error, Overrun):
        return (
            f"A check takes at most {MOST_SECONDS:g} s over whatever can be read; end the loop, or bound it."
        )
    if isinstance(error, ValueError) and "more than" in str(error):
        return "End the loop: one finding for each thing that is judged."
    if isinstance(error, TypeError) and "it yielded" in str(error):
        return "Yield what case.judge, advise, visual, inconclusive or gap gives."
    if isinstance(error, RecursionError):
        return "End the recursion, or write it as a loop."
    if isinstance(error, SystemExit):
        return "Never end the process: yield case.gap(…) for what cannot be judged."
    if isinstance(error, MemoryError):
        return "Take less: a check needs a few readings."
    if isinstance(error, ZeroDivisionError):
        return "Say in the declaration that it is never 0 (above=0, possible=), or yield a gap for it."
    if isinstance(error, ValueError) and "must be" in str(error):
        return (
            "A reading may be whatever its measurand declares as possible: widen the calculation's range,"
            " narrow possible=, or yield case.gap(…) before it is called."
        )
    if isinstance(error, KeyError):
        return "Correct the key, or declare what it names."
    return "Whatever is possible by the declarations is judged, or becomes a gap that says why not."


def _attack_check(system: System, check: Check[...], before: Laid, of: str) -> None:
    found = results_of(check, before, system, of)
    for result in found:
        if not isinstance(result, Finding):
            continue
        strange = sorted(set(result.evidence) - before.entries)
        if strange:
            raise _draw_error(
                of,
                f"names as evidence of {result.code} what nobody entered: {', '.join(strange)}",
                "Evidence is readings, or ids from case.noted(…); a Value brings its own.",
            )
        if result.verdict in (Verdict.PASS, Verdict.FAIL) and not result.evidence:
            raise _draw_error(
                of,
                f"decides {result.code} on nothing, with {before.words}",
                "Name what it rests on: Claim(…, evidence=[reading]) or case.noted(observation).",
            )
    again = results_of(check, before, system, of)
    if [_finding_words(result) for result in again] != [_finding_words(result) for result in found]:
        raise _draw_error(
            of,
            f"says one thing and then another of the same readings: {before.words}",
            "A check is a function of its case alone: keep nothing between two calls, ask no clock.",
        )


def _finding_words(result: Finding | Gap) -> tuple[object, ...]:
    if isinstance(result, Gap):
        return (result.text, result.reason)
    return (result.code, result.place, result.verdict, str(result.text), result.calls_for, result.grade)


def _needs(check: Check[...]) -> list[Measurand | Sampling | Observation | Trait]:
    return [
        parameter.of
        for parameter in check.parameters
        if parameter.needed and not isinstance(parameter.of, Setting)
    ]


def _attack_need(
    system: System, check: Check[...], chance: random.Random, foreign: Mapping[str, Measurand], of: str
) -> None:
    """Without one of its needs a check says what is missing and nothing else of it."""
    needs = _needs(check)
    missing = chance.choice(needs)
    before = bench_for(system, check, chance, foreign=foreign, without=missing.key)
    if any(missing.key in reading.setup for reading in before.bench.readings.values()):
        return  # it was read beside another
    found = results_of(check, before, system, of)
    gaps = [one for one in found if isinstance(one, Gap)]
    if not gaps or any(isinstance(one, Finding) for one in found):
        raise _draw_error(
            of,
            f"says nothing of {missing.key} being missing",
            "Take it as a parameter: without it the check becomes a gap that names it.",
        )


def _attack_order(
    system: System, check: Check[...], chance: random.Random, foreign: Mapping[str, Measurand], of: str
) -> None:
    """Where more of a reading is declared to be worse, it never makes a verdict better."""
    ordered = [*((one, False) for one in check.worse_with), *((one, True) for one in check.better_with)]
    measurand, is_better = chance.choice(ordered)
    before = bench_for(system, check, chance, foreign=foreign)
    before.bench.specified.clear()  # a vehicle's own figure may have another end
    at = next((at for at in before.bench.readings if at[0] == measurand.key), None)
    if at is None:
        return
    kept = before.bench.readings[at]
    pair = [before.bench.reading(measurand, typed_in(measurand, chance), place=at[1]) for _ in range(2)]
    less, more = sorted(pair, key=lambda one: one.value.number)
    verdicts = []
    for one in (less, more):
        before.bench.readings[at] = _with_setup(one, kept)
        verdicts.append(
            {
                (result.code, result.place): result.verdict
                for result in results_of(check, before, system, of)
                if isinstance(result, Finding)
            }
        )
    for where, first in verdicts[0].items():
        then = verdicts[1].get(where)
        if first not in _GOOD or then not in _GOOD or then is None:
            continue
        if (_GOOD[then] < _GOOD[first]) if is_better else (_GOOD[then] > _GOOD[first]):
            way = "better" if is_better else "worse"
            raise _draw_error(
                of,
                f"declares that more of {measurand.key} is {way}, and says {first} of {where[0]} at"
                f" {less.typed} and {then} at {more.typed}",
                "Correct the comparison, or leave the measurand out of worse_with and better_with.",
            )


def _with_setup(reading: Reading, kept: Reading) -> Reading:
    return attrs.evolve(reading, setup=kept.setup)


# ---- calculations


def nonconforming_calculations(system: System, examples: int) -> Iterator[Nonconformity]:
    """Each calculation within its ranges, at their ends and beyond; of each the first fault alone."""
    original = Original(others_than(system))
    for calculation in system.calculations.values():
        of = f"calculation {calculation.__name__}"

        def attack(chance: random.Random, calculation: Calculation[...] = calculation, of: str = of) -> None:
            _attack_calculation(system, calculation, chance, of)

        found = found_or_altered(original, of, partial(smallest, attack, examples, of))
        if found is not None:
            yield found


def _attack_calculation(
    system: System, calculation: Calculation[...], chance: random.Random, of: str
) -> None:
    numbers = {name: _within(one, chance) for name, one in calculation.inputs.items()}
    said = ", ".join(f"{name} = {numbers[name]:g} {one.unit}" for name, one in calculation.inputs.items())
    result = _bare_result(calculation, tuple(numbers.values()), of, said, system)
    if result is None:
        return
    if not math.isfinite(result):
        raise _draw_error(
            of,
            f"gives {result} with {said}",
            "Narrow the ranges of its inputs (low, high, above, below) to where it means something.",
        )
    if _bare_result(calculation, tuple(numbers.values()), of, said, system) != result:
        raise _draw_error(
            of,
            f"gives one thing and then another with {said}",
            "A calculation is a function of its inputs alone.",
        )
    values = [
        Value(
            kind=declared.kind,
            number=numbers[name],
            budget={name: _doubt(declared, numbers[name])},
            rests_on=frozenset({f"entry-{name}"}),
        )
        for name, declared in calculation.inputs.items()
    ]
    try:
        made = calculation(*values)
    except Exception as error:
        if isinstance(error, ValueError) and _refuses(calculation):
            return  # the next number is one of those that it refuses
        raise _draw_error(
            of,
            f"called with readings, raised {error_words(error)} with {said}",
            "Outside its ranges a calculation is never called; narrow them where it cannot be computed.",
            line_of(error, system.folder),
        ) from error
    assert isinstance(made, Value)
    if not math.isfinite(made.u):
        raise _draw_error(
            of, f"gives the uncertainty {made.u} with {said}", "Narrow the ranges of its inputs."
        )


def _bare_result(
    calculation: Calculation[...], numbers: tuple[float, ...], of: str, said: str, system: System
) -> float | None:
    """What the bare function gives; None where its docstring says that it refuses such inputs."""
    error: BaseException | None = None
    result: object = None
    with watched() as besides:
        try:
            with guarded(system.key, calculation.key, MOST_SECONDS):
                result = calculation.si(*numbers)
        except ValueError as raised:
            if _refuses(calculation):
                return None
            error = raised
        except Exception as raised:
            error = raised
        except (Overrun, SystemExit) as raised:
            error = raised
    if besides:
        raise _draw_error(of, besides[0], "A calculation computes and returns; leave everything else alone.")
    if isinstance(error, Overrun):
        cure = f"A calculation takes at most {MOST_SECONDS:g} s; end the loop, or bound it."
        raise TooSlowError(_draw_error(of, f"raised {error_words(error)} with {said}", cure).shown)
    if error is not None:
        raise _draw_error(
            of,
            f"raised {error_words(error)} with {said}",
            "Narrow the ranges of its inputs (low, high, above, below), or say under Raises: in its docstring"
            " which inputs it refuses with a ValueError.",
            line_of(error, system.folder),
        ) from error
    if not isinstance(result, (int, float)) or isinstance(result, bool):
        raise _draw_error(of, f"returns {result!r} with {said}", "A calculation returns one float.")
    return float(result)


def _refuses(calculation: Calculation[...]) -> bool:
    """Whether its docstring says that it refuses some inputs."""
    return "Raises:" in (calculation.__doc__ or "") and "ValueError" in (calculation.__doc__ or "")


def _doubt(declared: Input, number: float) -> float:
    """The standard uncertainty of a reading: never so large that no number of the range could be meant."""
    low = declared.low if declared.low is not None else declared.above
    high = declared.high if declared.high is not None else declared.below
    most = (high - low) * _DOUBTED if low is not None and high is not None else math.inf
    return min(abs(number) * _DOUBT, most)


def _within(declared: Input, chance: random.Random) -> float:
    """A number of the declared range, often one of its ends or the next to an open one."""
    low = declared.low if declared.low is not None else declared.above
    high = declared.high if declared.high is not None else declared.below
    bottom = low if low is not None else ((high - _FAR) if high is not None else -_FAR)
    top = high if high is not None else bottom + _FAR
    if low is None and high is None:
        bottom, top = -_FAR, _FAR
    way = chance.randrange(5)
    number = bottom if way == 0 else top if way == 1 else chance.uniform(bottom, top)
    least = (top - bottom) * _LEAST
    if declared.above is not None and number < declared.above + least:
        number = declared.above + least
    if declared.below is not None and number > declared.below - least:
        number = declared.below - least
    return 0.0 if abs(number) < least and not declared.fault(0.0) else number
