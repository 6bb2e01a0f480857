"""Figures of a batch's report as short texts, the same in the terminal, in HTML and on the page.

Not for sentences about what was found (batch_findings).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime

from acquire.quantity import counted, show
from acquire.records import BatchDeed, Outcome, Purpose
from acquire.reports.batch import BatchReport, Deed, UnitLine
from acquire.reports.batch_series import Series
from acquire.stats.capability import Index
from acquire.stats.pareto import Share
from acquire.words.outcomes import OUTCOME_WORDS

PURPOSES = {
    Purpose.INCOMING: "incoming cores",
    Purpose.WINDING: "test while winding",
    Purpose.FINAL: "final test",
    Purpose.RETURNED: "returned units",
}

DEEDS = {
    BatchDeed.OPENED: "begun",
    BatchDeed.PAUSED: "paused",
    BatchDeed.MADE_WAY: "paused",
    BatchDeed.RESUMED: "resumed",
    BatchDeed.SPOOL_CHANGED: "spool",
    BatchDeed.FIRST_UNIT: "first unit",
    BatchDeed.ACCEPTED: "accepted",
    BatchDeed.FINISHED: "finished",
}

MOST_SENTENCES = 10
"""Calls of the run rules that are told one by one: of a thousand calm points some ten call by chance."""

MOST_GROUPS = 20
"""Days or operators that are listed one by one."""

LEGEND = (
    "Black lines: limits of the sheet. Grey: nominal. Dashed: limits of the chart itself, three sigma from "
    "the moving ranges of neighbours. Thick: its centre, or the level between two changes. Cross: failed "
    "here; hollow diamond: the unit failed for another reason; ring: beyond the limits of its level. At the "
    "right how the values pile up, and how wide the measurement itself is (±U, 95 %)."
)

CAUTION = (
    "A pass in ohms does not exclude faults between turns or a winding the wrong way round: direct current "
    "shows neither."
)

HOW_COUNTED = (
    "Yields, charts and capability take each unit's first stay on the bench that ended with a result, and in "
    "it the last verdict of each step that counted; later stays show in the list of units only. Passed is "
    "what passed, near a limit or not; what the meter cannot judge did not pass."
)

HOW_SURE = (
    "Shares have Wilson's interval, indices that of chi-square and of Bissell, at {:.0f} %. Cp and Cpk come "
    "from neighbours (moving ranges), Pp and Ppk from all values."
)

HOW_CALLED = (
    "Run rules: beyond a limit; two of three beyond two sigma; four of five beyond one sigma; nine in a row "
    "on one side. Of calm points one in about a hundred calls."
)


def per_cent(share: float) -> str:
    """A share, never rounded up to all of it: "99.6 %"."""
    if 0.995 <= share < 1.0 or 0.0 < share < 0.005:
        return f"{100.0 * share:.1f} %"
    return f"{100.0 * share:.0f} %"


def share_text(share: Share) -> str:
    """Hits of trials with the interval: "38 of 40 (95 %; 83 to 99 %)"."""
    if not share.of:
        return "none yet"
    low, high = 100.0 * share.low, 100.0 * share.high
    return f"{share.count} of {share.of} ({per_cent(share.share)}; {low:.0f} to {high:.0f} %)"


def index_text(index: Index | None) -> str:
    """An index with its interval: "1.02 (0.77 to 1.27)"."""
    return "–" if index is None else f"{index.value:.2f} ({index.low:.2f} to {index.high:.2f})"


def value_text(series: Series, value: float | None, digits: int = 5) -> str:
    """A value of a row with its unit."""
    if value is None:
        return "–"
    return f"{value:+.2f} %" if series.unit == "%" else show(value, "Ω", digits=digits)


def relative(series: Series, value: float | None) -> str:
    """A spread of a row, also as a share of its mean."""
    if value is None or series.capability is None:
        return "–"
    mean = series.capability.mean
    if series.unit == "%" or not mean:
        return f"{value:.2g} %"
    return f"{show(value, 'Ω', digits=3)} ({100.0 * value / mean:.2g} %)"


def figures_of(series: Series) -> Iterator[tuple[str, str]]:
    """Name and value of everything that is reckoned from a row."""
    of = series.capability
    yield "values", str(len(series.points)) + (f" ({series.skipped} without)" if series.skipped else "")
    if of is None:
        return
    yield "mean", value_text(series, of.mean)
    yield "spread of all, s", relative(series, of.sigma_overall)
    yield "of neighbours, s", relative(series, of.sigma_within)
    yield "of measuring, U", relative(series, None if series.u is None else 2.0 * series.u)
    yield "Cp", index_text(of.cp)
    yield "Cpk", index_text(of.cpk)
    yield "Pp", index_text(of.pp)
    yield "Ppk", index_text(of.ppk)
    if of.outside is not None:
        yield "expected beyond", _million(of.outside.parts_per_million)
    if of.normality is not None:
        yield "normal law", f"p = {of.normality.p:.2g}" if of.normality.p >= 0.001 else "p < 0.001"


def _million(parts: float) -> str:
    """So many in a million, without powers of ten."""
    if parts < 0.001:
        return "< 0.001 in a million"
    return f"{float(f'{parts:.2g}'):,.0f} in a million" if parts >= 10.0 else f"{parts:.2g} in a million"


def sentences_of(series: Series) -> list[str]:
    """What is said of a row: changes of level, what each level does, trend, groups, remarks."""
    said = [change.sentence for change in series.changes]
    if series.stages:
        inside = [sentence for stage in series.stages for sentence in stage.sentences]
        said += _few([f"Within its level {sentence}" for sentence in inside])
        if not inside:
            said.append("Between the changes of level the chart is calm.")
    else:
        said += _few(list(series.sentences))
        if not series.sentences and len(series.points) >= 8:
            said.append("The chart is calm: no rule calls.")
    said += [series.drift] if series.drift else []
    said += [group.sentence for group in series.groups]
    said += series.capability.remarks if series.capability else ()
    if series.limits_moved:
        said.append("Not all units were held against the same limits; those of the latest are drawn.")
    return said


def _few(sentences: list[str]) -> list[str]:
    """The first few, and how many more there are."""
    if len(sentences) <= MOST_SENTENCES:
        return sentences
    more = len(sentences) - MOST_SENTENCES
    return [*sentences[:MOST_SENTENCES], f"And {more} more calls of the run rules (--json has them all)."]


def groups_of(series: Series) -> Iterator[tuple[str, str, str, str]]:
    """Values by spool, day, meter, operator, bench: what, its name, how many, mean with its interval."""
    for group in series.groups:
        for each in group.of.groups[:MOST_GROUPS]:
            mean = value_text(series, each.of.mean)
            if math.isfinite(each.low) and math.isfinite(each.high):
                mean += f" ({value_text(series, each.low)} to {value_text(series, each.high)})"
            yield group.what, each.name, str(each.of.count), mean


def title_of(report: BatchReport) -> str:
    """Which batch of what, how many, why measured, and where it stands."""
    count = counted(len(report.units), "unit")
    if report.expected is not None:
        count = f"{len(report.units)} of {counted(report.expected, 'unit')}"
    state = report.state.value if report.state else "never opened by name"
    return f"{report.sheet}, {count}, {PURPOSES[report.purpose]}, {state}"


def facts_of(report: BatchReport) -> Iterator[tuple[str, str]]:
    """What is what, for the head of the report."""
    yield "unit type", report.sheet
    yield "purpose", PURPOSES[report.purpose]
    yield "state", report.state.value if report.state else "never opened by name"
    expected = "" if report.expected is None else f" of {report.expected} expected"
    yield (
        "units",
        f"{len(report.units)}{expected}"
        + (f", {report.open_units} without result" if report.open_units else ""),
    )
    yield "measured", period(report)
    yield "bench", ", ".join(report.benches) or "–"
    yield "operator", ", ".join(report.operators) or "–"
    yield "meter", ", ".join(report.meters) or "–"
    if report.reference_celsius is not None:
        yield "ohms hold at", f"{report.reference_celsius:g} °C"
    yield "decision rule", ", ".join(rule.replace("_", " ") for rule in report.rules) or "–"
    if report.remark:
        yield "remark", report.remark
    if report.other_purposes:
        others = ", ".join(PURPOSES[each] for each in report.other_purposes)
        yield "also measured", f"{others} (--purpose shows them)"


def notes_of(report: BatchReport) -> list[str]:
    """How the figures were made; what they do not say."""
    notes = [HOW_COUNTED, HOW_SURE.format(100.0 * report.confidence), HOW_CALLED, CAUTION]
    if len(report.sheet_hashes) > 1:
        notes.append(f"{len(report.sheet_hashes)} versions of the sheet were in force.")
    return notes


def moment(utc_s: float | None) -> str:
    """Date and time in UTC; a dash where there is none."""
    if utc_s is None or not math.isfinite(utc_s):
        return "–"
    try:
        return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M")
    except (ValueError, OverflowError, OSError):
        return "–"


def period(report: BatchReport) -> str:
    """From when to when, UTC."""
    first, last = moment(report.first_utc_s), moment(report.last_utc_s)
    if first == last:
        return f"{first} UTC" if first != "–" else "–"
    return f"{first} to {last[11:] if last[:10] == first[:10] else last} UTC"


def outcome_text(line: UnitLine) -> str:
    """How a unit ended, and how it is now if that is another matter."""
    if line.outcome is None:
        return "no result"
    words = OUTCOME_WORDS[line.outcome]
    if line.now is not None and line.now is not line.outcome:
        return f"{words}, then {OUTCOME_WORDS[line.now]}"
    return words


def deed_text(deed: Deed) -> str:
    """What was done to a batch, in a few words."""
    return f"{DEEDS[deed.deed]}{f': {deed.text}' if deed.text else ''}"


def passed(line: UnitLine) -> bool:
    """Whether the first result of a unit is a pass, near a limit or not."""
    return line.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS)
