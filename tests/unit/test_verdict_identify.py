"""Which type a core is of, and that a stranger is of none: same connector, other windings."""

import math

import numpy as np
import pytest

from acquire.physics.common import PairReading
from acquire.records import BranchKind, Pair
from acquire.verdict.diagnose import log_evidence
from acquire.verdict.identify import identify
from tests.known_sheets import FATHOM, PLOVER, QUERN
from tests.later import norm
from tests.true_units import Errors, measured

KNOWN = (PLOVER, QUERN, FATHOM)


def read(sheet, dice, factor=lambda _: 1.0):
    """A core joined like a type, each winding times a factor, on a bench with six digits."""
    ohms = {b.name: b.reference_ohm * factor(b) for b in sheet.branches if b.kind is BranchKind.WINDING}
    return measured(sheet, [Pair(*step.pair) for step in sheet.steps], Errors.drawn(dice), ohms=ohms)


def test_strangers_are_of_no_known_type():
    """Windings of a third to three times those of a twin: of eight at most one is called by its name."""
    dice = np.random.default_rng(23)
    none = 0
    for number in range(8):
        sheet = KNOWN[number % 3]
        found = identify(KNOWN, read(sheet, dice, lambda _: math.exp(dice.uniform(-1.1, 1.1))))
        none += found[0].sheet is None
    assert none >= 7


def test_one_reading_is_a_stranger_s_by_bayes_rule():
    """Prior 0.3 and five decades evenly, against 0.7 and what the sheet makes of it."""
    readings = [PairReading(Pair("1", "2"), 203.0, 0.5)]
    stranger = 0.3 * 0.95 / (203.0 * math.log(1e5))
    known = 0.7 * math.exp(log_evidence(PLOVER, readings))
    none = next(each for each in identify([PLOVER], readings) if each.sheet is None)
    assert none.probability == pytest.approx(stranger / (stranger + known))


def test_a_stranger_s_readings_follow_from_each_other():
    """Joined like a Plover: two windings lie anywhere in five decades, 1-3 reads both within half an ohm."""
    ohms = {("1", "2"): 300.0, ("2", "3"): 100.0, ("1", "3"): 400.0}
    readings = [PairReading(Pair(*pair), ohm, 1e-3 * ohm) for pair, ohm in ohms.items()]
    chance = {each.sheet: each.probability for each in identify([PLOVER], readings)}
    found = math.log(chance[None] / chance[PLOVER]) + math.log(0.7) + log_evidence(PLOVER, readings)
    anywhere = -math.log(300.0 * math.log(1e5)) - math.log(100.0 * math.log(1e5))
    both = norm.logpdf(0.0, 0.0, math.hypot(0.3, 0.1, 0.4))
    assert found == pytest.approx(math.log(0.3) + 3.0 * math.log(0.95) + anywhere + both, abs=0.05)


def test_cores_of_known_types_are_recognised_good_faulty_and_warm():
    """Good; the first winding a third shorted; all of it 30 K warm."""
    dice = np.random.default_rng(5)
    for sheet in KNOWN:
        first = next(b for b in sheet.branches if b.kind is BranchKind.WINDING)
        for factor in (lambda _: 1.0, lambda b, f=first: 0.67 if b is f else 1.0, lambda _: 1.118):
            assert identify(KNOWN, read(sheet, dice, factor))[0].sheet is sheet
