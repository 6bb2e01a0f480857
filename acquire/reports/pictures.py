"""Drawings by matplotlib as SVG within a page, and the chart of every row of a batch between its limits.

Small, with text as text, the same bytes each time; names get a prefix, so that several drawings fit on one
page. What failed is a cross with its serial, what lies beyond the chart's own limits has a ring.
Not for figures (batch, series).
"""

from __future__ import annotations

import contextlib
import io
import re
import warnings
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from acquire.choices import FAILING
from acquire.errors import LibraryMissing
from acquire.reports.batch import BatchReport
from acquire.reports.document import INK, shown
from acquire.reports.series import Series, SeriesPoint
from acquire.stats.charts import Chart, ChartPair, Plotted

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FONTS = "DejaVu Sans, Liberation Sans, Arial, sans-serif"
"""The library measures by the first, which it brings along; others are near enough where that is missing."""

PLAIN: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "steadyohm",
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.linewidth": 0.6,
    "axes.edgecolor": "#777777",
    "axes.labelcolor": "#333333",
    "xtick.color": "#333333",
    "ytick.color": "#333333",
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "path.simplify": False,
    "text.parse_math": False,
    "savefig.transparent": True,
}

MM_PER_INCH = 25.4

_REFERS = re.compile(r'(?:href="#|url\(#)([^")]+)')


@contextlib.contextmanager
def plain_style() -> Iterator[None]:
    """Draw in here: our lines and fonts, no formulas in anybody's text, no complaint about foreign letters.

    Raises:
        LibraryMissing: matplotlib is not installed.
    """
    try:
        import matplotlib as mpl  # noqa: PLC0415  (half a second; an optional package)
    except ImportError as missing:
        raise LibraryMissing(
            "Drawings need matplotlib, which is not installed.",
            'Install it with: pip install "steadyohm[reports]".',
        ) from missing
    with mpl.rc_context(PLAIN), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        yield


def figure(width_mm: float, height_mm: float) -> Figure:
    """An empty drawing of this size; within `plain_style`."""
    from matplotlib.figure import Figure as Drawing  # noqa: PLC0415  (as above)

    return Drawing(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH))


def as_svg(drawing: Figure, name: str, told: str) -> str:
    """The `<svg>` element of a drawing; within `plain_style`.

    Args:
        drawing: finished.
        name: letters and digits; different for every drawing on a page.
        told: what it shows, in one sentence, for those who cannot see it.
    """
    out = io.StringIO()
    drawing.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = out.getvalue()
    text = text[text.index("<svg") :].rstrip()
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\s*<style type="text/css">.*?</style>', "", text, flags=re.DOTALL)
    text = text.replace("font-family: 'DejaVu Sans'; ", "")  # the page's own letters
    text = re.sub(r"font: (?:\d+ )?([\d.]+px) 'DejaVu Sans'", r"font-size: \1", text)
    used = set(_REFERS.findall(text))
    text = re.sub(r' id="([^"]+)"', lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", text)
    text = _REFERS.sub(lambda m: m[0][: m.start(1) - m.start(0)] + f"{name}-{m[1]}", text)
    head = re.compile(r'<svg [^>]*?viewBox="([^"]+)"[^>]*>')
    found = head.match(text)
    box = found[1] if found else "0 0 100 100"
    begins = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="{box}" '
        f'role="img" stroke-linejoin="round" font-family="{FONTS}">\n<title>{escape(told)}</title>'
    )
    return head.sub(lambda _: begins, text, count=1)


BLUE, ORANGE, GREY, PALE = "#1b5fa8", "#a63d00", "#777777", "#e8eff2"
"""Good, bad, limits of the sheet and frames, the ground of every second spool; blue and
orange as on the bench."""

WIDE_MM, HIGH_MM = 190.0, 68.0

MANY = 1500
"""Points above which they are drawn as a picture within the drawing: the file would grow without end."""

LIMIT: dict[str, Any] = {"color": "#222222", "linewidth": 1.1, "zorder": 1}
OWN: dict[str, Any] = {"color": INK, "linewidth": 0.8, "linestyle": (0, (5, 3)), "zorder": 1}
CENTRE: dict[str, Any] = {"color": INK, "linewidth": 1.0, "zorder": 1}
"""Lines across: limits of the sheet, limits of the chart itself, its centre."""

SPAN = {
    "arrowstyle": "|-|,widthA=0.25,widthB=0.25",
    "color": INK,
    "linewidth": 1.0,
    "shrinkA": 0,
    "shrinkB": 0,
}
"""A bar with ends, for how wide something is."""

HOLLOW = {"marker": "o", "markerfacecolor": "none", "color": ORANGE}
"""A ring around what lies beyond the chart's own limits."""

LONGEST_SERIAL = 14
MOST_LABELS = 12
MOST_APART, FEW_APART = 40, 4
"""Units that failed for another reason are set apart while they are few, and have their serials while they
are very few; of more the list tells."""


def svg_pictures(report: BatchReport) -> dict[str, str]:
    """All drawings by name: `row-1`, …, `means-1`, …; LibraryMissing where matplotlib is not there."""
    found = {}
    with plain_style():
        for number, series in enumerate(report.series, start=1):
            if series.chart is not None:
                found[f"row-{number}"] = as_svg(*_row(series, series.chart, f"row{number}"))
            if series.means is not None:
                found[f"means-{number}"] = as_svg(*_means(series, series.means, f"means{number}"))
    return found


def _row(series: Series, chart: ChartPair, name: str) -> tuple[Any, str, str]:
    drawing = figure(WIDE_MM, HIGH_MM)
    grid = drawing.add_gridspec(
        2, 2, height_ratios=(3.4, 1.0), width_ratios=(7.2, 1.0), hspace=0.1, wspace=0.03,
        left=0.1, right=0.995, top=0.905, bottom=0.155,
    )  # fmt: skip
    level = drawing.add_subplot(grid[0, 0])
    spread = drawing.add_subplot(grid[1, 0], sharex=level)
    beside = drawing.add_subplot(grid[0, 1], sharey=level)
    _grounds(series, (level, spread))
    _limits(level, series)
    _level(level, series, chart)
    width = 0.6 if len(series.points) <= MANY else 0.2
    _chart(spread, chart.spread, 6.0, {"linewidth": width, "zorder": 2, "rasterized": width < 0.3})
    spread.set_ylim(0.0, 1.15 * max(chart.spread.upper, *chart.spread.points))
    _heap(beside, series)
    level.set_ylabel(f"{'difference' if series.unit == '%' else 'resistance'}, {series.unit}")
    level.tick_params(labelbottom=False)
    spread.set_xlabel("units in the order in which they came")
    spread.set_ylabel("moving\nrange")
    for each in (level, spread):
        each.yaxis.set_label_coords(-0.078, 0.5)
    level.set_xlim(0.2, len(series.points) + 0.8)
    failed = [p.serial for p in series.points if p.unit in FAILING]
    told = f"{series.name}: {len(series.points)} values in order of time between the sheet's limits"
    moved = " ".join(shown(change.sentence) for change in series.changes)
    return drawing, name, f"{told}; {len(failed)} of units that failed. {moved}".strip()


def _grounds(series: Series, axes: Sequence[Axes]) -> None:
    """Every second spool on a ground of its own; a line and both names where one follows the other."""
    spools = [point.spool for point in series.points]
    starts = [i for i in range(1, len(spools)) if spools[i] != spools[i - 1]]
    edges = [0, *starts, len(spools)]
    for number, (start, end) in enumerate(pairwise(edges)):
        if number % 2:
            for each in axes:
                each.axvspan(start + 0.5, end + 0.5, color=PALE, linewidth=0, zorder=0)
        if spools[start]:
            middle = (start + end + 1) / 2.0
            axes[0].annotate(
                f"spool {shown(spools[start], LONGEST_SERIAL)}", (middle, 1.0), (0, 3),
                xycoords=("data", "axes fraction"), textcoords="offset points",
                ha="center", va="bottom", color=INK, annotation_clip=False,
            )  # fmt: skip
    for start in starts:
        for each in axes:
            each.axvline(start + 0.5, color=INK, linewidth=0.9, linestyle=(0, (1.2, 1.6)), zorder=1)


def _across(axes: Axes, heights: Sequence[float | None], look: Mapping[str, Any]) -> None:
    for height in heights:
        if height is not None:
            axes.axhline(height, **look)


def _limits(level: Axes, series: Series) -> None:
    """The sheet's limits, and the nominal value."""
    _across(level, (series.lower, series.upper), LIMIT)
    _across(level, (series.nominal,), {"color": GREY, "linewidth": 0.6, "zorder": 1})
    for limit, side, edge, dy in ((series.upper, "upper", "top", -3), (series.lower, "lower", "bottom", 3)):
        if limit is not None:
            level.annotate(
                f"{side} limit {limit:.4g}", (0.0, limit), (3, dy), xycoords=("axes fraction", "data"),
                textcoords="offset points", va=edge, color="#222222", fontsize=7.5,
            )  # fmt: skip


def _level(level: Axes, series: Series, chart: ChartPair) -> None:
    """The chart's own lines, the levels between changes, and the values."""
    _across(level, (chart.level.lower, chart.level.upper), OWN)
    for stage in series.stages:
        if stage.chart is not None:
            ends = [stage.start + 0.6, stage.end + 1.4]
            on_top = 3.5 if len(series.points) > MANY else 2
            level.plot(ends, [stage.chart.level.centre] * 2, color=INK, linewidth=1.3, zorder=on_top)
    if not series.stages:
        _across(level, (chart.level.centre,), CENTRE)
    _values(level, series.points)
    beyond = series.beyond()
    _rings(level, [(i + 1, series.points[i].value) for i in beyond], 9.5)
    _names(level, series.points, beyond)


def _values(level: Axes, points: Sequence[SeriesPoint]) -> None:
    """Every value; a cross where it fails here, a hollow diamond where its unit failed for another reason."""
    many = len(points) > MANY
    places = list(enumerate(points, start=1))
    here = [(i, p.value) for i, p in places if p.outcome in FAILING]
    elsewhere = [(i, p.value) for i, p in places if p.unit in FAILING and p.outcome not in FAILING]
    good = [(i, p.value) for i, p in places if p.unit not in FAILING and p.outcome not in FAILING]
    values = [p.value for p in points]
    level.plot(
        range(1, len(points) + 1), values, color=BLUE, linewidth=0.5, alpha=0.45, zorder=2, rasterized=many
    )
    size = 3.6 if len(points) <= 120 else 2.4 if len(points) <= MANY else 1.2
    look = {"marker": "o", "markersize": size, "markeredgewidth": 0.0, "color": BLUE, "rasterized": many}
    _marks(level, good if len(elsewhere) <= MOST_APART else [*good, *elsewhere], look)
    if len(elsewhere) <= MOST_APART:
        _marks(level, elsewhere, {**HOLLOW, "marker": "D", "markersize": 4.6, "markerfacecolor": "white"})
    _marks(level, here, {"marker": "x", "markersize": 6.5, "markeredgewidth": 1.9, "color": ORANGE})


def _marks(level: Axes, points: Sequence[tuple[int, float]], look: Mapping[str, Any]) -> None:
    if points:
        x, y = zip(*points, strict=True)
        level.plot(x, y, linestyle="none", zorder=3, **look)


def _rings(axes: Axes, beyond: Sequence[tuple[int, float]], size: float) -> None:
    if len(beyond) <= MOST_LABELS:
        _marks(axes, beyond, {**HOLLOW, "markersize": size})


def _names(level: Axes, points: Sequence[SeriesPoint], beyond: Sequence[int]) -> None:
    """Serials of units that failed, and of values beyond the chart's limits, where they are few."""
    here = [i for i, p in enumerate(points) if p.outcome in FAILING or i in beyond]
    apart = [i for i, p in enumerate(points) if p.unit in FAILING and i not in here]
    told = here[:MOST_LABELS] + (apart if len(apart) <= FEW_APART else [])
    low, high = level.get_ylim()
    for i in told:
        point = points[i]
        right, down = i > 0.85 * len(points), point.value > high - 0.15 * (high - low)
        level.annotate(
            shown(point.serial, LONGEST_SERIAL), (i + 1, point.value),
            (-6 if right else 6, -7 if down else 6), textcoords="offset points",
            ha="right" if right else "left", va="top" if down else "bottom",
            color=ORANGE if i in here else GREY, fontsize=8 if i in here else 7,
        )  # fmt: skip


def _chart(axes: Axes, chart: Chart, ring: float, look: Mapping[str, Any]) -> None:
    """Points of a chart on its own lines, with a ring around what lies beyond them."""
    places = list(enumerate(chart.points, start=chart.first + 1))
    _across(axes, (chart.centre,), CENTRE)
    _across(axes, (chart.lower, chart.upper), OWN)
    axes.plot(*zip(*places, strict=True), color=BLUE, **look)
    _rings(axes, [(i, v) for i, v in places if not chart.lower <= v <= chart.upper], ring)


def _heap(beside: Axes, series: Series) -> None:
    """How the values pile up, and how wide the measurement itself is: a bar of its expanded uncertainty."""
    values, limits = [point.value for point in series.points], (series.lower, series.upper)
    every = [*values, *(limit for limit in limits if limit is not None)]
    span = min(every), max(every)
    beside.hist(values, bins=30, range=span, orientation="horizontal", color=BLUE, alpha=0.55)
    _across(beside, limits, LIMIT)
    beside.axis("off")
    if series.u is None:
        return
    middle = series.chart.level.centre if series.chart else values[0]
    low, high = ((0.86, middle + side * 2.0 * series.u) for side in (-1.0, 1.0))
    at: Any = ("axes fraction", "data")
    beside.annotate("", low, high, xycoords=at, textcoords=at, arrowprops=SPAN)
    beside.annotate(
        "±U", high, (0, 3), xycoords=at, textcoords="offset points", ha="center", va="bottom", color=INK,
        fontsize=7.5,
    )  # fmt: skip


def _means(series: Series, means: ChartPair, name: str) -> tuple[Any, str, str]:
    drawing = figure(WIDE_MM, 62.0)
    axes = drawing.subplots(2, 1, sharex=True, height_ratios=(2.2, 1.0))
    drawing.subplots_adjust(left=0.1, right=0.995, top=0.95, bottom=0.185, hspace=0.16)
    spread = "range" if means.spread.plotted is Plotted.RANGE else "deviation"
    labels = f"mean, {series.unit}", spread
    for each, chart, label in zip(axes, (means.level, means.spread), labels, strict=True):
        _chart(each, chart, 8.5, {"linewidth": 0.7, "marker": "o", "markersize": 3.6})
        each.set_ylabel(label)
        each.yaxis.set_label_coords(-0.074, 0.5)
        each.margins(y=0.12)
    axes[1].set_xlabel(f"subgroups of {means.size} units in order of time")
    return drawing, name, f"{series.name}: means and spread of subgroups of {means.size}"
