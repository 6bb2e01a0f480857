"""Seconds and key presses for a whole healthy unit, beside what hands and conversions take at least.

    python -m tests.benchmarks.operator [--units 40] [--meter bench] [--linger 0.1]

Shipped sheets, simulated units within their tolerances, `sim.hands` without a slip, the whole heart, in
simulated time. The floor (`Bench.floor_s`) is the hands' own movement, three conversions at rest for each
pair, and the look at a display that stays open before the key is pressed; getting and scanning a unit are in
neither. A line for each part of a unit says where its seconds go.
"""

import argparse
import random
import statistics
from collections import Counter

from acquire.records import Judged, LeadZero, Purpose, UnitStarted
from acquire.records.codes import Order
from acquire.sheets import load_sheet
from sim.units import UNIT_TYPES
from tests.benchmarks.diagnosis_bench import CONFIGS, METERS, Bench
from tests.benchmarks.diagnosis_scene import Planted, good_unit

GOALS = {"plover-80": 1.2, "quern-12": 1.4, "fathom-7": 1.2}
"""Seconds of a unit over its floor that are wanted."""


class Timed(Bench):
    """A bench that keeps what the seconds of its units were spent on."""

    def __init__(self, name, meter="bench", seed="operator", hurried=False, **pace):
        sheet = load_sheet(CONFIGS / "sheets" / f"{name}.toml")
        how = {"slips": 0.0, "order": Order.GUIDED, "sheet": sheet, "hurried": hurried}
        super().__init__(UNIT_TYPES[name], meter, seed, **how, **pace)
        self.spent, self.at_s, self.was = Counter(), 0.0, "travel"

    def unit_of(self, number):
        """Take one good unit through; gives its story."""
        dice = random.Random(f"operator {number}")
        return self.run(good_unit(self.kind, dice), Planted("good", ()))

    def _part(self, now, then):
        """The seconds since the last mark were spent on `now`; what follows is `then`."""
        self.spent[now] += self.clock.now_s() - self.at_s
        self.at_s, self.was = self.clock.now_s(), then

    def _told(self, doing):
        if doing["hands"] in ("touch", "short"):
            self._part("hands on their way to a pair", "touch")
        elif doing["hands"] == "confirm_open":
            self._part("an open display, until the key", "touch")
        elif doing["hands"] == "lift":
            self._part(
                "hands until they lift" if self.was == "judged" else "touch without a verdict", "travel"
            )
        super()._told(doing)

    def _show(self, events):
        for event in events:
            if isinstance(event, UnitStarted | LeadZero):
                self._part("", "judged")
                self.spent.clear()
            elif isinstance(event, Judged) and self.was == "touch":
                self._part("touch until the verdict", "judged")
        super()._show(events)


def measured(name, options):
    """(seconds, keys, touches) of every unit, floor and parts of the mean unit."""
    bench = Timed(
        name,
        options.meter,
        hurried=options.hurried,
        **({"react": (options.linger, options.linger)} if options.linger else {}),
    )
    rows, parts = [], Counter()
    for number in range(options.units):
        story = bench.unit_of(number)
        rows.append((story.seconds, story.key_presses, story.touches, str(story.outcome)))
        parts.update(bench.spent)
    floor_s, steps = bench.floor_s(), bench.sheet.steps
    conversion_s = bench.meter.conversion_s()
    bench.close()
    return rows, floor_s, {part: s / options.units for part, s in parts.items()}, len(steps), conversion_s


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--units", type=int, default=40)
    parser.add_argument("--meter", choices=METERS, default="bench")
    parser.add_argument("--linger", type=float, default=0.0, help="seconds that hands stay after a verdict")
    parser.add_argument(
        "--hurried", action="store_true", help="hands move on before this meter can show that they lifted"
    )
    options = parser.parse_args()
    for name, goal in GOALS.items():
        rows, floor_s, parts, steps, conversion_s = measured(name, options)
        seconds = [row[0] for row in rows]
        spread = statistics.stdev(seconds) / len(seconds) ** 0.5 if len(seconds) > 1 else 0.0
        mean = statistics.mean(seconds)
        print(
            f"\n{name}: {mean:.1f} ± {spread:.1f} s a unit of {steps} steps, floor {floor_s:.1f} s: {mean / floor_s:.2f} (goal {goal})"
        )
        print(
            f"  {statistics.mean(r[1] for r in rows):.2f} key presses, {statistics.mean(r[2] for r in rows):.2f} touches, outcomes {dict(Counter(r[3] for r in rows))}, a conversion takes {conversion_s:.2f} s"
        )
        for part, s in sorted(parts.items(), key=lambda each: -each[1]):
            print(f"  {s:6.2f} s  {part}")


if __name__ == "__main__":
    main()
