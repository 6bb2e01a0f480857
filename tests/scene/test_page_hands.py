"""Hands that linger or hurry, at every shipped sheet: the page keeps each verdict and scolds nobody."""

from __future__ import annotations

import contextlib

import pytest

from acquire.page.backend import About
from acquire.page.spoken import Sound
from acquire.page.view import BenchView
from acquire.records import Contact, Judged, Purpose, UnitResult
from tests.benchmarks.operator import GOALS, Timed

SCOLDING = {Sound.WRONG_PAIR, Sound.ATTENTION, Sound.NOTHING_FELT, Sound.NOT_YET, Sound.FAIL}


class Watched(Timed):
    """A bench with a page before it, of which everything that may be wrong is kept."""

    def __init__(self, name, **how):
        super().__init__(name, **how)
        self.view = BenchView(About("bench", Purpose.INCOMING, "meter", "", "test"))
        self.view.on(self.table)
        self.stands, self.wrong = False, []

    def _show(self, events):
        for event in events:
            self.view.show(event)
            state = self.view.state()
            if isinstance(event, Judged):
                self.stands = True
            elif isinstance(event, UnitResult) or (isinstance(event, Contact) and not event.goes_on):
                self.stands = False
            self.wrong += [state["hint"]] if state["hint"] else []
            self.wrong += [warning["text"] for warning in state["warnings"]]
            self.wrong += [cue.sound for cue in self.view.take_cues() if cue.sound in SCOLDING]
            if self.stands and state["phase"] != "verdict":
                self.wrong.append(f"the verdict gave way to {state['phase']} at {type(event).__name__}")
        super()._show(events)


@pytest.mark.parametrize("name", GOALS)
@pytest.mark.parametrize("linger_s", [0.1, 5.0])
@pytest.mark.parametrize("hurried", [pytest.param(False, marks=pytest.mark.long), True])
def test_no_hint_no_warning_no_lost_verdict(name, linger_s, hurried):
    """A good unit; hands go on a tenth of a second or five seconds after the sound."""
    for number in range(2):
        meter = "bench" if name == "fathom-7" else "bench-quick"  # its milliohms want five mains cycles
        bench = Watched(name, meter=meter, hurried=hurried, react=(linger_s, linger_s))
        with contextlib.closing(bench):
            assert bench.unit_of(number).outcome not in (None, "fail", "conditional_fail")
        assert not bench.wrong
