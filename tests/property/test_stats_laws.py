"""Laws of charts, capability, gauge studies, levels, shares and trends."""

import math
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from acquire.errors import InputImpossible
from acquire.stats.capability import CapabilityLimits, capability, normality, pareto, share_of
from acquire.stats.charts import Plotted, RunRule, individuals, signals, subgroups
from acquire.stats.drift import by_group, drift, level_changes
from acquire.stats.gauge import StudyTrial, VarianceSource, gauge_study, ranges_study

# Whole numbers of thousandths, so that a shift or a scale rounds no spread away.
values = st.integers(-10_000, 10_000).map(lambda n: n / 1000.0)
rows = st.lists(values, min_size=6, max_size=40)
shifts = st.integers(-1000, 1000).map(float)
scales = st.sampled_from([0.125, 0.5, 2.0, 3.0, 1000.0])
near = {"rel": 1e-7, "abs": 1e-7}


@st.composite
def studies(draw):
    parts, operators, trials = draw(st.integers(2, 5)), draw(st.integers(1, 4)), draw(st.integers(2, 4))
    return [
        StudyTrial(f"p{p}", f"o{o}", draw(values))
        for p in range(parts)
        for o in range(operators)
        for _ in range(trials)
    ]


def moved(trials, shift, scale=1.0):
    return [StudyTrial(t.part, t.operator, t.value * scale + shift) for t in trials]


# ---------------------------------------------------------------------------------------------- charts
@given(rows, shifts, scales)
def test_a_chart_moves_and_stretches_with_its_values(row, shift, scale):
    plain, other = individuals(row), individuals([v * scale + shift for v in row])
    assert other.level.centre == pytest.approx(plain.level.centre * scale + shift, **near)
    assert other.sigma == pytest.approx(plain.sigma * scale, rel=1e-7, abs=1e-6 * scale)
    assert other.spread.upper == pytest.approx(plain.spread.upper * scale, rel=1e-7, abs=1e-6 * scale)


@given(rows, st.sampled_from([Plotted.RANGE, Plotted.DEVIATION]), st.integers(2, 5))
def test_limits_lie_around_the_centre(row, plotted, size):
    pair = subgroups(row, size, plotted)
    assert pair.level.lower <= pair.level.centre <= pair.level.upper
    assert 0.0 <= pair.spread.lower <= pair.spread.centre <= pair.spread.upper
    assert min(pair.level.points) - 1e-9 <= pair.level.centre <= max(pair.level.points) + 1e-9


@given(rows)
def test_a_chart_upside_down_calls_the_same_places(row):
    """Values negated: the same signals with their sides changed."""
    up = {(s.rule, s.start, s.end, s.side) for s in signals(individuals(row).level, tuple(RunRule))}
    down = {
        (s.rule, s.start, s.end, -s.side)
        for s in signals(individuals([-v for v in row]).level, tuple(RunRule))
    }
    assert up == down


@given(rows)
def test_signals_lie_among_the_points(row):
    for chart in (individuals(row).level, individuals(row).spread):
        for signal in signals(chart, tuple(RunRule)):
            assert chart.first <= signal.start <= signal.end < len(row)
            assert signal.sentence([str(i) for i in range(len(row))])


# ------------------------------------------------------------------------------------------ capability
@given(rows, st.floats(0.5, 50.0), st.floats(-5.0, 5.0))
def test_cpk_is_never_above_cp_and_equal_only_in_the_middle(row, half, off):
    got = capability(row, CapabilityLimits(off - half, off + half))
    for wide, nearer in ((got.cp, got.cpk), (got.pp, got.ppk)):
        assert (wide is None) == (nearer is None)
        if wide is not None:
            assert nearer.value <= wide.value * (1.0 + 1e-9)
            assert wide.low <= wide.value * 1.0001
            assert nearer.low <= nearer.value <= nearer.high


@given(rows, shifts, scales)
def test_indices_do_not_care_for_zero_or_unit(row, shift, scale):
    assume(max(row) - min(row) > 0.01)
    plain = capability(row, CapabilityLimits(-12.0, 12.0))
    other = capability(
        [v * scale + shift for v in row], CapabilityLimits(-12.0 * scale + shift, 12.0 * scale + shift)
    )
    assert other.pp.value == pytest.approx(plain.pp.value, rel=1e-6)
    assert other.ppk.value == pytest.approx(plain.ppk.value, rel=1e-6, abs=1e-9)
    assert other.outside.below == pytest.approx(plain.outside.below, rel=1e-4, abs=1e-12)
    assert other.outside.counted == plain.outside.counted == 0


@given(rows)
def test_the_mirror_image_is_as_capable(row):
    assume(max(row) > min(row))
    plain, other = (
        capability(row, CapabilityLimits(-11.0, 15.0)),
        capability([-v for v in row], CapabilityLimits(-15.0, 11.0)),
    )
    assert other.ppk.value == pytest.approx(plain.ppk.value, rel=1e-9)
    assert other.outside.above == pytest.approx(plain.outside.below, rel=1e-9, abs=1e-300)


@given(rows, st.floats(0.1, 5.0))
def test_wider_limits_are_never_worse(row, more):
    assume(max(row) > min(row))
    tight, wide = (
        capability(row, CapabilityLimits(-11.0, 11.0)),
        capability(row, CapabilityLimits(-11.0 - more, 11.0 + more)),
    )
    assert wide.ppk.value > tight.ppk.value
    assert wide.outside.parts_per_million <= tight.outside.parts_per_million


@given(st.lists(values, min_size=8, max_size=60), shifts, scales)
def test_normality_does_not_care_for_zero_or_unit(row, shift, scale):
    assume(max(row) - min(row) > 0.1)
    plain, other = normality(row), normality([v * scale + shift for v in row])
    assert other.a_square == pytest.approx(plain.a_square, rel=1e-6, abs=1e-8)
    assert 0.0 <= plain.p <= 1.0


# --------------------------------------------------------------------------------------- gauge studies
@given(studies())
def test_sums_of_squares_and_degrees_of_freedom_add_up(trials):
    study = gauge_study(trials)
    for table in filter(None, (study.table, study.pooled)):
        *parts, total = table
        assert math.fsum(row.square for row in parts) == pytest.approx(total.square, rel=1e-9, abs=1e-9)
        assert sum(row.freedom for row in parts) == total.freedom == len(trials) - 1


@given(studies())
def test_variances_add_up(trials):
    for study in (gauge_study(trials), gauge_study(trials, pool_above=1.0), ranges_study(trials)):
        parts = study.components
        gauge, total = parts[VarianceSource.GAUGE].variance, parts[VarianceSource.TOTAL].variance
        reproduce = (
            parts[VarianceSource.REPRODUCIBILITY].variance if VarianceSource.REPRODUCIBILITY in parts else 0.0
        )
        assert parts[VarianceSource.REPEATABILITY].variance + reproduce == pytest.approx(gauge)
        assert gauge + parts[VarianceSource.PART].variance == pytest.approx(total)
        assert all(part.variance >= 0.0 for part in parts.values())
        assert study.gauge_low <= study.gauge.sigma <= study.gauge_high
        assert study.distinct is None or study.distinct >= 0


@given(studies(), shifts, scales)
def test_a_study_does_not_care_for_zero_or_unit(trials, shift, scale):
    plain, other = (gauge_study(each, pool_above=1.0) for each in (trials, moved(trials, shift, scale)))
    for source, part in plain.components.items():
        assert other.components[source].sigma == pytest.approx(part.sigma * scale, rel=1e-5, abs=1e-5 * scale)


@given(studies(), st.randoms(use_true_random=False))
def test_the_order_of_measuring_does_not_matter(trials, dice):
    """A study is run in random order."""
    mixed = list(trials)
    dice.shuffle(mixed)
    plain, other = gauge_study(trials), gauge_study(mixed)
    for source, part in plain.components.items():
        assert other.components[source].variance == pytest.approx(part.variance, rel=1e-9, abs=1e-12)


@given(studies(), st.data())
def test_a_missing_measurement_is_always_refused(trials, data):
    gone = data.draw(st.integers(0, len(trials) - 1))
    assume(len({(t.part, t.operator) for t in trials}) > 1)
    with pytest.raises(InputImpossible):
        gauge_study(trials[:gone] + trials[gone + 1 :])


# ------------------------------------------------------------------------- levels, shares, groups, trends
@given(rows, shifts, scales)
def test_changes_of_level_do_not_care_for_zero_or_unit(row, shift, scale):
    stepped = row + [v + 40.0 for v in row]
    plain, other = level_changes(stepped), level_changes([v * scale + shift for v in stepped])
    assert [c.at for c in plain] == [c.at for c in other]


@given(st.integers(0, 500), st.integers(0, 500))
def test_an_interval_holds_its_share(hits, more):
    got = share_of(hits, hits + more)
    assert 0.0 <= got.low <= got.high <= 1.0
    if got.of:
        assert got.low <= got.share <= got.high
    other = share_of(more, hits + more)
    if got.of:
        assert (1.0 - other.high, 1.0 - other.low) == pytest.approx((got.low, got.high), abs=1e-12)


@given(st.dictionaries(st.text(max_size=5), st.integers(0, 100), max_size=8))
def test_a_pareto_falls_and_ends_at_all(counts):
    bars = pareto(counts)
    assert all(a.count >= b.count for a, b in pairwise(bars))
    assert sum(bar.count for bar in bars) == sum(counts.values())
    if bars:
        assert bars[-1].cumulative == pytest.approx(1.0)


@given(rows, st.integers(1, 4))
def test_groups_explain_between_nothing_and_all(row, groups):
    by = by_group(row, [str(i % groups) for i in range(len(row))])
    assert 0.0 <= by.share <= 1.0
    assert by.p is None or 0.0 <= by.p <= 1.0
    assert sum(group.of.count for group in by.groups) == len(row)


@given(rows, st.integers(-5, 5))
def test_a_slope_added_is_a_slope_found(row, slope):
    plain, other = drift(row), drift([v + slope * i for i, v in enumerate(row)])
    assert other.slope == pytest.approx(plain.slope + slope, abs=1e-9)
