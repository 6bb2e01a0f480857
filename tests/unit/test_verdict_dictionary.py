"""The fault dictionary: how often each fault is, how large it may be, and what a tapped winding keeps."""

import math
from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from acquire.records import BranchKind, Pair, Purpose
from acquire.verdict.circuits import bridged, evenly, healthy
from acquire.verdict.dictionary import cases
from acquire.verdict.solving import causes, solve
from tests.known_sheets import PLOVER, QUERN

INCOMING = {
    "healthy": 560,
    "warm": 56,
    "cold": 11,
    "lead_zero": 17,
    "open_winding": 56,
    "open_pin": 39,
    "shorted_turns": 84,
    "bad_joint": 84,
    "too_few_turns": 11,
    "too_many_turns": 11,
    "wire_too_thin": 6,
    "wire_too_thick": 6,
    "aluminium_wire": 2,
    "grounded": 39,
    "winding_to_winding": 6,
    "swapped_pins": 11,
    "star_delta": 6,
}
WOUND = {
    "shorted_turns": 46,
    "bad_joint": 128,
    "too_few_turns": 26,
    "too_many_turns": 26,
    "wire_too_thin": 8,
    "wire_too_thick": 8,
    "swapped_pins": 26,
    "star_delta": 15,
}


@pytest.mark.parametrize(("purpose", "odds"), [(Purpose.INCOMING, INCOMING), (Purpose.FINAL, WOUND)])
def test_of_a_thousand_units_so_many_have_each_fault(purpose, odds):
    """A shop's own guess of its units, to a factor of 1.5: no published shares exist for this trade."""
    weights = defaultdict(float)
    for case in cases(QUERN, purpose):
        weights[case.fault] += case.prior
    for fault, of_a_thousand in odds.items():
        share = 1000.0 * weights[fault] / sum(weights.values())
        assert of_a_thousand / 1.5 < share < of_a_thousand * 1.5, fault


RANGES = {
    "warm": (1.5, 90.0),  # a touch of sun, an oven at 110 °C
    "cold": (1.5, 25.0),  # from a cold store
    "lead_zero": (0.04, 2.0),  # four times what zeros repeat to, a broken lead
    "shorted_turns": (0.01, 0.9),  # a few turns, nearly all
    "too_few_turns": (0.005, 0.08),  # a counter off by some per cent
    "too_many_turns": (0.005, 0.08),
    "bad_joint": (0.05, 50.0),  # a twentieth of an ohm, a cold joint
    "grounded": (0.1, 3e5),  # iron that touches, a damp slot
    "winding_to_winding": (0.1, 3e5),
}


@pytest.mark.parametrize("fault", list(RANGES))
def test_sizes_reach_from_end_to_end(fault):
    """Kelvin, ohms, or shares of a winding; common practice, no source. Steps are at most 2.2 wide."""
    sizes = [
        c.sizes[-1] for case in cases(QUERN, Purpose.INCOMING) if case.fault == fault for c in case.circuits
    ]
    least, most = RANGES[fault]
    assert least < min(sizes) < 1.5 * least
    assert most / 1.5 < max(sizes) < most


STEP = 92.0 ** (1.0 / 39.0)
"""From one American gauge to the next, diameters (ASTM B258); the areas of half a step differ by it."""


@pytest.mark.parametrize(
    ("fault", "shares"),
    [
        ("wire_too_thin", (STEP - 1.0, STEP**2 - 1.0)),
        ("wire_too_thick", (1.0 - 1.0 / STEP, 1.0 - 1.0 / STEP**2)),
        ("aluminium_wire", (0.02826 / 0.017241 - 1.0,)),  # IEC 60889, IEC 60028; from memory
    ],
)
def test_a_wrong_wire_has_the_ohms_of_its_gauge_or_metal(fault, shares):
    """Half and whole steps; known to 1 to 3 %, as wire spreads that is sold by its gauge."""
    case = next(case for case in cases(PLOVER, Purpose.INCOMING) if case.fault == fault)
    assert [circuit.sizes[0] for circuit in case.circuits] == pytest.approx(shares, abs=2e-3)
    assert all(0.005 < circuit.directions[0].sd < 0.05 for circuit in case.circuits)


def test_a_broken_strand_leaves_the_others():
    """One of two: twice the ohms; of three: half as many again. Known as well as wire is."""
    for strands, more in ((2, 1.0), (3, 0.5)):
        sheet = replace(QUERN, branches=tuple(replace(b, strands=strands) for b in QUERN.branches))
        found = [case for case in cases(sheet, Purpose.INCOMING) if case.fault == "strand_broken"]
        assert found
        assert all(case.circuits[0].sizes == pytest.approx((more,)) for case in found)
        assert all(0.005 < case.circuits[0].directions[0].sd < 0.05 for case in found)


def test_the_sizes_of_a_fault_share_its_weight_and_places_lie_inside():
    """How finely a size is divided says nothing of how often the fault is; none takes more than all."""
    for case in cases(QUERN, Purpose.INCOMING):
        assert sum(circuit.weight for circuit in case.circuits) == pytest.approx(1.0)
        for circuit in case.circuits:
            bounds = [d.high for d in circuit.directions[: len(circuit.sizes)]]
            if case.fault in {"shorted_turns", "too_few_turns", "wire_too_thick"}:
                assert bounds == [1.0]
            if case.fault in {"grounded", "winding_to_winding"}:
                assert bounds[:-1] == [1.0] * (len(bounds) - 1)
                assert all(0.0 < place < 1.0 for place in circuit.sizes[:-1])


def test_windings_wound_together_differ_by_a_tenth_of_their_spread():
    """The rest is of one spool and one hand: their difference has sqrt(2) tenths, their sum nearly all."""
    names = [b.name for b in QUERN.branches if b.kind is BranchKind.WINDING][:2]
    sheet = replace(QUERN, balances=(), bifilar=(tuple(names),))
    good = healthy(sheet)
    for name in names:
        branch = next(b for b in sheet.branches if b.name == name)
        assert good.element(name).sd_ohm == pytest.approx(0.1 * branch.spread * branch.reference_ohm)
        (together,) = good.directions
        whole = math.hypot(good.element(name).sd_ohm, together.sd * together.parts[name])
        assert whole == pytest.approx(branch.spread * branch.reference_ohm)


def test_a_tapped_winding_spreads_as_a_whole_one():
    """A fault of a megohm changes nothing: the winding's own spread is that of both parts together."""
    name = PLOVER.branches[0].name
    whole = healthy(PLOVER)
    element = whole.element(name)
    pair = [Pair(element.a, element.b)]
    tapped = list(bridged(whole, name, PLOVER.core, evenly(3), ((1e6, 0.0, 1.0),)))
    rows = causes(tapped)
    found = solve(tapped, pair, np.ones(1, dtype=bool), rows)
    alone = solve([whole], pair, np.ones(1, dtype=bool))
    sizes = len(rows[0]) + np.arange(2)
    spread = np.square(np.delete(found.moves, sizes, axis=1)).sum(axis=(1, 2))
    assert spread == pytest.approx(np.square(alone.moves).sum(), rel=1e-4)
    assert found.mean_ohm == pytest.approx(np.full((3, 1), element.ohm), rel=1e-4)
    assert math.sqrt(spread[0]) == pytest.approx(PLOVER.branches[0].spread * element.ohm, rel=1e-4)
