"""A fixture on a four-wire switch card against guided hands: seconds a unit, and whether the verdicts agree.

    python -m tests.benchmarks.fixture [--units 60] [--sheet plover-80] [--seed 1]

Held constant: the same units (half of them good, the others with faults by their priors), the same class of
meter (bench, one mains cycle, four wires below 10 ohm), the same heart in simulated time. Hands: `sim.hands`,
without a slip, by the sheet's own steps, and by every pair. Fixture: `acquire.bench.fixture` on
`sim.switch_card`, every pair; each exchange with the card takes EXCHANGE_S. Seconds run from the first
request for a pair (hands) or from the key that says "clipped in" (fixture) to the unit's result; getting a
unit and clipping it in and out are given apart, as `sim.hands` has them. The baseline is the hands' own row
in the same run.
"""

import argparse
import asyncio
import random
import statistics
from collections import Counter
from dataclasses import replace

from acquire.bench.fixture import FixtureMeter, Wiring
from acquire.bench.fixture_setup import desk_for
from acquire.choices import FAILING
from acquire.files.duty_tables import FixtureSettings
from acquire.heart.fixture_hold import FixtureHold
from acquire.pipeline import Pipeline
from acquire.records import Ask, ConfirmOpen, GiveUpUnit, Prompt, StartUnit, UnitResult
from acquire.records.codes import Order
from acquire.steps.derived import full_matrix
from drivers.meter import Capabilities, Held, Setup
from drivers.reading import Kind, Origin, Quantity, Reading
from sim.hands import FixturePace
from sim.switch_card import BusCard
from tests.benchmarks.diagnosis_bench import LONGEST_S, Bench
from tests.benchmarks.diagnosis_scene import PRIORS, draw, faulty, good_unit, kinds_of
from tests.known_units import UNIT_TYPES

EXCHANGE_S = 0.003
"""A command or question and its answer over a local network; a USB link is quicker, a serial line at 9600
baud ten times as slow. Common practice, no source."""
MAKE_S = 0.020
"""What the driver waits for relays to come to rest."""


class WholeMatrix(Bench):
    """Hands that measure every pair, those that must be open by key."""

    fixture = None

    def __init__(self, kind, meter, seed):
        super().__init__(kind, meter, seed, slips=0.0, order=Order.GUIDED)
        old = self.heart
        self.sheet = full_matrix(self.sheet)
        self.heart = Pipeline(
            replace(old.place, sheet=self.sheet),
            old.meter,
            old.conditions,
            settle=old.settle,
            four_wire_below_ohm=self.four_wire_below_ohm,
            fixture=self.fixture,
        )
        self.table = self.heart.table
        self.heart.tick(0.0, 0.0)


class SimulatedMeter:
    """Sim's meter with the face of a driver."""

    meter_id = "meter"
    capabilities = Capabilities(frozenset(), settable=True, streaming=False)

    def __init__(self, meter, clock):
        self.meter, self.clock = meter, clock

    async def __aenter__(self):
        return self

    async def __aexit__(self, *_):
        pass

    async def configure(self, setup):
        """Function and range, some exchanges long."""
        await self.clock.pause(3 * EXCHANGE_S)
        self.meter.four_wire = setup.quantity is Quantity.RESISTANCE_4W
        self.meter.offset_compensation = setup.offset_compensation
        if setup.expected_si is not None:
            self.meter.turn(setup.expected_si)
        else:
            self.meter.auto = True
        return Held(setup.quantity)

    async def readings(self):
        """One conversion after another."""
        while True:
            shown = await self.meter.convert()
            await self.clock.pause(EXCHANGE_S)
            four_wire = self.meter.four_wire
            yield Reading(
                meter_id="meter",
                quantity=Quantity.RESISTANCE_4W if four_wire else Quantity.RESISTANCE,
                kind=Kind.OVERLOAD if shown.overload else Kind.VALUE,
                value_si=None if shown.overload else shown.ohm,
                monotonic_s=shown.end_s,
                utc_s=shown.end_s,
                conversion=shown.number,
                range_full_scale_si=shown.range.nominal_ohm,
                resolution_si=shown.range.count_ohm,
                range_origin=Origin.READ_BACK,
                raw=b"",
            )


class SimulatedCard:
    """Sim's card with the face of a driver: as many exchanges as `drivers.scpi.switch_card` has."""

    def __init__(self, card, clock):
        self.card, self.clock = card, clock

    async def __aenter__(self):
        return self

    async def __aexit__(self, *_):
        pass

    async def open_all(self):
        """Command, error queue, proof."""
        await self.card.open(set(self.card.channels))
        await self.clock.pause(3 * EXCHANGE_S)

    async def connect(self, channels):
        """Break, make, proof of both."""
        await self.open_all()
        await self.card.close(set(channels))
        await self.clock.pause(3 * EXCHANGE_S + MAKE_S)


class NoHands:
    """Nobody looks at the screen while relays do the work."""

    def see(self, show):
        """Not needed."""


class FixtureBench(WholeMatrix):
    """The same heart with relays in place of hands; each bus has a contact of its own on every pin."""

    def __init__(self, kind, meter, seed):
        self.fixture = FixtureHold()
        super().__init__(kind, meter, seed)
        self.pace_of_hands, self.around_s, self.hands = FixturePace(), [], NoHands()

    async def _unit(self, seed):
        self.done = asyncio.Event()
        dice = random.Random(seed)
        card = BusCard(self.kind.places(), seed, self.probes, self.clock, kelvin=True)
        wiring = Wiring(
            {place: n for n, place in card.high.items()}, {place: n for n, place in card.low.items()}
        )
        table = FixtureSettings.model_construct(
            high=wiring.high, low=wiring.low, zero_pin="", standard=None, separate_contacts=True
        )
        desk = desk_for(table, self.sheet)
        meter = SimulatedMeter(self.meter, self.clock)
        self.rig = FixtureMeter(meter, SimulatedCard(card, self.clock), wiring, desk, self.clock)
        self.rig.command = self._ordered
        task = asyncio.create_task(self._measure())
        pace = self.pace_of_hands
        await self.clock.pause(dice.uniform(*pace.scan))
        self.unit.since_s = before_s = self.clock.now_s()  # it cools from the moment it is fetched
        self._show(self.heart.command(StartUnit(self.unit.serial), before_s, before_s))
        await self.clock.pause(dice.uniform(*pace.clip))
        self.probes.place(self.unit)
        self.began_s = now_s = self.clock.now_s()
        self._show(self.heart.command(ConfirmOpen(), now_s, now_s))
        self.began_s = now_s
        try:
            async with asyncio.timeout(LONGEST_S):
                await self.done.wait()
        except TimeoutError:
            self._show(self.heart.command(GiveUpUnit("no end"), self.clock.now_s(), self.clock.now_s()))
        self.around_s.append(now_s - before_s + dice.uniform(*pace.unclip))
        task.cancel()
        for result in await asyncio.gather(task, return_exceptions=True):
            if isinstance(result, Exception):
                raise result
        self.heart.link_lost()

    async def _ordered(self, command):
        events = self.heart.command(command, self.clock.now_s(), self.clock.now_s())
        self._show(events)
        return events

    async def _measure(self):
        """As a feed does: read, take, set."""
        last = None
        self.rig.desk.asked = Prompt(Ask.START_UNIT)
        async with self.rig:
            async for reading in self.rig.readings():
                self._show(self.heart.feed(reading))
                wanted = self.heart.wanted
                if wanted != last:
                    last = wanted
                    await self.rig.configure(setup_of(wanted))

    def _show(self, events):
        began_s = getattr(self, "began_s", None)
        super()._show(events)
        if began_s is not None:
            self.began_s = began_s  # counted from the key, not from the scan
            for event in events:
                if isinstance(event, UnitResult):
                    self.story.seconds = self.clock.now_s() - began_s
        if hasattr(self, "rig"):
            for event in events:
                self.rig.desk.see(event)


def setup_of(wanted):
    """What the meter is set to for a step."""
    return Setup(wanted.quantity, wanted.expected_ohm, 1.0, offset_compensation=True)


def units_of(kind, count, seed):
    """The same units for everybody: half of them good."""
    dice = random.Random(f"{seed} {kind.key}")
    names = [name for name in kinds_of(kind) if name in PRIORS and name not in ("healthy", "lead_zero")]
    for number in range(count):
        name = "healthy" if number % 2 else dice.choices(names, [PRIORS[n] for n in names])[0]
        planted = draw(name, kind, dice)
        yield planted, faulty(kind, good_unit(kind, dice), planted)


def word(outcome):
    """Pass or fail as a person would sort units; held ones apart."""
    return "held" if outcome is None else "bad" if outcome in FAILING else "good"


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--units", type=int, default=60)
    parser.add_argument("--sheet", choices=UNIT_TYPES, default="plover-80")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    kind = UNIT_TYPES[options.sheet]
    benches = {
        "hands, the sheet's steps": Bench(kind, "bench-quick", "1", slips=0.0, order=Order.GUIDED),
        "hands, every pair": WholeMatrix(kind, "bench-quick", "1"),
        "fixture, every pair": FixtureBench(kind, "bench-quick", "1"),
    }
    seconds = {name: {"good": [], "faulty": []} for name in benches}
    words, keys = {name: [] for name in benches}, Counter()
    planted_words = []
    for planted, unit in units_of(kind, options.units, options.seed):
        planted_words.append("good" if planted.name == "healthy" else planted.name)
        for name, bench in benches.items():
            story = bench.run(unit, planted)
            sort = "good" if planted.name == "healthy" else "faulty"
            seconds[name][sort].append(story.seconds)
            words[name].append(word(story.outcome))
            keys[name] += story.key_presses
    report(kind, benches, seconds, words, planted_words)


def report(kind, benches, seconds, words, planted):
    """Print the table."""
    places = len(kind.places())
    print(f"{kind.title}: {places} places, {places * (places - 1) // 2} pairs; {len(planted)} units")
    print(f"{'':<26} {'steps':>5} {'good: s a unit':>24} {'faulty: s a unit':>24}   good ones failed")
    for name, bench in benches.items():
        cells = []
        for sort in ("good", "faulty"):
            of = sorted(seconds[name][sort])
            cells.append(f"{statistics.median(of):7.1f}  ({of[0]:.1f} to {of[-1]:.1f})" if of else "")
        wrong = sum(w == "bad" and p == "good" for w, p in zip(words[name], planted, strict=True))
        print(f"{name:<26} {len(bench.sheet.steps):>5} {cells[0]:>24} {cells[1]:>24}   {wrong}")
    fixture = benches["fixture, every pair"]
    around_s = statistics.median(fixture.around_s)
    print(f"fixture: clipping in and out by hand takes {around_s:.1f} s a unit besides")
    for other in ("hands, the sheet's steps", "hands, every pair"):
        pairs = list(zip(words[other], words["fixture, every pair"], planted, strict=True))
        alike = sum(a == b for a, b, _ in pairs)
        print(f"verdicts as by {other}: {alike} of {len(pairs)}")
        for (a, b, p), count in sorted(Counter(x for x in pairs if x[0] != x[1]).items()):
            print(f"    {count} x {p}: {a} by hand, {b} in the fixture")


if __name__ == "__main__":
    main()
