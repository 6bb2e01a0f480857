"""One unit twice: without a kill, and killed after the n-th journal entry and started again; then compared.

    python -m tests.adversary.kills --units 20 --seed 1

The unit, its lot, and the hands are the same; the meter's noise is not, so what is compared is what noise
does not decide: requests (kind and pair), steps with their outcomes and attempts, and the result's outcome.
Units near a limit are not drawn.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from tests.adversary.bench import Bench
from tests.adversary.campaign import SHEETS
from tests.adversary.circuits import Sheet, Unit, Warmth, good_values
from tests.adversary.hands import Hands
from tests.adversary.instrument import Probes
from tests.adversary.record import is_held

SCRIPTS = (
    (),
    (),
    (),
    ((1, ".skip the pin is bent"),),
    ((2, ".again"),),
    ((1, ".temperature 24 °C"),),
    ((2, ".zero"),),
    ((1, ".note the reel ran out"), (2, ".skip given up: no time")),
)
"""What is typed, after so many verdicts."""


@dataclass
class Told:
    """What a unit's way left behind.

    Attributes:
        asks: requests of the page in order, as (kind, pair), each once in a row, from the entry
        `killed_after` on. steps: verdicts on record, as (step, outcome, counts, attempt).
        ended: outcome and ending of the result; None without one.
    """

    asks: list
    steps: list
    ended: tuple | None
    entries: int
    duties: tuple


def drawn(sheet, dice):
    """A unit whose verdicts no noise decides: good, clearly faulty, open, or clearly warm."""
    values = {edge.name: edge.ohm for edge in sheet.edges}
    good = good_values(sheet, dice, wide=0.3)
    values |= {edge.name: good[edge.name] for edge in sheet.windings}
    one, kind = dice.choice(sheet.windings).name, dice.choice(["good", "good", "short", "open", "warm"])
    if kind == "short":
        values[one] *= 0.7
    elif kind == "open":
        values[one] = float("inf")
    warmth = Warmth(30.0, 0.3, 60.0, 600.0) if kind == "warm" else Warmth()
    return kind, Unit(sheet, f"K-{dice.randrange(1000):03d}", values, {}, 22.0, warmth)


def way(name, seed, *, killed_after=None, script=(), tables="", within_s=45.0):
    """Measure one unit; gives what it left.

    Args:
        name: of the sheet.
        seed: draws the unit.
        killed_after: journal entries; None for no kill.
        script: lines typed after so many verdicts, as (verdicts, line).
        tables: for the bench file.
    """
    dice = random.Random(f"{seed} kill")
    sheet = Sheet.read(SHEETS[name])
    kind, unit = drawn(sheet, dice)
    folder = Path(tempfile.mkdtemp(prefix="rig-kill-"))
    try:
        with Bench(folder, SHEETS[name], seed=seed, tables=tables, probes=Probes()) as bench:
            hands = Ticking(bench, seed, script=list(script))
            hands.place(unit)
            unit.warmth.since_s = time.monotonic()
            bench.type(unit.serial)
            entries = killed_after or 0
            if killed_after is not None:
                entries = hands.until_entries(unit.serial, killed_after)
                bench.kill()
                bench.ear.asks.clear()
                bench.start()
            result = hands.go_on(unit.serial, within_s=within_s, results=0)
            verdicts = bench.journal.verdicts(unit.serial)
            asks = plain_asks(bench.ear.asks)
            kinds = [entry.kind for entry in bench.journal.entries()]
            assert "Traceback" not in bench.output(), bench.output()[-2000:]
        steps = [(v["step"], v["outcome"], v["counts"], v["attempt"]) for v in unrevised(verdicts)]
        ended = None if result is None else (result["outcome"], result.get("ending", is_held(result)))
        duties = (kinds.count("lead_zero"), kinds.count("check_standard"), kinds.count("unit_started"))
        return kind, Told(asks, steps, ended, entries, duties)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def unrevised(verdicts):
    """Verdicts without those that the next one revises: noise decides whether a value is revised."""
    pairs = zip(verdicts, [*verdicts[1:], None], strict=True)
    return [
        one
        for one, after in pairs
        if after is None
        or (after["step"], after["attempt"]) != (one["step"], one["attempt"])
        or not after["revision"]
    ]


def plain_asks(asks):
    """Requests as kind and pair, the same one once."""
    told = [(ask["kind"], tuple(ask["pair"] or ())) for ask in asks]
    return [ask for at, ask in enumerate(told) if at == 0 or ask != told[at - 1]]


@dataclass
class Ticking(Hands):
    """Hands that type a script, and stop at an entry of the journal."""

    script: list = None

    def until_entries(self, serial, number):
        """Work until the journal holds so many entries (or the unit is done); gives how many it holds."""
        at_s = []

        def watch():
            at_s.append(self.bench.until_entries(number, within_s=60.0))
            self.ended.set()

        watcher = threading.Thread(target=watch, daemon=True)
        watcher.start()
        self.go_on(serial, within_s=60.0)
        watcher.join(60.0)
        self.ended.clear()
        return at_s[0]

    def _act(self, ask, *, again=False):
        done = len(self.bench.journal.verdicts())
        while self.script and self.script[0][0] <= done:
            self.bench.type(self.script.pop(0)[1])
            return
        super()._act(ask, again=again)


def differences(whole, killed):
    """Names of what a kill has changed."""
    found = []
    if killed.ended != whole.ended:
        found.append(f"ended {killed.ended} instead of {whole.ended}")
    if killed.steps != whole.steps:
        found.append(f"steps {killed.steps} instead of {whole.steps}")
    rest = whole.asks[-len(killed.asks) :] if killed.asks else []
    if killed.asks != rest:
        found.append(f"asked {killed.asks} instead of the end of {whole.asks}")
    if killed.duties[2] != whole.duties[2]:
        found.append(f"started {killed.duties[2]} times")
    return found


def compared(name, seed, dice, **words):
    """One unit whole and killed; gives a line and the differences."""
    words.setdefault("script", dice.choice(SCRIPTS))
    kind, whole = way(name, seed, **words)
    after = dice.randint(1, max(1, len(whole.steps) + 1))
    _, killed = way(name, seed, killed_after=after, **words)
    line = f"{name:8} {seed} {kind:6} {words['script']} killed after entry {killed.entries}"
    return line, differences(whole, killed)


def main():
    """Print what differs; exit 1 if anything does."""
    words = argparse.ArgumentParser(prog="python -m tests.adversary.kills", description=__doc__)
    words.add_argument("--units", type=int, default=14)
    words.add_argument("--sheets", nargs="+", default=list(SHEETS), choices=list(SHEETS))
    words.add_argument("--seed", default="1")
    given = words.parse_args()
    dice, worse = random.Random(given.seed), 0
    for number in range(given.units):
        name = given.sheets[number % len(given.sheets)]
        line, found = compared(name, f"{given.seed}.{number}", dice)
        worse += bool(found)
        print(line, *(found or ["as without"]), sep="\n    ", flush=True)
    print(f"{given.units} units, {worse} differ")
    return 1 if worse else 0


if __name__ == "__main__":
    sys.exit(main())
