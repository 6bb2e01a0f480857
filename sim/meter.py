"""The meter between the probes and the speaker: ranges, errors, noise, quantising, time.

What a meter is comes from the meter file that the bench has too, its own errors from dice. Not for any wire
format: see `speak_scpi` and `speak_frames`.
"""

from __future__ import annotations

import functools
import math
import random
import statistics
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sim.clock import BenchClock
from sim.files import Unusable, named, read
from sim.probes import Probes

MAINS_HZ = 50.0


@dataclass(frozen=True, slots=True)
class Range:
    """One range of resistance.

    Attributes:
        nominal_ohm: its name; full_scale_ohm: largest value shown; count_ohm: one count.
        gain: half-width of the error as a fraction of the reading; offset_ohm: half-width of the fixed part.
        current_a: test current, which decides how much a thermal voltage counts.
    """

    nominal_ohm: float
    full_scale_ohm: float
    count_ohm: float
    gain: float
    offset_ohm: float
    current_a: float


@dataclass(frozen=True, slots=True)
class MeterClass:
    """A class of meters.

    Attributes:
        aperture_s: integration time (at one power-line cycle for a bench meter with `nplc`).
        period_s: time between conversions of a free-running meter.
        white_counts, slow_counts: rms of fast and slow noise.
        hunt_s: shortest and longest time of a change of range.
        dial: a hand turns its range; else it finds it by itself.
        filter_s: time constant of the display's filter, 0 for none.
        four_wire, nplc: whether it has them.
    """

    name: str
    ranges: tuple[Range, ...]
    aperture_s: float
    period_s: float
    white_counts: float
    slow_counts: float
    hunt_s: tuple[float, float]
    dial: bool = False
    filter_s: float = 0.0
    four_wire: bool = False
    nplc: bool = False

    @property
    def counts(self) -> int:
        """Of the display, on the lowest range."""
        return round(self.ranges[0].full_scale_ohm / self.ranges[0].count_ohm)


@functools.cache
def meter_class(file: str) -> MeterClass:
    """The class of a meter file, or of a shipped one by its name: its ohms, and times usual for its counts.

    A file says nothing of time: whoever shows more than 100 000 counts is a bench meter that is asked, below
    30 000 it is a hand meter with a slow display (from memory, no single data sheet).

    Raises:
        Unusable: there is no such file, or it is no meter file with ohms.
    """
    path = named("meters", file)
    tree = read(path)
    try:
        of_ohms = [each for each in tree["range"] if each["quantity"] == "resistance"]
        ranges = tuple(sorted(map(_range, of_ohms), key=lambda each: each.nominal_ohm))
        quickest = ranges[0].full_scale_ohm / ranges[0].count_ohm
        noise_counts = statistics.median(each.get("noise_counts", 0.3) for each in of_ohms)
    except (KeyError, IndexError, TypeError) as error:
        raise Unusable(f"{path} is no meter file with ohms: {error}") from None
    bench, hand = quickest > 100_000, quickest < 30_000
    return MeterClass(
        path.stem,
        ranges,
        aperture_s=1 / MAINS_HZ if bench else 0.2 if hand else 0.12,
        period_s=0.0 if bench else 0.4 if hand else 0.2,
        white_counts=0.9 * noise_counts,
        slow_counts=0.4 * noise_counts,
        hunt_s=(0.05, 0.25) if bench else (0.1, 0.4),
        filter_s=0.0 if bench else 0.3 if hand else 0.15,
        dial=tree.get("ranging", "dial") == "dial",
        four_wire=any(each["quantity"] == "resistance_4w" for each in tree["range"]),
        nplc=bench,
    )


def _range(table: Mapping[str, Any]) -> Range:
    full_ohm, count_ohm = table["full_scale_si"], table["resolution_si"]
    largest_ohm = full_ohm * (1 + table.get("overrange_percent", 0.0) / 100)
    offset_ohm = table.get("counts", 0.0) * count_ohm + table.get("percent_of_range", 0.0) / 100 * full_ohm
    gain = table.get("percent_of_reading", 0.0) / 100
    current_a = table.get("test_current_a", max(1e-3 * 1000 / max(full_ohm, 1000.0), 1e-7))
    return Range(full_ohm, largest_ohm, count_ohm, gain, offset_ohm, current_a)


@dataclass(frozen=True, slots=True)
class Shown:
    """One conversion as the display shows it.

    Attributes:
        ohm: quantised value; infinite for overload.
        range: in force.
        end_s: simulated time of the end of the conversion.
        number: of the conversion, counted from 1.
        auto: whether the meter chose the range itself.
    """

    ohm: float
    range: Range
    end_s: float
    number: int
    auto: bool = True

    @property
    def overload(self) -> bool:
        """Whether the value does not fit the range, as with probes in the air."""
        return math.isinf(self.ohm)


@dataclass(slots=True)
class Meter:
    """One meter on one pair of probes.

    Attributes:
        range_index: range in force; `auto`: whether the meter chooses it.
        four_wire: function in force; nplc: integration in power-line cycles, for a meter that has it.
        offset_compensation: doubles the time of a conversion.
        shown: the latest conversion; last_value_s: simulated time of the latest one that was no overload.
    """

    kind: MeterClass
    probes: Probes
    clock: BenchClock
    dice: random.Random
    range_index: int = 0
    auto: bool = True
    four_wire: bool = False
    nplc: float = 1.0
    offset_compensation: bool = False
    shown: Shown | None = None
    last_value_s: float = 0.0
    _errors: tuple[tuple[float, float], ...] = ()
    _slow: float = 0.0
    _slow_s: float = 0.0
    _filtered: tuple[float, int, float] | None = field(default=None)

    def __post_init__(self) -> None:
        """Draw this meter's own errors: within its limits, mostly well within."""
        self.auto = not self.kind.dial
        self._errors = tuple((self._drawn(r.gain), self._drawn(r.offset_ohm)) for r in self.kind.ranges)

    def _drawn(self, half_width: float) -> float:
        return max(-1.0, min(1.0, self.dice.gauss(0.0, 0.35))) * half_width

    @property
    def range(self) -> Range:
        """Range in force."""
        return self.kind.ranges[self.range_index]

    def index_for(self, ohm: float) -> int | None:
        """Lowest range that holds a value; None where none does."""
        return next((k for k, r in enumerate(self.kind.ranges) if ohm <= r.full_scale_ohm), None)

    def turn(self, ohm: float | None) -> None:
        """Turn the knob to the range that holds a value; None lets the meter range by itself.

        Raises:
            ValueError: where the meter has no such range, or none that it finds by itself.
        """
        if ohm is None:
            if self.kind.dial:
                raise ValueError("a hand turns the range of this meter")
            self.auto = True
            return
        index = self.index_for(ohm)
        if index is None:
            raise ValueError(f"no range of this meter holds {ohm:g} ohm")
        self.range_index, self.auto = index, False

    def aperture_s(self) -> float:
        """Integration time in simulated seconds."""
        return self.nplc / MAINS_HZ if self.kind.nplc else self.kind.aperture_s

    def conversion_s(self) -> float:
        """Time of one conversion, trigger delay included, in simulated seconds."""
        if not self.kind.nplc:
            return self.kind.period_s
        delay_s = 0.0015 if self.range_index < 3 else 0.0015 * 10.0 ** (self.range_index - 2)
        rounds = 2 * (2 if self.offset_compensation else 1)  # one of each two is the meter's own zero
        return min(delay_s, 0.1) + rounds * self.aperture_s()

    async def convert(self) -> Shown:
        """Make one conversion, changing range first as often as needed; takes its simulated time."""
        for _ in range(len(self.kind.ranges) + 1):
            await self.clock.until(self.clock.now_s() + self.conversion_s())
            shown = self.take(self.clock.now_s())
            if shown is not None:
                return shown
            await self.clock.pause(self.dice.uniform(*self.kind.hunt_s))
        return self._show(math.inf, self.clock.now_s())

    def take(self, end_s: float) -> Shown | None:
        """The conversion that ends now; None when it made the meter change its range instead."""
        ohm, open_share = self.probes.integrate(end_s - self.aperture_s(), end_s, four_wire=self.four_wire)
        if open_share >= 0.5:
            ohm = math.inf
        elif open_share:
            ohm *= 1 + 2 * self.dice.random() * open_share
        if self.auto and self._hunted(ohm):
            self._filtered = None
            return None
        return self._show(self._spoiled(ohm, end_s), end_s)

    def _hunted(self, ohm: float) -> bool:
        top = len(self.kind.ranges) - 1
        over = ohm > self.range.full_scale_ohm
        if not (over and self.range_index < top) and not (
            ohm < 0.09 * self.range.full_scale_ohm and self.range_index
        ):
            return False
        if self.kind.nplc:  # a bench meter goes straight to the range that holds the value
            wanted = self.index_for(ohm)
            new = top if wanted is None else wanted
        else:
            new = self.range_index + (1 if over else -1)
        changed, self.range_index = new != self.range_index, new
        return changed

    def _spoiled(self, ohm: float, end_s: float) -> float:
        """Add this meter's errors and noise, and filter."""
        if math.isinf(ohm):
            self._filtered = None
            return ohm
        gain, offset = self._errors[self.range_index]
        if not self.offset_compensation:
            ohm += self.probes.thermal_v(end_s) / self.range.current_a
        white = self.kind.white_counts * (1 / math.sqrt(max(self.nplc, 0.02)) if self.kind.nplc else 1.0)
        noise = white * self.dice.gauss(0, 1) + self.kind.slow_counts * self._slow_noise(end_s)
        value = ohm * (1 + gain) + offset + noise * self.range.count_ohm
        return self._smoothed(value, end_s)

    def _slow_noise(self, end_s: float) -> float:
        keep = math.exp(-(end_s - self._slow_s) / 3.0)
        self._slow = keep * self._slow + math.sqrt(max(0.0, 1 - keep * keep)) * self.dice.gauss(0, 1)
        self._slow_s = end_s
        return self._slow

    def _smoothed(self, value: float, end_s: float) -> float:
        before = self._filtered
        if self.kind.filter_s and before is not None and before[1] == self.range_index:
            keep = math.exp(-(end_s - before[2]) / self.kind.filter_s)
            if abs(value - before[0]) < 0.1 * abs(before[0]):  # a jump restarts the filter
                value = keep * before[0] + (1 - keep) * value
        self._filtered = (value, self.range_index, end_s)
        return value

    def _show(self, ohm: float, end_s: float) -> Shown:
        if abs(ohm) > self.range.full_scale_ohm:
            ohm = math.inf
        if math.isfinite(ohm):
            ohm = round(ohm / self.range.count_ohm) * self.range.count_ohm
            if not self.kind.nplc:
                ohm = max(ohm, 0.0)  # hand meters show no negative ohms
            self.last_value_s = end_s
        number = 1 if self.shown is None else self.shown.number + 1
        self.shown = Shown(ohm, self.range, end_s, number, self.auto)
        return self.shown
