"""Windings found from pairs, and the balance of phases that terminal readings hide."""

import math
from dataclasses import replace

import pytest

from acquire.physics.common import TEMPERATURE, PairReading
from acquire.physics.network import resistance_between
from acquire.records import BalanceKind, Outcome, Pair, Term
from acquire.steps.agreement import balances
from acquire.steps.estimate import estimate, winding_ohms
from acquire.steps.pairs import PairTable
from tests.known_sheets import FATHOM, QUERN, winding

DELTA = replace(
    QUERN,
    branches=tuple(winding(f"phase {a}{b}", a, b, 0.9, 0.04, 100) for a, b in ("UV", "VW", "WU")),
    steps=(),
    balances=(replace(QUERN.balances[0], windings=("phase UV", "phase VW", "phase WU")),),
)
LINES = (Pair("U", "V"), Pair("V", "W"), Pair("U", "W"))


def windings_of(table, readings):
    """Name -> (ohm, standard uncertainty) of the windings that readings determine."""
    return winding_ohms(estimate(table, [PairReading(*reading) for reading in readings], loose=True))


def readings_of(sheet, ohms, pairs, u_share=2e-4):
    """What a unit with these windings reads on the pairs."""
    circuit = [(b.a, b.b, ohms.get(b.name, b.reference_ohm)) for b in sheet.branches]
    ohms = [resistance_between(circuit, *pair) for pair in pairs]
    return [PairReading(pair, ohm, u_share * ohm) for pair, ohm in zip(pairs, ohms, strict=True)]


@pytest.mark.parametrize("factor", [0.95, 0.75, 1.4])
def test_phases_of_a_star_come_out_of_line_readings(factor):
    """Also far from nominal."""
    found = windings_of(PairTable(QUERN), readings_of(QUERN, {"phase V": 0.4404 * factor}, LINES))
    assert found["phase V"][0] == pytest.approx(0.4404 * factor, rel=2e-3)
    assert found["phase U"][0] == pytest.approx(0.4404, rel=2e-3)


def test_a_phase_that_comes_out_below_nothing_is_as_uneven_as_can_be():
    """V–N and both line pairs probed wrongly: the least squares give phase V less than no ohms."""
    ohms = {("U", "V"): 0.44, ("V", "W"): 0.44, ("U", "W"): 0.90, ("U", "N"): 0.46, ("V", "N"): -0.02}
    readings = [PairReading(Pair(*pair), ohm, 0.001) for pair, ohm in ohms.items()]
    assert windings_of(PairTable(QUERN), readings)["phase V"][0] < 0.0
    (found,) = balances(PairTable(QUERN), readings)
    assert found.outcome is Outcome.FAIL
    assert found.worst == "phase V"


def test_phases_of_a_delta_agree_with_the_formula():
    """Against the textbook conversion by way of the equivalent star."""
    readings = readings_of(DELTA, {"phase UV": 0.81}, LINES)
    found = windings_of(PairTable(DELTA), readings)
    uv, vw, uw = (reading.ohm for reading in readings)
    u, v, w = (uv + uw - vw) / 2, (uv + vw - uw) / 2, (vw + uw - uv) / 2
    products = u * v + v * w + w * u
    ours = [found[name][0] for name in ("phase UV", "phase VW", "phase WU")]
    assert ours == pytest.approx([products / w, products / u, products / v], rel=1e-3)


def test_two_per_cent_on_lines_hides_five_per_cent_in_a_phase():
    """Line readings deviate by 1.7 %, the phase by 3.4 % of the mean: fail."""
    readings = readings_of(QUERN, {"phase V": 0.4404 * 0.95}, LINES)
    lines = [reading.ohm for reading in readings]
    mean = sum(lines) / 3
    assert max(abs(ohm - mean) for ohm in lines) / mean < 0.02
    (found,) = balances(PairTable(QUERN), readings)
    assert (found.outcome, found.worst) == (Outcome.FAIL, "phase V")
    assert found.deviation == pytest.approx(2 / 3 * 0.05 / (1 - 0.05 / 3), rel=0.05)
    assert (found.worst, found.kind) == ("phase V", BalanceKind.FROM_MEAN)


def test_balanced_phases_pass():
    """Equal phases, known well."""
    (found,) = balances(PairTable(QUERN), readings_of(QUERN, {}, LINES))
    assert found.outcome is Outcome.PASS


def test_a_poor_meter_cannot_judge_balance():
    """2 % of 0.44 ohm is 9 milliohm; with 20 milliohm of uncertainty nothing can be said."""
    readings = [each._replace(u_ohm=0.02) for each in readings_of(QUERN, {}, LINES)]
    (found,) = balances(PairTable(QUERN), readings)
    assert found.outcome is Outcome.CANNOT_JUDGE


def test_bifilar_pair_may_fail_its_match_alone():
    """Both inside their own 4 %, 1.5 % apart from each other: 0.75 % from the mean, 1 % allowed from it."""
    pairs = (Pair("5", "6"), Pair("7", "8"))
    tight = replace(FATHOM, balances=(replace(FATHOM.balances[0], limit=0.005),))
    readings = readings_of(tight, {"S2": 1.6397 * 0.985}, pairs, u_share=5e-4)
    (found,) = balances(PairTable(tight), readings)
    assert found.outcome is Outcome.FAIL


def test_unmeasured_windings_are_not_judged():
    """One line pair does not tell three phases apart."""
    assert balances(PairTable(QUERN), readings_of(QUERN, {}, LINES[:1])) == ()


@pytest.mark.parametrize(
    ("fraction", "outcome"),
    [
        (0.0150, Outcome.PASS),
        (0.0185, Outcome.CONDITIONAL_PASS),
        (0.0215, Outcome.CONDITIONAL_FAIL),
        (0.0250, Outcome.FAIL),
    ],
)
def test_a_balance_within_its_uncertainty_of_the_limit_is_conditional(fraction, outcome):
    """2 % allowed, the largest deviation known to 0.3 %: the guard band is w = U on either side."""
    readings = readings_of(QUERN, {"phase V": 0.4404 * (1 - 1.5 * fraction)}, LINES, u_share=1e-3)
    (found,) = balances(PairTable(QUERN), readings)
    assert found.deviation == pytest.approx(fraction, rel=0.03)
    assert 0.001 < found.expanded_deviation < 0.004
    assert found.outcome is outcome


def test_what_all_readings_share_cancels_in_a_balance():
    """The thermometer's error of 2 K moves all three phases alike; each touch alone counts."""
    plain = readings_of(QUERN, {}, LINES, u_share=1e-3)
    shared = [
        PairReading(
            pair,
            ohm,
            math.hypot(u, 0.008 * ohm),
            (Term("touch", u), Term("temperature", 0.008 * ohm, shared=((TEMPERATURE, -0.008 * ohm),))),
        )
        for pair, ohm, u, _ in plain
    ]
    (alone,), (together,) = balances(PairTable(QUERN), plain), balances(PairTable(QUERN), shared)
    assert together.expanded_deviation == pytest.approx(alone.expanded_deviation, rel=0.02)


@pytest.mark.parametrize(("apart", "outcome"), [(0.006, Outcome.PASS), (0.02, Outcome.FAIL)])
def test_a_matching_limits_how_far_two_windings_lie_apart(apart, outcome):
    """A rule of 1 % allows 1 % between the two, and says so; each is off their mean by half of that."""
    rule = replace(FATHOM.balances[0], kind=BalanceKind.APART)
    table = PairTable(replace(FATHOM, balances=(rule,)))
    ohms = {step.pair: table.nominal_ohm(step.pair) for step in FATHOM.steps}
    ohms[Pair("7", "8")] *= 1.0 + apart
    (found,) = balances(table, [PairReading(pair, ohm, 1e-4 * ohm) for pair, ohm in ohms.items()])
    assert (found.outcome, found.limit, found.kind) == (outcome, 0.01, BalanceKind.APART)
    assert found.deviation == pytest.approx(apart, rel=0.05)
