"""Short ways to benches, units and touches for the tests of this folder."""

from __future__ import annotations

import contextlib
import random
import time

import pytest

from tests.adversary.bench import Bench
from tests.adversary.campaign import SHEETS
from tests.adversary.circuits import Sheet, Unit, Warmth
from tests.adversary.hands import Hands
from tests.adversary.instrument import Probes

NOTHING_S = 2.5
"""So long is waited to see that nothing happens, once the meter is read again."""


@contextlib.contextmanager
def at(folder, sheet, *, seed=1, lead_ohm=0.15, **words):
    """A bench at work, with obedient hands."""
    file = SHEETS.get(sheet, sheet)
    with Bench(folder / "bench", file, probes=Probes(lead_ohm=lead_ohm), seed=seed, **words) as bench:
        hands = Hands(bench, seed)
        hands.sheet = Sheet.read(file, purpose=words.get("purpose", "final"))
        yield bench, hands


def sound(hands, serial="A-1", *, kelvin=0.0, quick_s=40.0, scaled=None, joints=None, room_celsius=22.0):
    """A unit at its nominal values, some of them scaled; warm by so much, cooling within a minute."""
    values = {edge.name: edge.ohm * (scaled or {}).get(edge.name, 1.0) for edge in hands.sheet.edges}
    warmth = Warmth(kelvin, 1.0, quick_s, quick_s)
    return Unit(hands.sheet, serial, values, joints or {}, room_celsius, warmth)


def scan(bench, hands, unit):
    """Lay a unit on the bench and zero the leads, up to the first pair; gives that pair."""
    hands.place(unit)
    unit.warmth.since_s = time.monotonic()
    bench.type(unit.serial)
    bench.until_asked(("short_probes", "touch", "touch_again"))
    for _ in range(8):
        if bench.ask[0] != "short_probes":
            break
        hands.lift(0.4)
        hands.touch("short")
        bench.until_asked(("touch", "touch_again"), within_s=4.0)
    assert bench.until_asked(("touch", "touch_again"), within_s=0.0), bench.ask
    hands.lift()
    return bench.ask[1]


def judged(bench, hands, pairs, serial=None):
    """Touch as asked until so many verdicts are on record; the probes stay down; gives the verdicts."""
    told = bench.journal.verdicts(serial)
    for number in range(len(told) + 1, pairs + 1):
        for _ in range(8):  # a value that does not come to rest is touched again, as anybody would
            assert bench.until_asked(("touch", "touch_again"))
            hands.lift()
            hands.touch(bench.ask[1])
            told = bench.until_judged(number, serial, within_s=4.0)
            if len(told) >= number:
                break
        assert len(told) >= number, (bench.ask, bench.output()[-1500:])
    return told


def read_again(bench, readings=20):
    """Wait until the daemon has taken so many more readings of the meter."""
    before, deadline_s = bench.instrument.sent, time.monotonic() + 40.0
    while bench.instrument.sent < before + readings and time.monotonic() < deadline_s:
        time.sleep(0.02)
    assert bench.instrument.sent >= before + readings, "the meter is not read again"


def steps_of(verdicts):
    """Which steps were judged, in order."""
    return [verdict["step"] for verdict in verdicts]


def dice(seed):
    """Dice of a test."""
    return random.Random(f"{seed} test")


def long_form(*values):
    """A case of a test that is tried in the long form only."""
    return pytest.param(*values, marks=pytest.mark.long)
