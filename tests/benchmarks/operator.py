"""Seconds and key presses for a whole healthy unit, beside what hands and conversions take at least.

    python -m tests.benchmarks.operator [--units 40] [--meter bench] [--linger 0.1] [--hurried]

Shipped sheets, simulated units within their tolerances, `sim.hands` without a slip, the whole heart, in
simulated time. The floor (`Bench.floor_s`) is the hands' own movement and three conversions at rest for each
step of the sheet, and the look at a display that stays open before the key is pressed; getting and scanning a
unit are in neither, nor is the touch at the end that asks whether the unit is warm: it is a part of its own.
A line for each part says where the seconds of a unit go.
"""

import argparse
import random
import statistics
from collections import Counter

from acquire.records import Contact, Judged, LeadZero, UnitStarted
from acquire.records.codes import Order
from acquire.sheets import load_sheet
from tests.benchmarks.diagnosis_bench import CONFIGS, METERS, Bench
from tests.benchmarks.diagnosis_scene import Planted, good_unit
from tests.known_units import UNIT_TYPES

GOALS = {"plover-80": 1.2, "quern-12": 1.4, "fathom-7": 1.2}
"""Seconds of a unit over its floor that are wanted."""


class Timed(Bench):
    """A bench that keeps what the seconds of its units were spent on."""

    def __init__(self, name, meter="bench", seed="operator", hurried=False, **pace):
        sheet = load_sheet(CONFIGS / "sheets" / f"{name}.toml")
        how = {"slips": 0.0, "order": Order.GUIDED, "sheet": sheet, "hurried": hurried}
        super().__init__(UNIT_TYPES[name], meter, seed, **how, **pace)
        self.spent, self.at_s, self.was, self.warm = Counter(), 0.0, "away", False
        self.named = {step.name for step in sheet.steps}

    def unit_of(self, number):
        """Take one good unit through; gives its story."""
        self.warm = False
        return self.run(good_unit(self.kind, random.Random(f"operator {number}")), Planted("good", ()))

    def _part(self, now, then):
        """The seconds since the last mark were spent on `now`; what follows is `then`."""
        self._spend(now, self.clock.now_s() - self.at_s)
        self.at_s, self.was = self.clock.now_s(), then

    def _spend(self, part, seconds):
        self.spent["asking whether the unit is warm" if self.warm else part] += seconds

    def _told(self, doing):
        match doing["hands"]:
            case "touch" | "short":
                self._part("hands on their way to a pair", "touch")
            case "confirm_open":
                self._part("an open display, until the key", "touch")
            case "lift":
                part = "hands until they lift" if self.was == "judged" else "touch without a verdict"
                self._part(part, "away")
        super()._told(doing)

    def _show(self, events):
        for event in events:
            match event:
                case UnitStarted() | LeadZero():
                    self._part("", "judged")
                    self.spent.clear()
                case Contact(goes_on=False) if self.was == "touch":
                    self._part("touch until the meter shows it", "contact")
                case Judged() if self.was in ("touch", "contact"):
                    self._judged(event.verdict)
        super()._show(events)
        current = self.heart.unit.state.current if self.heart.unit else None
        self.warm = self.warm or (current is not None and current.name not in self.named)

    def _judged(self, verdict):
        taken_s = self.clock.now_s() - self.at_s
        least_s = min(taken_s, 3 * self.meter.conversion_s())
        self._spend("three conversions at rest", least_s)
        self._spend(f"further conversions: {verdict.step}", taken_s - least_s)
        self.at_s, self.was = self.clock.now_s(), "judged"


def told(name, goal, options):
    """Lines of one sheet."""
    pace = {"react": (options.linger, options.linger)} if options.linger else {}
    bench = Timed(name, options.meter, hurried=options.hurried, **pace)
    stories, parts = [], Counter()
    for number in range(options.units):
        stories.append(bench.unit_of(number))
        parts.update(bench.spent)
    floor_s, conversion_s = bench.floor_s(), bench.meter.conversion_s()
    bench.close()
    seconds = [story.seconds for story in stories]
    mean, count = statistics.mean(seconds), len(stories)
    spread = statistics.stdev(seconds) / count**0.5 if count > 1 else 0.0
    warm = parts["asking whether the unit is warm"] / count
    yield f"\n{name}: {mean:.1f} ± {spread:.1f} s a unit, floor {floor_s:.1f} s"
    yield f"  a conversion takes {conversion_s:.2f} s"
    bare = (mean - warm) / floor_s
    yield f"  {mean / floor_s:.2f} times the floor, {bare:.2f} without the warm check; goal {goal}"
    keys, touches = sum(story.key_presses for story in stories), sum(story.touches for story in stories)
    outcomes = dict(Counter(str(story.outcome) for story in stories))
    yield f"  {keys / count:.2f} key presses, {touches / count:.2f} touches; {outcomes}"
    for part, s in sorted(parts.items(), key=lambda each: -each[1]):
        yield from [f"  {s / count:6.2f} s  {part}"] if s / count >= 0.05 else []


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--units", type=int, default=40)
    parser.add_argument("--meter", choices=METERS, default="bench")
    parser.add_argument("--linger", type=float, default=0.0, help="seconds that hands stay after a verdict")
    parser.add_argument(
        "--hurried", action="store_true", help="hands do not wait for the meter to show a lift"
    )
    options = parser.parse_args()
    for name, goal in GOALS.items():
        for line in told(name, goal, options):
            print(line)


if __name__ == "__main__":
    main()
