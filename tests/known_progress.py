"""A unit's state without a bench, for tests of the rules by which attempts count. Not a test itself."""

import math

from acquire.heart.attempt import Attempt, AttemptKind, refused
from acquire.heart.unit_state import UnitState
from acquire.physics.correct import TOUCH_TERMS
from acquire.records import Fit, Match, Outcome, Pair, StepKind
from acquire.steps.pairs import PairTable
from tests.known_sheets import PLOVER, corrected


def measured(match, step, touch, revision, outcome):
    """The attempt of a value that is judged, as its verdict's record gives it."""
    value = match.corrected
    u_ohm, touch_u_ohm = value.standard_uncertainty_ohm, value.part_ohm(TOUCH_TERMS)
    return Attempt(
        AttemptKind.JUDGED,
        step,
        touch,
        revision,
        outcome,
        value.reference_ohm,
        u_ohm,
        touch_u_ohm,
        fit=match.fit,
        utc_s=value.settled.utc_s,
    )


def unit(sheet=PLOVER, *, warm_check=True, **more):
    """A fresh unit; `warm_check` False leaves the repeated first pair out of a failing one."""
    return UnitState(PairTable(sheet), "P-0001", warm_check=lambda _: warm_check, **more)


def fit(kind, ohm, pair=("1", "2")):
    """A match as the matcher would give it."""
    return Match(corrected(ohm), kind, Pair(*pair), ())


def touch(state, match, outcome=Outcome.PASS):
    """A value at rest, as the bench goes by it: None where it is refused, else whether its verdict counts."""
    number, step = state.touch + 1, state.waiting(match) or state.current
    if step is state.current and state.refuses(match):
        state.apply(refused(match, step.name, number, 0))
        return None
    return state.apply(measured(match, step.name, number, 0, outcome))


def judge(state, outcome=Outcome.PASS, ohm=None, u_ohm=0.001, *, touch_u_ohm=None, step=None):
    """A verdict of the current step, or of another, at its nominal where no value is told; whether it counts.

    One of an infinite value is a key's.
    """
    step = state.current if step is None else step
    ohm = state.table.nominal_ohm(step.pair) if ohm is None else ohm
    number = 0 if math.isinf(ohm) else state.touch + 1
    apart = u_ohm if touch_u_ohm is None else touch_u_ohm
    shared = (("gain", math.sqrt(max(u_ohm**2 - apart**2, 0.0))),)
    return state.apply(
        Attempt(AttemptKind.JUDGED, step.name, number, 0, outcome, ohm, u_ohm, apart, shared=shared)
    )


def find_open(state):
    """The key: nothing conducts between the pins asked for; whether that counts."""
    wanted = state.current.kind is StepKind.OPEN
    return judge(state, Outcome.PASS if wanted else Outcome.FAIL, math.inf, 0.0)


def finish(state, **more):
    """Pass every step at its nominal."""
    while not state.done:
        find_open(state) if math.isinf(state.table.nominal_ohm(state.current.pair)) else judge(state, **more)


def insisted(state, ohm, pair):
    """A value that reads like another pair, and the same once more; whether that counts."""
    assert touch(state, fit(Fit.OTHER_PAIR, ohm, pair)) is None
    return touch(state, fit(Fit.OTHER_PAIR, ohm, pair), Outcome.FAIL)
