"""A bench's fixture from its file: card, wiring, a sheet with every pair as a step; a trial of its relays.

`steadyohm fixture BENCH` opens and closes each by itself, with nothing clipped in or with a plug that joins
all pins; what can be told differs: see `findings`. Not for what a fixture does with units (fixture).
"""

from __future__ import annotations

import math
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Mapping
from contextlib import aclosing
from dataclasses import dataclass, field
from typing import cast

from acquire.bench.daemon import Daemon
from acquire.bench.fixture import FixtureDesk, FixtureMeter, Wiring
from acquire.bench.intake import ohmmeter
from acquire.clock import Clock, RealClock
from acquire.errors import SteadyohmError
from acquire.files.bench_tables import LowOhms
from acquire.files.duty_tables import FixtureSettings, Pairs
from acquire.files.settings import Bench
from acquire.heart.fixture_hold import FixtureHold
from acquire.records import Pair, Sheet
from acquire.steps.derived import full_matrix, with_continuity
from acquire.steps.pairs import PairTable
from drivers.meter import Meter, Setup
from drivers.reading import Kind, Quantity, Reading
from drivers.registry import open_device
from drivers.scpi.switch_card import SwitchCard

PROOF_ROOM = 2.0
"""The range for proofs holds so many times the largest resistance of a good unit: a bad joint in its way
conducts, too; workshop choice."""


MOST_PINS = 20
"""Pins of which every pair is measured: the fault dictionary keeps what each pair reads beside each other, so
its memory grows with their fourth power (0.7 GB here, 2 GB with 24, 46 GB with 48; measured)."""


class FixtureUnfit(SteadyohmError):
    """A bench file and its sheet do not go together on this fixture."""

    exit_code = 2


def sheet_for(bench: Bench, sheet: Sheet) -> Sheet:
    """The sheet as this bench measures it: with every pair as a step where a fixture does the work.

    Where its file says so, low ohms may be judged by their continuity.

    Raises:
        FixtureUnfit: a pin of the sheet has no channel, or it has too many pins for every pair.
    """
    fixture = bench.fixture
    sheet = with_low_ohms(bench, sheet)
    if fixture is None:
        return sheet
    if fixture.pairs is Pairs.ALL:
        if (pins := len(sheet.pin_names())) > MOST_PINS:
            raise FixtureUnfit(
                f"{sheet.name} has {pins} pins; every pair is measured of {MOST_PINS} at most.",
                f'Write pairs = "sheet" in [fixture] of {bench.file}, and the pairs that matter as steps.',
            )
        sheet = full_matrix(sheet)
    wanted = dict.fromkeys(pin for step in sheet.steps for pin in step.pair)
    missing = [pin for pin in wanted if pin not in fixture.high]
    if missing:
        raise FixtureUnfit(
            f"The fixture of {bench.file} has no channel for {', '.join(missing)} of {sheet.name}.",
            "Add them to high and low in [fixture].",
        )
    return sheet


def with_low_ohms(bench: Bench, sheet: Sheet) -> Sheet:
    """The sheet with what its steps have at most where the bench is content with continuity."""
    return with_continuity(sheet, bench.purpose) if bench.low_ohms is LowOhms.CONTINUITY else sheet


def fixture_lines(bench: Bench, sheet: Sheet) -> list[str]:
    """What `steadyohm check` says of the fixture."""
    fixture = bench.fixture
    if fixture is None:
        return []
    steps = sheet_for(bench, sheet).steps
    where = fixture.link or "in the meter"
    contacts = "two contacts" if fixture.separate_contacts else "one contact"
    pins, channels = len(fixture.high), len(wiring_of(fixture).all())
    return [
        f"  fixture: {len(steps)} pairs, {pins} pins with {contacts} each, {channels} channels, card {where}"
    ]


def hold_of(bench: Bench) -> FixtureHold | None:
    """What the heart is to know of the fixture; None where hands hold the probes."""
    if bench.fixture is None:
        return None
    fixture = bench.fixture
    return FixtureHold(frozenset(fixture.standard or ()), fixture.separate_contacts)


def fixture_of(bench: Bench) -> FixtureSettings:
    """The table of the fixture. Raises FixtureUnfit where there is none."""
    if bench.fixture is None:
        raise FixtureUnfit(f"{bench.file} has no [fixture] table.", "configs/README.md shows one.")
    return bench.fixture


def wiring_of(fixture: FixtureSettings) -> Wiring:
    """Which channels lead to which pin."""
    return Wiring(fixture.high, fixture.low, fixture.sense_high, fixture.sense_low)


def behind_card(bench: Bench, meter: Meter, sheet: Sheet, clock: Clock) -> FixtureMeter:
    """Put the meter behind the bench's switch card.

    Raises:
        FixtureUnfit: the card sits in the meter, and this meter's driver knows no cards.
        OptionsInvalid, AddressInvalid: the card's.
    """
    card, fixture = card_for(bench, meter), fixture_of(bench)
    return FixtureMeter(meter, card, wiring_of(fixture), desk_for(fixture, sheet), clock)


def card_for(bench: Bench, meter: Meter) -> SwitchCard:
    """The bench's switch card, not yet opened.

    Raises:
        FixtureUnfit: there is none, or it sits in the meter, whose driver knows no cards.
        OptionsInvalid, AddressInvalid: the card's.
    """
    fixture = fixture_of(bench)
    if fixture.link is None and not hasattr(meter, "beside"):
        raise FixtureUnfit(
            f"A {bench.meter.driver} meter has no switch card on its link.",
            "Give the card's own link in [fixture].",
        )
    card: SwitchCard = open_device(
        "switch card",
        wiring_of(fixture).all(),
        address=fixture.link or "",
        host=meter if fixture.link is None else None,
        options=fixture.card_options,
    )
    return card


def desk_for(fixture: FixtureSettings, sheet: Sheet) -> FixtureDesk:
    """What the fixture knows of its units before it sees one."""
    table = PairTable(sheet)
    nominal = {pair: table.nominal_ohm(pair) for pair in table.pairs()}
    finite = {frozenset(pair): ohm for pair, ohm in nominal.items() if math.isfinite(ohm)}
    return FixtureDesk(
        frozenset(finite),
        fixture.zero_pin or next(iter(fixture.high)),
        PROOF_ROOM * max([1.0, *finite.values()]),
        None if fixture.standard is None else Pair(*fixture.standard),
        fixture.separate_contacts,
    )


def wire_up(daemon: Daemon, meter: FixtureMeter) -> None:
    """Let the fixture see what a person would see, and order what hands would do."""
    meter.command, meter.tell = daemon.command, daemon.tell
    daemon.subscribers.append(meter.desk.see)


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
    fixture, meter = fixture_of(bench), ohmmeter(bench, RealClock())
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
