"""The matrix solver of the diagnosis against the star-mesh solver of the physics room."""

import math

import numpy as np
import pytest

from acquire.physics.common import PairReading
from acquire.physics.network import resistance_between
from acquire.records import Pair, Purpose
from acquire.steps.pairs import PairTable
from acquire.verdict.casebook import FaultModel
from acquire.verdict.circuits import crossed, evenly, healthy, log_sizes
from acquire.verdict.diagnose import casebook, information
from acquire.verdict.dictionary import NEW_WINDING, PRIORS, Case, cases, double_cases
from acquire.verdict.solving import whitened
from acquire.verdict.weighing import Slips, with_slips
from tests.known_sheets import FATHOM, PLOVER, QUERN
from tests.later import multivariate_normal, norm, quad, special


@pytest.mark.parametrize("sheet", [PLOVER, QUERN, FATHOM], ids=lambda sheet: sheet.name)
def test_two_solvers_agree_on_every_fault(sheet):
    """Two ways of reckoning that share no code, within a part in a million (a strap beside a megohm)."""
    book = FaultModel(cases(sheet, Purpose.INCOMING), healthy(sheet), PairTable(sheet).pairs())
    circuits = [circuit for case in book.cases for circuit in case.circuits]
    for number in range(0, len(circuits), 17):
        circuit = circuits[number]
        branches = [(e.a, e.b, e.ohm) for e in circuit.elements]
        for column, (a, b) in enumerate(book.pairs):
            ohm = resistance_between(branches, circuit.places.get(a, a), circuit.places.get(b, b))
            assert book.laws.conducts[number, column] == math.isfinite(ohm)
            if math.isfinite(ohm):
                expected = pytest.approx(ohm + circuit.zero_ohm, rel=1e-6)
                assert book.laws.mean_ohm[number, column] == expected


def test_distances_agree_with_numpy():
    """The factor written out over pairs, against numpy's own solver and determinant."""
    dice = np.random.default_rng(3)
    root = dice.standard_normal((50, 6, 6))
    block, rest = root @ root.transpose(0, 2, 1) + 0.1 * np.eye(6), dice.standard_normal((50, 6))
    columns = np.stack([rest, dice.standard_normal((50, 6))], axis=1)
    white, log_det = whitened(np.ascontiguousarray(block.transpose(1, 2, 0)), columns.transpose(2, 1, 0))
    expected = columns @ np.linalg.solve(block, columns.transpose(0, 2, 1))
    assert np.einsum("pan,pbn->nab", white, white) == pytest.approx(expected)
    assert log_det == pytest.approx(np.linalg.slogdet(block)[1])


def test_sizes_cover_their_range_evenly():
    """As many laws below the middle of the range as above, weights adding up to one."""
    sizes = log_sizes(0.1, 10.0)
    assert sum(weight for _, _, weight in sizes) == pytest.approx(1.0)
    assert sum(centre < 1.0 for centre, _, _ in sizes) == pytest.approx(len(sizes) / 2, abs=0.5)
    assert min(centre - sd for centre, sd, _ in sizes) > 0.0


def test_every_case_has_a_prior_and_circuits():
    """And the places of a fault share its weight."""
    listed = cases(QUERN, Purpose.INCOMING)
    assert {case.fault for case in listed} <= set(PRIORS)
    assert all(case.circuits and case.prior > 0.0 for case in listed)
    shorted = [case.prior for case in listed if case.fault == "shorted_turns"]
    assert sum(shorted) == pytest.approx(PRIORS["shorted_turns"])


def test_evidence_of_a_joint_agrees_with_direct_integration():
    """scipy integrates the density of the readings over every size of joint, log-uniform 0.05 to 50 ohm.

    The casebook uses a mixture of normal laws for the sizes, which costs a few per cent.
    """
    pairs = [Pair("1", "2"), Pair("2", "3"), Pair("1", "3")]
    ohms, u_ohms = np.array([214.6, 58.2, 248.7]), np.array([0.3, 0.1, 0.3])
    book = casebook(PLOVER, Purpose.INCOMING)
    told = book.explain(list(map(PairReading, pairs, ohms, u_ohms)))
    case = next(i for i, c in enumerate(book.cases) if c.faults == (("bad_joint", ("2",)),))
    own = book.laws.case == case
    weights = np.exp(book.laws.log_prior[own]) / book.cases[case].prior
    ours = float((weights * np.exp(told.log_like[own])).sum())

    table = PairTable(PLOVER)
    nominal = np.array([table.nominal_ohm(pair) for pair in pairs])
    shares = np.array([table.path(pair).shares for pair in pairs])
    sds = np.array([branch.spread * branch.reference_ohm for branch in table.branches])
    covariance = (shares * sds**2) @ shares.T + np.diag(u_ohms**2)
    lean = np.array([1.0, 1.0, 0.0])

    def density(log_size):
        return multivariate_normal.pdf(ohms, nominal + np.exp(log_size) * lean, covariance)

    low, high = np.log(0.05), np.log(50.0)
    theirs = quad(density, low, high, points=[np.log(12.0)], limit=200)[0] / (high - low)
    slips = np.log1p(-3e-4) * 3
    assert np.log(ours) - slips == pytest.approx(np.log(theirs), abs=0.1)


@pytest.mark.parametrize(("x", "y", "ohm"), [(0.993, 0.807, 0.55), (0.98, 0.763, 7.7), (0.53, 0.02, 27.0)])
def test_evidence_of_windings_that_touch_near_their_common_end(x, y, ohm):
    """The dictionary's few places against many even ones: slow charge at x, fast charge at y, through ohm."""
    pairs = [Pair("1", "2"), Pair("2", "3"), Pair("1", "3")]
    slow, fast = (
        next(b for b in PLOVER.branches if b.name == f"{which} charge") for which in ("slow", "fast")
    )
    branches = [(b.a, b.b, b.reference_ohm) for b in PLOVER.branches if b not in (slow, fast)]
    for winding, share, tap in ((slow, x, "s"), (fast, y, "f")):
        branches.append((winding.a, tap, share * winding.reference_ohm))
        branches.append((tap, winding.b, (1.0 - share) * winding.reference_ohm))
    ohms = [resistance_between([*branches, ("s", "f", ohm)], *pair) for pair in pairs]
    where = (slow.name, fast.name)
    ours = next(c for c in cases(PLOVER, Purpose.INCOMING) if c.faults == (("winding_to_winding", where),))
    many = tuple(crossed(healthy(PLOVER), *where, evenly(16), log_sizes(0.1, 3e5, 1.6)))
    evidence = []
    for circuits in (ours.circuits, many):
        book = FaultModel([Case(ours.faults, 1.0, circuits)], healthy(PLOVER), pairs)
        told = book.explain([PairReading(p, ohm, 1e-3 * ohm) for p, ohm in zip(pairs, ohms, strict=True)])
        evidence.append(np.logaddexp.reduce(book.laws.log_prior + told.log_like))
    assert evidence[0] == pytest.approx(evidence[1], abs=1.5)


def test_information_of_a_pair_agrees_with_sampling():
    """The expected information of the next reading, against a plain Monte Carlo estimate of the same."""
    book = casebook(PLOVER, Purpose.INCOMING)
    readings = [PairReading(Pair("1", "2"), 214.6, 0.3)]
    told = book.explain(readings)
    posterior = np.exp(book.laws.log_prior + told.log_like)
    likely = (posterior / posterior.sum() > 1e-3) & book.laws.conducts[:, book.columns([Pair("2", "3")])[0]]
    posterior = np.where(likely, posterior, 0.0) / posterior[likely].sum()
    ours = information(book, readings, posterior)[Pair("2", "3")]

    one, other = book.columns([Pair("1", "2"), Pair("2", "3")])
    laws, index = book.laws, np.flatnonzero(posterior)
    covariance = laws.covariance.at(np.array([one, other]), index)
    variance = covariance[:, 0, 0] + 0.3**2
    gain = covariance[:, 0, 1] / variance
    mean = laws.mean_ohm[index, other] + gain * (214.6 - laws.mean_ohm[index, one])
    width = np.sqrt(covariance[:, 1, 1] - gain * covariance[:, 0, 1] + (0.3 / 214.6 * mean) ** 2)
    dice = np.random.default_rng(1)
    drawn = dice.choice(len(index), 20_000, p=posterior[index])
    value = mean[drawn] + width[drawn] * dice.standard_normal(len(drawn))
    density = norm.pdf(value[:, None], mean, width) * posterior[index]
    same = laws.case[index][drawn][:, None] == laws.case[index]
    of_case = np.array([posterior[laws.case == laws.case[index[d]]].sum() for d in drawn])
    theirs = np.log((density * same).sum(axis=1) / of_case / density.sum(axis=1)).mean()
    assert ours == pytest.approx(theirs, abs=0.03)


@pytest.mark.parametrize("sheet", [PLOVER, QUERN, FATHOM], ids=lambda sheet: sheet.name)
@pytest.mark.parametrize("listed", [cases, double_cases])
def test_the_sizes_of_a_case_share_all_of_its_weight(sheet, listed):
    """Whatever a fault's size: its prior is that of the fault alone."""
    for case in listed(sheet, Purpose.INCOMING):
        assert math.fsum(circuit.weight for circuit in case.circuits) == pytest.approx(1.0), case.faults


def test_what_was_just_wound_fails_by_the_winder_s_hand():
    """Its weights are more than those of a core that came in, but for turns that wore through."""
    assert {fault for fault, weight in NEW_WINDING.items() if weight <= PRIORS[fault]} == {"shorted_turns"}
    for weights in (PRIORS, NEW_WINDING):
        assert weights["wire_too_thin"] == weights["wire_too_thick"]
        assert weights["too_few_turns"] == weights["too_many_turns"]
    assert max(PRIORS, key=PRIORS.get) == "healthy"
    assert PRIORS["cold"] < PRIORS["warm"]


def test_warm_and_cold_units_read_by_the_coefficient_of_copper():
    """IEC 60034-1: ohms go as 234.5 + t, here by the kelvin of each size, on either side."""
    good = {e.name: e.ohm for e in healthy(PLOVER).elements}
    for fault, side, most in (("warm", 1.0, 60.0), ("cold", -1.0, 15.0)):
        (case,) = [case for case in cases(PLOVER, Purpose.INCOMING) if case.fault == fault]
        for circuit in case.circuits:
            share = 1.0 + side * circuit.sizes[0] / 254.5
            assert circuit.element("trigger").ohm == pytest.approx(share * good["trigger"], rel=1e-6)
        assert max(circuit.sizes[0] for circuit in case.circuits) > most


def test_a_wrong_probe_shares_its_chance_among_its_alternatives():
    """The sum of what all names would give, by scipy's logsumexp."""
    book = casebook(QUERN, Purpose.INCOMING)
    readings = [PairReading(Pair("V", "N"), 0.45, 1e-3), PairReading(Pair("U", "V"), 0.9, 1e-3)]
    slips = Slips(((0, Pair("U", "N")), (0, Pair("W", "N")), (1, Pair("V", "W"))), 0.02)
    told, _ = with_slips(book, readings, slips)
    parts = [book.explain(readings).log_like]
    for index, other in slips.each:
        pairs = [other if k == index else r.pair for k, r in enumerate(readings)]
        parts.append(book.explain(readings, pairs).log_like + math.log(0.01 if index == 0 else 0.02))
    assert told.log_like == pytest.approx(special.logsumexp(parts, axis=0))


def test_a_wrong_wire_is_half_a_gauge_or_a_whole_one_off():
    """Ohms go as 92^(2/39) a gauge (ASTM B258); turns and shorts lower or raise, by what they are."""
    good = {e.name: e.ohm for e in healthy(PLOVER).elements}

    def shares(fault):
        found = [case for case in cases(PLOVER, Purpose.INCOMING) if case.fault == fault]
        return [[c.element(case.where[0]).ohm / good[case.where[0]] for c in case.circuits] for case in found]

    half, whole = 92.0 ** (1.0 / 39.0), 92.0 ** (2.0 / 39.0)
    assert all(each == pytest.approx([half, whole], rel=2e-3) for each in shares("wire_too_thin"))
    assert all(each == pytest.approx([1 / half, 1 / whole], rel=2e-3) for each in shares("wire_too_thick"))
    aluminium = 0.02826 / 0.017241  # of copper's resistivity at 20 °C: IEC 60889, IEC 60028; from memory
    assert all(each == pytest.approx([aluminium], rel=1e-3) for each in shares("aluminium_wire"))
    for fault, low, high in (
        ("shorted_turns", 0.1, 1.0),
        ("too_few_turns", 0.9, 1.0),
        ("too_many_turns", 1.0, 1.1),
    ):
        assert all(low < share < high for each in shares(fault) for share in each)
        assert max(abs(1.0 - share) for each in shares(fault) for share in each) > 0.06


def test_probes_that_touched_each_other_crash_no_advice():
    """A reading of nothing has no share of itself; the other pairs are worth something all the same."""
    book = casebook(PLOVER, Purpose.INCOMING)
    readings = [PairReading(Pair("4", "core"), 0.0, 0.01)]
    worth = information(book, readings, np.exp(book.laws.log_prior + book.explain(readings).log_like))
    assert Pair("4", "core") not in worth
    assert max(worth.values()) > 0.0
