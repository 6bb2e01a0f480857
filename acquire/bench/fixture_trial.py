"""`steadyohm fixture BENCH`: do the relays of a fixture open and close, each by itself?

With nothing clipped in, or with a plug that joins all pins. What can be told differs: see `findings`. Not for
units.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterator, Callable, Mapping
from contextlib import aclosing
from dataclasses import dataclass, field
from typing import cast

from acquire.bench.fixture import Wiring
from acquire.bench.fixture_setup import FixtureUnfit, card_for, wiring_of
from acquire.bench.instruments import ohmmeter
from acquire.clock import RealClock
from acquire.files.settings import Bench
from drivers.meter import Setup
from drivers.reading import Kind, Quantity, Reading
from drivers.scpi.switch_card import SwitchCard

LOOKS = 3
"""So many overloads in a row make a path open: a meter finds its range meanwhile."""


@dataclass(slots=True)
class Trial:
    """What was read of each path.

    Attributes:
        wiring: of the fixture.
        separate_contacts: each bus reaches a pin by a contact of its own.
        plugged: a plug joins all pins; else nothing is clipped in.
        nothing_ohm: with every relay open; None: overload.
        high_alone, low_alone: with one relay closed, by its pin.
        pairs: with two relays closed, by pin on the high and pin on the low bus.
    """

    wiring: Wiring
    separate_contacts: bool
    plugged: bool
    nothing_ohm: float | None = None
    high_alone: dict[str, float | None] = field(default_factory=dict)
    low_alone: dict[str, float | None] = field(default_factory=dict)
    pairs: dict[tuple[str, str], float | None] = field(default_factory=dict)

    def findings(self) -> list[str]:
        """One sentence for each thing that is wrong; empty where nothing is.

        Where both buses share a pin's wire, everything can be told without a plug. With separate contacts and
        nothing clipped in, no path is ever closed, so that only a short shows; with a plug a dead relay is
        named, and a stuck one by its bus.
        """
        found = []
        if self.nothing_ohm is not None:
            found.append(
                f"With every relay open {self.nothing_ohm:.3g} Ω is read: both buses have a stuck one."
            )
        found += self._stuck("high", "low", self.low_alone, self.wiring.high)
        found += self._stuck("low", "high", self.high_alone, self.wiring.low)
        if found:
            return found  # with a stuck relay every other path says the same again
        return [*self._dead(), *self._shorts()]

    def _stuck(
        self, bus: str, other: str, alone: dict[str, float | None], channels: Mapping[str, int]
    ) -> list[str]:
        pins = [pin for pin, ohm in alone.items() if ohm is not None]
        if not pins:
            return []
        if len(pins) == len(alone) and len(alone) > 1:
            return [f"Any relay of the {other} bus alone conducts: one of the {bus} bus is stuck closed."]
        return [
            f"{pin}'s {bus} relay (channel {channels[pin]}) is stuck closed: the {other} one alone conducts."
            for pin in pins
        ]

    def _dead(self) -> list[str]:
        """Relays without any path that conducts, though one should."""
        expected = [pair for pair in self.pairs if self._joined(pair)]
        found = []
        for at, (bus, channels) in enumerate((("high", self.wiring.high), ("low", self.wiring.low))):
            for pin in channels:
                through = [self.pairs[pair] for pair in expected if pair[at] == pin]
                if through and all(ohm is None for ohm in through):
                    found.append(f"{pin} on the {bus} bus (channel {channels[pin]}) does not conduct.")
        return found

    def _shorts(self) -> list[str]:
        return [
            f"{high} and {low} conduct, {ohm:.3g} Ω, with nothing clipped in: a short in the fixture."
            for (high, low), ohm in self.pairs.items()
            if ohm is not None and not self._joined((high, low)) and high < low
        ]

    def _joined(self, pair: tuple[str, str]) -> bool:
        return self.plugged or (pair[0] == pair[1] and not self.separate_contacts)


async def tried(
    bench: Bench, *, plugged: bool, progress: Callable[[str], None] = lambda _text: None
) -> Trial:
    """Try every relay of a bench's fixture.

    Args:
        bench: with a `[fixture]` table.
        plugged: whether a plug joins all pins.
        progress: told what is tried.

    Raises:
        FixtureUnfit: the bench has none.
        MeterError: meter or card cannot be reached, or the card itself says that a relay does not move.
    """
    fixture = bench.fixture
    if fixture is None:
        raise FixtureUnfit(f"{bench.file} has no [fixture] table.", "configs/README.md shows one.")
    meter = ohmmeter(bench, RealClock())
    trial = Trial(wiring_of(fixture), fixture.separate_contacts, plugged)
    async with meter, card_for(bench, meter) as card:
        await meter.configure(Setup(Quantity.RESISTANCE, None, bench.meter.integration_plc))
        async with aclosing(cast("AsyncGenerator[Reading]", meter.readings())) as source:
            await _try_all(trial, card, source, progress)
        await card.open_all()
    return trial


async def _try_all(
    trial: Trial, card: SwitchCard, source: AsyncIterator[Reading], progress: Callable[[str], None]
) -> None:
    wiring, pins = trial.wiring, list(trial.wiring.high)
    await card.open_all()
    trial.nothing_ohm = await _read(source)
    for pin in pins:
        progress(pin)
        await card.connect([wiring.high[pin]])
        trial.high_alone[pin] = await _read(source)
        await card.connect([wiring.low[pin]])
        trial.low_alone[pin] = await _read(source)
        for other in pins:
            await card.connect([wiring.high[pin], wiring.low[other]])
            trial.pairs[pin, other] = await _read(source)


async def _read(source: AsyncIterator[Reading]) -> float | None:
    """What is read on a path; None where it is open."""
    for _ in range(LOOKS):
        reading = await anext(source)
        if reading.kind is Kind.VALUE:
            return reading.value_si
    return None


def trial_lines(trial: Trial) -> list[str]:
    """The outcome for people."""
    count = len(trial.wiring.high)
    with_what = "a plug that joins all pins" if trial.plugged else "nothing clipped in"
    lines = [f"{count} pins, {len(trial.wiring.all())} channels, with {with_what}:"]
    findings = trial.findings()
    lines += findings or ["every relay opens and closes as it should."]
    if trial.separate_contacts and not trial.plugged:
        lines.append(
            "With contacts of its own for each bus, only a plug (--plug) tells dead or stuck relays."
        )
    return lines
