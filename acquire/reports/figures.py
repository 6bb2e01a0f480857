"""Numbers of reports as short texts, the same on paper, on pages and in the terminal. Not for sentences."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from acquire.quantity import percent, show
from acquire.reports.document import FIRM, firm
from acquire.stats.capability import Index
from acquire.stats.pareto import Share


def moment(utc_s: float | None, form: str = "%Y-%m-%d %H:%M UTC") -> str:
    """Date and time in UTC; a dash where there is none."""
    try:
        return "–" if utc_s is None else datetime.fromtimestamp(utc_s, UTC).strftime(form)
    except (ValueError, OverflowError, OSError):
        return "–"


def age(seconds: float) -> str:
    """How old something was, in one unit."""
    for unit, length_s in (("d", 86_400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * length_s:
            return f"{seconds / length_s:.0f} {unit}"
    return f"{max(0.0, seconds):.0f} s"


def per_cent(share: float) -> str:
    """A share, never rounded up to all of it: "99.6 %"."""
    if 0.995 <= share < 1.0 or 0.0 < share < 0.005:
        return f"{100.0 * share:.1f} %"
    return f"{100.0 * share:.0f} %"


def relative_to(part: float, whole: float, spread: float = 0.0) -> str:
    """A part as a percentage of a whole: "3.5 %"; empty where that means nothing.

    So it is where the whole is near zero, as far as its spread tells, or smaller than the part.
    """
    if not abs(whole) > max(3.0 * spread, abs(part), 1e-12):
        return ""
    return percent(abs(part / whole))


def share_text(share: Share) -> str:
    """Hits of trials with the interval: "38 of 40 (95 %; 83 to 99 %)"."""
    if not share.of:
        return "none yet"
    low, high = 100.0 * share.low, 100.0 * share.high
    return f"{share.count} of {share.of} ({per_cent(share.share)}; {low:.0f} to {high:.0f} %)"


def index_text(index: Index | None) -> str:
    """An index with its interval: "1.02 (0.77 to 1.27)"."""
    return "–" if index is None else f"{index.value:.2f} ({index.low:.2f} to {index.high:.2f})"


def per_million(parts: float) -> str:
    """So many in a million, without powers of ten."""
    if parts < 0.001:
        return "< 0.001 in a million"
    return f"{float(f'{parts:.2g}'):,.0f} in a million" if parts >= 10.0 else f"{parts:.2g} in a million"


def probability_text(probability: float | None) -> str:
    """A probability that claims neither certainty."""
    if probability is None:
        return "–"
    if probability > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if probability < 0.001 else f"{100.0 * probability:.1f} %"


def value_text(value: float | None, unit: str = "Ω", digits: int = 5) -> str:
    """A value of a row; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{value:+.2f} %" if unit == "%" else show(value, "Ω", digits=digits)


def limits_text(lower: float | None, upper: float | None, unit: str = "Ω") -> str:
    """Two limits, or the one there is."""
    low, high = firm(value_text(lower, unit, 4)), firm(value_text(upper, unit, 4))
    if lower is None or upper is None:
        return f"at least {low}" if lower is not None else f"at most {high}" if upper is not None else "none"
    number, _, low_unit = low.partition(FIRM)
    return f"{number} to {high}" if low_unit == high.partition(FIRM)[2] else f"{low} to {high}"
