"""Where one unit stands: what is asked for, what has passed, what was read. Not for what values do (unit)."""

from __future__ import annotations

from acquire.errors import InputImpossible
from acquire.records import Outcome, Pair, Step, StepKind
from acquire.steps.bracket import bracket_for
from acquire.steps.pairs import PairTable
from acquire.steps.recheck import known_readings
from acquire.steps.step_state import StepState
from acquire.steps.warm import WARM_CHECK, movement
from acquire.unit_result import measured


class Standing:
    """The steps of one unit and what follows from them."""

    def __init__(self, table: PairTable, serial: str, *, brackets: bool) -> None:
        """Take the steps of the sheet; typed ones are not asked for at the bench.

        Args:
            table: of the unit's sheet.
            serial: identity of the unit.
            brackets: whether open steps may be proven by a known continuity.
        """
        self.table = table
        self.serial = serial
        self.states = [
            StepState(
                step,
                bracket=bracket_for(table, step) if brackets and step.kind is StepKind.OPEN else None,
            )
            for step in table.sheet.steps
            if step.kind is not StepKind.TYPED
        ]
        self._focus: str = ""
        self._last: str = ""  # the step judged last since the start of this run
        self._touched_again: bool = False  # whether it was measured again by touch since

    @property
    def state(self) -> StepState | None:
        """The step that is asked for now; None when the unit is done."""
        first = None  # asked for at every reading, so it looks no further than it must
        for state in self.states:
            if state.done:
                continue
            if not self._focus or state.step.name == self._focus:
                return state
            first = first or state
        return first

    @property
    def current(self) -> Step | None:
        """The step to measure now; None when the unit is done."""
        state = self.state
        return state.step if state else None

    @property
    def attempt(self) -> int:
        """Number of the attempt that comes next at the current step, from 1."""
        state = self.state
        return state.attempts + 1 if state else 0

    @property
    def done(self) -> bool:
        """Every step has a verdict that counts, or was left out."""
        return self.state is None

    @property
    def total(self) -> int:
        """Steps of the unit, the warm check once it is due."""
        return len(self.states)

    @property
    def passed(self) -> int:
        """Steps whose counting verdict is a pass, conditional ones included."""
        return sum(s.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS) for s in self.states)

    @property
    def outcome(self) -> Outcome | None:
        """Worst outcome that counts; None before any. A step left out cannot be part of a pass."""
        there = [state.outcome for state in self.states if state.done]
        return measured(there, (), whole=True)

    def readings(self) -> tuple[tuple[Pair, float, float], ...]:
        """(pair, ohm, standard uncertainty) of everything that counts; infinite where confirmed open."""
        return tuple(
            (state.step.pair, state.ohm, state.u_ohm)
            for state in self.states
            if state.outcome is not None and state.ohm is not None and state.step.name != WARM_CHECK
        )

    def touch_readings(self) -> tuple[tuple[Pair, float, float], ...]:
        """As `readings`, with the uncertainty that differs from touch to touch, for comparing windings."""
        return tuple(
            (state.step.pair, state.ohm, state.repeat_u_ohm)
            for state in self.states
            if state.outcome is not None and state.ohm is not None and state.step.name != WARM_CHECK
        )

    def known(self) -> dict[Pair, tuple[float, float]]:
        """Finite readings that have passed, for the matcher."""
        return known_readings(self.states, None, passing=True)

    def moved(self) -> float | None:
        """How far the first resistance has moved during the test; see `acquire.steps.warm.movement`."""
        return movement(self.states, self.table.sheet.warm_limit)

    @property
    def still_warm(self) -> bool:
        """The first resistance has moved by more than the sheet allows."""
        return abs(self.moved() or 0.0) > self.table.sheet.warm_limit

    def lifted(self, monotonic_s: float) -> None:
        """The probes have left; needed for open steps that are bracketed by a known continuity."""
        state = self.state
        if state is not None and state.bracket is not None:
            state.bracket.lifted(monotonic_s)

    def seen_open(self) -> None:
        """The meter shows overload that would prove the pair of an open step open."""
        state = self.state
        if state is not None and state.bracket is not None:
            state.bracket.seen_open()

    def _open_state(self) -> StepState:
        state = self.state
        if state is None:
            raise InputImpossible(f"All steps of {self.serial} are done.", "Take the next unit.")
        return state

    def _named(self, step_name: str) -> StepState:
        for state in self.states:
            if state.step.name == step_name:
                return state
        names = ", ".join(state.step.name for state in self.states)
        raise InputImpossible(f'There is no step "{step_name}".', f"The steps are {names}.")
