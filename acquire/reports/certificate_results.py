"""The measured part of a certificate's pages: results, how each came about, and the readings behind them.

Not for the rest of the pages (certificate_pages).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from acquire.quantity import show
from acquire.reports.certificate_facts import Measured, Step
from acquire.reports.paper import (
    FIRM,
    MARK_OF,
    Block,
    Cell,
    Column,
    Marked,
    Plot,
    Plots,
    Scale,
    Table,
    Title,
    Tone,
    Words,
    with_uncertainty,
)
from acquire.steps.warm import WARM_CHECK
from acquire.words.outcomes import OUTCOME_WORDS
from drivers.reading import Quantity


def deciding(measured: Measured) -> list[Step]:
    """Steps with limits, the last verdict that counts of each, in the order of the test."""
    order = dict.fromkeys(step.step for step in measured.steps)
    last = {step.step: step for step in measured.steps if step.counts}
    return [last[name] for name in order if name in last and name != WARM_CHECK]


def not_counted(measured: Measured) -> list[Step]:
    """Measurements that decided nothing: refused at first, or replaced by a later one."""
    last = {step.step: step.id for step in measured.steps if step.counts}
    return [step for step in measured.steps if last.get(step.step) != step.id]


def results(measured: Measured) -> Iterator[Block]:
    """What was found, step by step, beside its limits."""
    steps = deciding(measured)
    at = sorted({f"{step.reference_celsius:g} °C" for step in steps})
    yield Title(f"Results at {' and '.join(at) or 'the reference temperature'}")
    columns = (
        Column("Step", 27),
        Column("Pins", 16),
        Column("Resistance ± U", 32, right=True),
        Column("Limits", 32, right=True),
        Column("Between the limits", 24),
        Column("Conformity", 21, right=True),
        Column("Verdict", 27),
    )
    yield Table(columns, tuple(_result_row(step, temperature=len(at) > 1) for step in steps))
    yield Words(
        (
            "Resistance without test leads. U: expanded uncertainty for a coverage probability of 95 %; each "
            "coverage factor k stands in the table of corrections. Conformity: probability that the true "
            "value lies within the limits."
        ),
        Tone.SMALL,
    )
    warm = next((step for step in reversed(measured.steps) if step.step == WARM_CHECK and step.counts), None)
    if warm is not None:
        moved = warm.reason.removesuffix(".")
        yield Words(
            f"Was it at room temperature? The first resistance, measured again at the end, {moved}.",
            Tone.SMALL,
        )
    refused = len(not_counted(measured))
    if refused:
        told = "one measurement was" if refused == 1 else f"{refused} measurements were"
        yield Words(f"{told.capitalize()} repeated and did not count: see the remarks.", Tone.SMALL)


def _result_row(step: Step, *, temperature: bool) -> tuple[Cell, ...]:
    value = "open" if step.reference_ohm is None else with_uncertainty(step.reference_ohm, step.expanded_ohm)
    if temperature and step.reference_ohm is not None:
        value += f" at {step.reference_celsius:g} °C"
    scale: Cell = ""
    if step.reference_ohm is not None and (step.lower_ohm is not None or step.upper_ohm is not None):
        scale = Scale(step.lower_ohm, step.upper_ohm, step.reference_ohm, step.expanded_ohm or 0.0)
    word = OUTCOME_WORDS[step.outcome].capitalize() + (" (doubtful)" if step.doubt else "")
    return (
        step.step,
        f"{step.pin_a}–{step.pin_b}",
        value,
        limits_text(step.lower_ohm, step.upper_ohm),
        scale,
        conformity_text(step.conformity),
        Marked(MARK_OF[step.outcome], word),
    )


def limits_text(lower_ohm: float | None, upper_ohm: float | None) -> str:
    """Two limits, or the one there is."""
    if lower_ohm is None and upper_ohm is None:
        return "none"
    if upper_ohm is None:
        return f"at least {_firm(show(lower_ohm or 0.0, 'Ω'))}"
    if lower_ohm is None:
        return f"at most {_firm(show(upper_ohm, 'Ω'))}"
    (low, _, low_unit), (high, _, high_unit) = (
        show(lower_ohm, "Ω").partition(" "),
        show(upper_ohm, "Ω").partition(" "),
    )
    return (
        f"{low} to {high}{FIRM}{high_unit}"
        if low_unit == high_unit
        else f"{low}{FIRM}{low_unit} to {high}{FIRM}{high_unit}"
    )


def conformity_text(conformity: float | None) -> str:
    """A probability that claims neither certainty."""
    if conformity is None:
        return "–"
    if conformity > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if conformity < 0.001 else f"{100.0 * conformity:.1f} %"


# ---------------------------------------------------------------- how each value came about


def ways(measured: Measured) -> Iterator[Block]:
    """From each reading to its result: leads, temperature, range, coverage factor."""
    steps = [step for step in deciding(measured) if step.raw_ohm is not None]
    if not steps:
        return
    yield Title("From the reading to the result")
    columns = (
        Column("Step", 25),
        Column("As read", 19, right=True),
        Column("Leads", 18, right=True),
        Column("Winding", 18, right=True),
        Column("Result", 19, right=True),
        Column("k", 11, right=True),
        Column("Readings", 18, right=True),
        Column("Range", 17, right=True),
        Column("One count", 19, right=True),
        Column("UTC", 18, right=True),
    )
    yield Table(columns, tuple(_way_row(step) for step in steps))
    yield Words(
        (
            "Result = (reading − leads) · (k₀ + reference temperature) / (k₀ + winding temperature), with "
            "the k₀ of the winding's material on the sheet (copper 234.5 °C). Leads: zero measured with the "
            "probes held together, with its age at the time; “4-wire” needs none."
        ),
        Tone.SMALL,
    )
    yield from (
        Words(text, Tone.SMALL) for text in dict.fromkeys(_temperature(step) for step in steps) if text
    )


def _way_row(step: Step) -> tuple[Cell, ...]:
    result = "open" if step.reference_ohm is None else _firm(show(step.reference_ohm, "Ω", step.expanded_ohm))
    full, count = step.range_full_scale_ohm, step.resolution_ohm
    return (
        step.step,
        "open" if step.raw_ohm is None else _firm(show(step.raw_ohm, "Ω", step.expanded_ohm)),
        _leads(step),
        "–" if step.winding_celsius is None else f"{step.winding_celsius:.2f}{FIRM}°C",
        result,
        "–" if step.coverage_factor is None else f"{step.coverage_factor:.2f}",
        f"{step.conversions}",
        "unknown" if full is None else _firm(show(full, "Ω", digits=3)),
        "unknown" if count is None else _firm(show(count, "Ω", digits=1)),
        datetime.fromtimestamp(step.utc_s, UTC).strftime("%H:%M:%S"),
    )


def _leads(step: Step) -> str:
    if step.quantity is Quantity.RESISTANCE_4W:
        return "4-wire"
    if step.lead_ohm == 0.0 and step.lead_zero_utc_s is None:
        return "not zeroed"
    shown_ohm = _firm(show(step.lead_ohm, "Ω", digits=3))
    if step.lead_zero_utc_s is None:
        return shown_ohm
    return f"{shown_ohm} {_firm(age(step.utc_s - step.lead_zero_utc_s))}{FIRM}old"


def _firm(text: str) -> str:
    return text.replace(" ", FIRM)


def age(seconds: float) -> str:
    """How old something was, in one unit."""
    for unit, length_s in (("d", 86_400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * length_s:
            return f"{seconds / length_s:.0f} {unit}"
    return f"{max(0.0, seconds):.0f} s"


def _temperature(step: Step) -> str:
    if not step.temperature_source:
        return ""
    old = "" if step.temperature_utc_s is None else ", read or typed within the minutes before each value"
    if step.temperature_utc_s is not None and step.utc_s - step.temperature_utc_s > 600.0:
        old = f", {age(step.utc_s - step.temperature_utc_s)} old"
    return f"Temperature: from “{step.temperature_source}”{old}; the winding is taken to have soaked in it."


def plots(measured: Measured) -> Iterator[Block]:
    """The readings of each step as a small plot."""
    drawn = []
    for step in deciding(measured):
        if len(step.trace) < 2:
            continue
        of = "" if step.trace_of == len(step.trace) else f" of {step.trace_of}"
        first, last = step.trace[0][0], step.trace[-1][0]
        low, high = min(ohm for _, ohm in step.trace), max(ohm for _, ohm in step.trace)
        span = show(high - low, "Ω", digits=2)
        caption = (
            f"{len(step.trace)}{of} readings, {first:.1f} s to {last:.1f} s after contact, spread {span}"
        )
        drawn.append(Plot(f"{step.step} ({step.pin_a}–{step.pin_b})", caption, step.trace, step.raw_ohm))
    if drawn:
        yield Title("Evidence: readings from contact to rest")
        yield Plots(tuple(drawn))
        yield Words(
            "Dots: readings as they came; dashed: the value taken as settled, leads included.", Tone.SMALL
        )
