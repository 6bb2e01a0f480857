"""An open pair between touches of two known continuities, or by key; never from an overload alone."""

from dataclasses import replace

import pytest
from acquire.steps.unit import Ruling

from acquire.records import Fit, Outcome, Pair, Step, StepKind
from acquire.steps.matcher import weigh
from acquire.words.prompts import asked
from tests.known_progress import fit, unit
from tests.known_sheets import PLOVER, PLOVER_OPEN, corrected


def at_open_step():
    """A unit of which only the isolation to the core is left."""
    progress = unit(PLOVER_OPEN, brackets=True)
    for step in PLOVER_OPEN.steps[:-1]:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 0.001)
    assert progress.current.name == "charge to core"
    return progress


def at(match, contact_s):
    """The same match of a touch that began at that time."""
    settled = replace(match.corrected.settled, contact_s=contact_s)
    return replace(match, corrected=replace(match.corrected, settled=settled))


def test_open_step_passes_by_key():
    """A pair that must be open passes on the operator's word, never on an overload."""
    progress = at_open_step()
    assert asked(progress.prompt()) == (
        "Clip on core: touch 6, then 1 for two seconds, then 4; or press Enter while on 1."
    )
    assert progress.confirmed_open() == (Outcome.PASS, True)


def strap():
    """A touch of pin 6, which joins the core by the strap."""
    return fit(Fit.OTHER_PAIR, 0.0133, ("6", "core"))


def trigger():
    """A touch of pin 4, which joins the core by the trigger."""
    return fit(Fit.OTHER_PAIR, 83.2, ("4", "core"))


def test_open_step_passes_between_touches_of_strap_and_trigger():
    """Strap, two seconds without contact, trigger: the clip was sound all along."""
    progress = at_open_step()
    progress.lifted(9.0)
    assert progress.admit(at(strap(), 10.0)) is Ruling.PROVED
    assert asked(progress.prompt()) == "Now touch 1 for two seconds, then 4; the clip stays on core."
    progress.lifted(12.0)
    progress.seen_open()
    assert progress.admit(at(trigger(), 14.1)) is Ruling.OPEN
    assert progress.confirmed_open() == (Outcome.PASS, True)


@pytest.mark.parametrize(("gap_s", "shown"), [(1.9, True), (20.0, False)])
def test_a_gap_too_short_or_without_overload_proves_nothing(gap_s, shown):
    """Passed over the pin; or a ground of 5 kilohm, overload too on a range of 200 ohm."""
    progress = at_open_step()
    assert progress.admit(at(strap(), 10.0)) is Ruling.PROVED
    progress.lifted(12.0)
    if shown:
        progress.seen_open()
    assert progress.admit(at(trigger(), 12.0 + gap_s)) is Ruling.HINT
    assert "Clip on core: touch 6" in asked(progress.prompt())


@pytest.mark.parametrize("pause_s", [0.5, 2.5, 60.0])
@pytest.mark.parametrize("value", [strap, trigger])
def test_no_pin_proves_itself_open(pause_s, value):
    """A pin that lies on the core, or on the trigger's lead, touched again and again, however slowly."""
    progress = at_open_step()
    now_s, rulings = 10.0, []
    while Ruling.JUDGE not in rulings:
        rulings.append(progress.admit(at(value(), now_s)))
        progress.lifted(now_s + 1.0)
        progress.seen_open()
        now_s += 1.0 + pause_s
    assert Ruling.OPEN not in rulings
    assert len(rulings) <= 5


STRAP = Step("strap", Pair("6", "core"))


def test_a_continuity_that_failed_on_this_unit_proves_nothing():
    """Pins 1 and 6 in each other's place: pin 1 reads like the strap before and after, and is not open."""
    steps = (STRAP, *(s for s in PLOVER_OPEN.steps if s.kind is StepKind.OPEN))
    progress = unit(replace(PLOVER_OPEN, steps=steps), brackets=True)
    assert progress.state.bracket is None
    assert progress.states[1].bracket is not None
    for _ in range(2):
        progress.confirmed_open()
    assert progress.current.kind is StepKind.OPEN
    assert progress.admit(at(strap(), 10.0)) is Ruling.HINT, "reads like the strap: not where it should be"
    assert progress.admit(at(strap(), 15.0)) is Ruling.JUDGE
    assert "press Enter" in asked(progress.prompt())


def test_what_a_continuity_has_proven_is_asked_again_when_it_fails():
    """The strap is measured last, and is found open."""
    steps = (*(s for s in PLOVER_OPEN.steps if s.kind is StepKind.OPEN), STRAP)
    progress = unit(replace(PLOVER_OPEN, steps=steps), brackets=True)
    progress.admit(at(strap(), 10.0))
    progress.lifted(12.0)
    progress.seen_open()
    assert progress.admit(at(trigger(), 15.0)) is Ruling.OPEN
    progress.confirmed_open()
    for _ in range(2):
        assert progress.current is STRAP
        progress.confirmed_open()
    assert progress.current.kind is StepKind.OPEN
    assert "once more" in asked(progress.prompt())
    assert "Clip on" not in asked(progress.prompt())
    assert progress.confirmed_open() == (Outcome.PASS, True), "a key does it"
    while not progress.done:
        progress.confirmed_open()
    assert progress.outcome is Outcome.FAIL


def test_the_matcher_knows_the_strap_when_it_is_wanted():
    """A dirty touch of the strap is taken as such, for the open step asks for it."""
    progress = at_open_step()
    value = corrected(0.03, 0.02)
    match = weigh(value, progress.current.pair, progress.table, open_pairs=progress.open_pairs)
    assert progress.admit(match) is Ruling.PROVED


def test_a_value_in_between_breaks_the_bracket():
    """The charge coil read in between says nothing about pin 1; a finite value of pin 1 is judged."""
    progress = at_open_step()
    progress.admit(at(strap(), 10.0))
    progress.lifted(12.0)
    progress.seen_open()
    assert progress.admit(at(fit(Fit.OTHER_PAIR, 46.2, ("2", "3")), 13.0)) is Ruling.HINT
    progress.lifted(14.0)
    assert progress.admit(at(trigger(), 16.0)) is Ruling.HINT
    assert progress.admit(at(strap(), 20.0)) is Ruling.PROVED
    assert progress.admit(at(fit(Fit.FAULT, 5100.0), 22.0)) is Ruling.JUDGE


def test_a_wrong_probe_at_an_open_step_is_a_hint():
    """1–2 instead of 1 to core reads like the slow charge, and says nothing about isolation."""
    progress = unit(PLOVER_OPEN)
    for step in PLOVER_OPEN.steps[:-1]:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 0.001)
    assert progress.admit(fit(Fit.OTHER_PAIR, 202.6, ("1", "2"))) is Ruling.HINT
    assert progress.admit(fit(Fit.FAULT, 5100.0)) is Ruling.JUDGE


def test_open_step_without_a_core_needs_the_key():
    """No clip, no bracket."""
    apart = Step("1 to 4", Pair("1", "4"), kind=StepKind.OPEN, open_above_ohm=1e6)
    progress = unit(replace(PLOVER, steps=(apart,)), brackets=True)
    assert asked(progress.prompt()) == "Touch 1–4 (1 to 4), which must be open, and press Enter or the pedal."
