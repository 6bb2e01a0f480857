"""Results that a person types in: found on the sheet, judged where a rule exists, else kept as stated.

Insulation is brought to 40 °C by a named rule and held against the sheet's limit; inductance, Q and loss are
held against a sister coil or a golden unit; surge, hipot and polarity are recorded as typed, with the outcome
that the person states. Not for reading the line (typed_line), and not for anything measured hands-free.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from acquire.choices import PASSING, Rule
from acquire.errors import InputImpossible
from acquire.physics.budget import combine
from acquire.physics.checks import above_zero, at_least_zero, finite
from acquire.physics.copper import conductor_named, fraction_per_kelvin
from acquire.physics.copper import to_reference as winding_at
from acquire.physics.insulation import REFERENCE_CELSIUS, RULES, FactorTable, TemperatureRule, to_reference
from acquire.physics.laws import Law
from acquire.records import (
    Circumstances,
    Decision,
    Isolation,
    Limits,
    Outcome,
    ResultKind,
    Shape,
    Step,
    Term,
    TypedResult,
    TypedWhy,
    UnitStarted,
)
from acquire.unit_result import shows_turns
from acquire.verdict.guard import decide
from acquire.verdict.typed_line import TypedLine, number_of, typed_line
from acquire.verdict.typed_wanted import NONE, AskedOhms, isolation_named, least_ohm, ohms_named, step_named
from drivers.reading import Quantity


def judge_insulation(
    reference_ohm: float,
    at_least_ohm: float,
    limit_fraction: float,
    rule: Rule,
    maximum_risk: float | None = None,
    *,
    bound: bool = False,
) -> Decision:
    """Judge an insulation resistance at its reference temperature.

    Args:
        reference_ohm: from `acquire.physics.insulation.to_reference`.
        at_least_ohm: the limit at the same temperature, ohms, > 0.
        limit_fraction: the instrument's accuracy as a fraction of reading (0.05 is 5 %), a rectangular limit;
            without one there is no verdict.
        rule: decision rule.
        maximum_risk: with `Rule.MAXIMUM_RISK` only.
        bound: the instrument showed "more than" this value.

    Raises:
        InputImpossible: a limit that is not above zero, an accuracy that is negative, missing or not below 1.
    """
    above_zero(at_least_ohm, "the least insulation resistance in ohms")
    if at_least_zero(limit_fraction, "the instrument's accuracy as a fraction of reading") >= 1.0:
        raise InputImpossible(f"An accuracy cannot be {limit_fraction:g} of reading.", "Write 5 % as 0.05.")
    half_width_ohm = reference_ohm * limit_fraction
    if bound:
        return _decide_bound(reference_ohm - half_width_ohm, at_least_ohm)
    return decide(
        reference_ohm,
        half_width_ohm / math.sqrt(3.0),
        0.95 * half_width_ohm,
        Limits(at_least_ohm, None),
        rule,
        law=Law(half_width_ohm, 0.0),
        maximum_risk=maximum_risk,
    )


def _decide_bound(surely_ohm: float, at_least_ohm: float) -> Decision:
    """A reading of "more than" is a lower bound: it proves a pass, or leaves the question open."""
    if surely_ohm >= at_least_ohm:
        return Decision(Outcome.PASS, guard_band_ohm=0.0, conformance_probability=1.0)
    return Decision(Outcome.CANNOT_JUDGE, guard_band_ohm=0.0, conformance_probability=0.0)


K_95 = 1.959964
"""Coverage factor of 95 % for a normal law."""


class Relative(NamedTuple):
    """A coil held against its pattern: value / pattern - 1, its standard uncertainty, and what is decided."""

    deviation: float
    u_deviation: float
    decision: Decision


def compare(
    value_si: float,
    pattern_si: float,
    relative_u: float,
    *,
    below: float | None,
    above: float | None,
    rule: Rule = Rule.NON_BINARY,
    maximum_risk: float | None = None,
) -> Relative:
    """Judge a coil by how far it lies from its sister or the golden unit, measured at one frequency.

    Inductance, Q and loss depend on iron, mounting and frequency, so they are judged as a ratio to a coil
    measured the same way, never against a catalogue. Direct current cannot see one shorted turn in a fine
    coil; Q can. Ordinary sisters differ by 1 to 3 % in inductance and 5 % in Q (from memory), so tighter
    limits need a golden unit of the same iron. A low Q with an ordinary inductance points to shorted turns.

    Args:
        value_si: of the one to be judged: henry, or 1 for Q and the dissipation factor; > 0.
        pattern_si: of sister or golden unit, same iron, mounting and frequency.
        relative_u: standard uncertainty of either as a fraction, without what both share: the same meter's
            gain at the same frequency cancels in the ratio.
        below: how far below the pattern it may be, as a fraction (0.05 is 5 %); None: not limited.
        above: how far above; None: not limited.
        rule: decision rule.
        maximum_risk: with `Rule.MAXIMUM_RISK` only.

    Raises:
        InputImpossible: a value not above zero (an inductance reads negative above the coil's own resonance),
            a negative tolerance or uncertainty, or no limit at all.
    """
    for each in (value_si, pattern_si):
        if finite(each, "a coil's value") <= 0.0:
            raise InputImpossible(
                f"A value of {each:g} cannot be compared.",
                "An inductance reads negative above the coil's own resonance: use a lower frequency.",
            )
    at_least_zero(relative_u, "the relative uncertainty of a coil's value")
    for side in (below, above):
        if side is not None:
            at_least_zero(side, "the tolerance against the pattern as a fraction")
    ratio = value_si / pattern_si
    u = ratio * math.sqrt(2.0) * relative_u
    limits = Limits(None if below is None else -below, None if above is None else above)
    if limits.lower_ohm is None and limits.upper_ohm is not None:
        # An upper limit alone counts from zero in `decide`; a deviation begins at -1.
        limits = Limits(-1.0, limits.upper_ohm)
    return Relative(ratio - 1.0, u, decide(ratio - 1.0, u, K_95 * u, limits, rule, maximum_risk=maximum_risk))


TYPED_KELVIN = 1.0
"""Limits of error of a typed winding's temperature; workshop choice, as a bench file's own default."""

ENOUGH_VOLTS = 0.9
"""A test at less than this share of the sheet's voltage proves nothing for it; workshop choice."""


@dataclass(frozen=True, slots=True)
class Habit:
    """What a bench takes for granted where a line does not tell.

    Attributes:
        instrument: for insulation.
        accuracy: its limits of error as a fraction of reading; None: to be typed each time.
    """

    instrument: str = ""
    accuracy: float | None = None


@dataclass(frozen=True, slots=True)
class _Told:
    """What is told of an insulation result, by the line, the bench's habit and its thermometer.

    Attributes:
        line: as typed.
        place: the bench, with the unit's sheet.
        habit: of the bench.
        celsius: temperature of the bench; None when there is no fresh one.
    """

    line: TypedLine
    place: Circumstances
    habit: Habit
    celsius: float | None


def typed_result(
    text: str,
    started: UnitStarted,
    place: Circumstances,
    utc_s: float,
    *,
    habit: Habit = Habit(),
    celsius: float | None = None,
    others: Sequence[TypedResult] = (),
) -> TypedResult:
    """Make the record of a typed line.

    Args:
        text: as `typed_line` reads it.
        started: the unit it belongs to.
        place: the bench, with the unit's sheet.
        utc_s: now.
        habit: instrument and accuracy of the bench.
        celsius: temperature of the bench, used where the line tells none; None when there is no fresh one.
        others: results typed earlier for this unit, which it may be held against.

    Raises:
        InputImpossible: something needed is missing or cannot be; says what.
    """
    line = typed_line(text)
    said = TypedResult(
        bench=place.bench,
        serial=started.serial,
        sheet=place.sheet.name,
        sheet_hash=place.sheet.content_hash,
        purpose=place.purpose,
        batch=started.batch,
        operator=started.operator,
        name="",
        result_kind=ResultKind.STATED,
        typed=text.strip(),
        value_si=line.value_si,
        unit=line.unit,
        at_least=line.at_least,
        test_volt=line.test_volt,
        hertz=line.hertz,
        celsius=line.celsius,
        instrument=line.instrument,
        accuracy=line.accuracy,
        words=line.words,
        software=place.software,
        utc_s=utc_s,
    )
    return _by_name(said, _Told(line, place, habit, celsius), others)


def _by_name(said: TypedResult, told: _Told, others: Sequence[TypedResult]) -> TypedResult:
    """Judge it by what its name means on the sheet, else by what kind of result it is."""
    line, place = told.line, told.place
    if (rule := isolation_named(place.sheet, line.name)) is not None:
        return _insulation(replace(said, name=rule.name, target=rule.id), told, rule)
    if (step := step_named(place.sheet, line.name)) is not None:
        said = replace(said, name=step.name, target=step.id)
        if step.quantity is Quantity.INSULATION:
            return _insulation(said, told, _as_rule(step))
        if line.value_si is not None:
            return _resistance(said, step, place)
    if line.unit == "ohm" and (asked := ohms_named(place.sheet, line.name, place.purpose)) is not None:
        return _winding(said, told, asked)
    kind = _kind(line)
    said = replace(
        said, name=said.name or line.name, result_kind=kind, shows_turns=shows_turns(kind, line.name)
    )
    return _stated(said, line) if kind is ResultKind.STATED else _against_pattern(said, line, place, others)


# ------------------------------------------------------------------ kinds of results


def _insulation(said: TypedResult, told: _Told, rule: Isolation) -> TypedResult:
    line, habit, sheet = told.line, told.habit, told.place.sheet
    if line.unit != "ohm" or line.value_si is None:
        raise InputImpossible("An insulation result is a resistance.", "Write it like 120 Mohm or >200 Mohm.")
    if rule.volts is not None and line.test_volt is None:
        raise InputImpossible(
            "An insulation result needs its test voltage.", f"Add it, such as {rule.volts:g} V."
        )
    celsius = line.celsius if line.celsius is not None else told.celsius
    reference_ohm, correction = _at_reference(
        line.value_si, _rule_named(line.rule or rule.correction, rule), celsius
    )
    accuracy = line.accuracy if line.accuracy is not None else habit.accuracy
    limit_ohm = least_ohm(rule, told.place.purpose)
    if reference_ohm == 0.0:
        decided = _decided(
            said, TypedWhy.SHORT, Decision(Outcome.FAIL, guard_band_ohm=0.0, conformance_probability=0.0)
        )
    elif accuracy is None:
        decided = _no_accuracy(said)
    else:
        how = sheet.rule, sheet.maximum_risk
        decision = judge_insulation(reference_ohm, limit_ohm, accuracy, *how, bound=line.at_least)
        half_width_ohm = 0.0 if line.at_least else 0.95 * accuracy * reference_ohm
        decided = _decided(said, TypedWhy.LIMITS, decision, half_width_ohm)
    return replace(
        _enough_volts(decided, rule.volts),
        result_kind=ResultKind.INSULATION,
        instrument=line.instrument or habit.instrument,
        accuracy=accuracy,
        celsius=celsius,
        correction=correction,
        reference_celsius=REFERENCE_CELSIUS if correction != NONE else celsius,
        reference_si=reference_ohm,
        lower_si=limit_ohm,
    )


def _at_reference(ohm: float, rule: TemperatureRule | None, celsius: float | None) -> tuple[float, str]:
    """Ohms as they count, and the name of the rule that they were corrected by."""
    if rule is None:
        return ohm, NONE
    if celsius is None:
        raise InputImpossible(
            f"The rule {rule.name} needs the temperature of the winding.", "Add it, such as 21 °C."
        )
    if ohm == 0.0:  # a short is one at any temperature
        return ohm, NONE
    return to_reference(ohm, celsius, rule), rule.name


def _rule_named(name: str, of: Isolation) -> TemperatureRule | None:
    """The temperature rule of a name: the sheet's own table, one that ships, or none."""
    if name == NONE:
        return None
    if name == of.correction and of.factors:
        return FactorTable(name, of.factors, of.factors_source)
    if name in RULES:
        return RULES[name]
    known = ", ".join([*RULES, *([of.correction] if of.factors else []), NONE])
    raise InputImpossible(f'There is no temperature rule "{name}".', f"Known are {known}.")


def _enough_volts(said: TypedResult, asked: float | None) -> TypedResult:
    """A low voltage finds no carbon track: what passed there has not passed."""
    said, volts = replace(said, asked_volt=asked), said.test_volt
    if said.outcome not in PASSING or volts is None or asked is None or volts >= ENOUGH_VOLTS * asked:
        return said
    return replace(said, outcome=Outcome.CANNOT_JUDGE, why=TypedWhy.LOW_VOLTS)


def _winding(said: TypedResult, told: _Told, asked: AskedOhms) -> TypedResult:
    """Ohms of a winding, or of a step that is measured, against its limits at the reference temperature."""
    celsius = told.line.celsius if told.line.celsius is not None else told.celsius
    if celsius is None:
        raise InputImpossible("Ohms of a winding need its temperature.", "Add it, such as 21 °C.")
    conductor, at = conductor_named(asked.material), told.place.sheet.reference_celsius
    ohm = winding_at(told.line.value_si or 0.0, celsius, at, conductor)
    said = replace(said, name=asked.name, target=asked.id, reference_si=ohm)
    said = replace(said, celsius=celsius, correction=conductor.name, reference_celsius=at)
    warm_ohm = abs(ohm) * fraction_per_kelvin(celsius, conductor) * TYPED_KELVIN
    return _within(said, asked.limits, told.place, more_ohm=warm_ohm)


def _resistance(said: TypedResult, step: Step, place: Circumstances) -> TypedResult:
    """A typed step's resistance against the step's own limits."""
    value_ohm = said.value_si
    if said.unit != "ohm" or value_ohm is None:
        raise InputImpossible(f"{step.name} is a resistance.", "Write it like 12.4 ohm.")
    return _within(said, Limits(step.lower_ohm, step.upper_ohm), place)


def _within(said: TypedResult, limits: Limits, place: Circumstances, more_ohm: float = 0.0) -> TypedResult:
    """A resistance held against limits, known to its instrument's accuracy and to so many ohms more."""
    value_ohm = (said.value_si or 0.0) if said.reference_si is None else said.reference_si
    said = replace(
        said, result_kind=ResultKind.RESISTANCE, lower_si=limits.lower_ohm, upper_si=limits.upper_ohm
    )
    if limits == Limits(None, None):
        return replace(said, why=TypedWhy.NO_LIMITS)
    if said.accuracy is None:
        return _no_accuracy(said)
    limits_of_error = {"accuracy": said.accuracy * abs(value_ohm), "temperature": more_ohm}
    known = combine([
        Term(name, ohm / math.sqrt(3.0), Shape.RECTANGULAR)  # JCGM 100:2008, 4.3.7
        for name, ohm in limits_of_error.items()
    ])  # fmt: skip
    sheet = place.sheet
    decision = decide(
        value_ohm,
        known.standard_uncertainty,
        known.expanded,
        limits,
        sheet.rule,
        law=known.law,
        maximum_risk=sheet.maximum_risk,
    )
    return _decided(said, TypedWhy.LIMITS, decision, known.expanded)


def _against_pattern(
    said: TypedResult, line: TypedLine, place: Circumstances, others: Sequence[TypedResult]
) -> TypedResult:
    """Inductance, Q or loss against a sister coil or golden unit; recorded only where none is named."""
    if not line.against:
        return replace(said, why=TypedWhy.NO_PATTERN)
    if line.within is None or line.hertz is None or said.value_si is None:
        raise InputImpossible(
            f"{said.name} against another coil needs a frequency and a tolerance.", "Add 1 kHz, within 3 %."
        )
    value_si, name = _pattern(line, said, others)
    said = replace(said, pattern_si=value_si, pattern=name)
    if line.accuracy is None:
        return _no_accuracy(said)
    # A higher Q and a lower loss are no faults: shorted turns lower the one and raise the other.
    relative = compare(
        said.value_si or 0.0,
        value_si,
        line.accuracy / math.sqrt(3.0),
        below=None if said.result_kind is ResultKind.LOSS else line.within,
        above=None if said.result_kind is ResultKind.QUALITY else line.within,
        rule=place.sheet.rule,
        maximum_risk=place.sheet.maximum_risk,
    )
    lower = None if said.result_kind is ResultKind.LOSS else value_si * (1.0 - line.within)
    upper = None if said.result_kind is ResultKind.QUALITY else value_si * (1.0 + line.within)
    said = replace(said, deviation=relative.deviation, lower_si=lower, upper_si=upper)
    in_si = replace(relative.decision, guard_band_ohm=relative.decision.guard_band_ohm * value_si)
    return _decided(said, TypedWhy.LIMITS, in_si, K_95 * relative.u_deviation * value_si)


def _pattern(line: TypedLine, said: TypedResult, others: Sequence[TypedResult]) -> tuple[float, str]:
    """Value and name of what a result is held against."""
    number = number_of(line.against)
    if number is not None:
        if number[1] != said.unit:
            raise InputImpossible(f'"{line.against}" is another quantity than "{said.name}".')
        return number[0], "golden unit"
    wanted = line.against.lower()
    for other in reversed(others):
        if other.name.lower() == wanted and other.value_si is not None and other.unit == said.unit:
            if other.hertz is not None and not math.isclose(other.hertz, line.hertz or 0.0, rel_tol=0.02):
                raise InputImpossible(
                    f"{other.name} was measured at {other.hertz:g} Hz.", "Measure both at one frequency."
                )
            return other.value_si, other.name
    raise InputImpossible(
        f'Nothing called "{line.against}" was typed for this unit.', "Type it first, or give its value."
    )


def _stated(said: TypedResult, line: TypedLine) -> TypedResult:
    """As typed; the outcome is the person's own word."""
    why = TypedWhy.RECORDED if line.stated is None else TypedWhy.STATED
    return replace(said, outcome=line.stated, stated=line.stated is not None, why=why)


# ------------------------------------------------------------------ odds


def _as_rule(step: Step) -> Isolation:
    """A typed insulation step as a rule between its two pins."""
    return Isolation(((step.pair.a,), (step.pair.b,)), None, step.lower_ohm or 0.0)


def _kind(line: TypedLine) -> ResultKind:
    word = line.name.split()[0].lower()
    if line.unit == "H":
        return ResultKind.INDUCTANCE
    if line.value_si is not None and not line.unit and word in ("q", "loss"):
        return ResultKind.QUALITY if word == "q" else ResultKind.LOSS
    return ResultKind.STATED


def _decided(
    said: TypedResult, why: TypedWhy, decision: Decision, expanded_si: float | None = None
) -> TypedResult:
    return replace(
        said,
        outcome=decision.outcome,
        conformance_probability=decision.conformance_probability,
        why=why,
        expanded_si=expanded_si,
        guard_band_si=None if expanded_si is None else decision.guard_band_ohm,
    )


def _no_accuracy(said: TypedResult) -> TypedResult:
    return replace(said, outcome=Outcome.CANNOT_JUDGE, conformance_probability=0.0, why=TypedWhy.NO_ACCURACY)
