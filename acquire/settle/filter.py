"""Reading -> Settled: is it at rest? Readings and clock ticks go in, events come out; no clock is read.

Not for what the value means: leads, temperature, steps and limits come after it.
"""

from __future__ import annotations

import math
from collections import deque

from acquire.records.settled import Approach, Contact, LiftOff, Settled, SettleEvent
from acquire.settle.contact import Report, Touch
from acquire.settle.doubt import HISTORY_LENGTH, Doubt, Surroundings, ask
from acquire.settle.noise import Noise, learn
from acquire.settle.pace import Pace
from acquire.settle.points import Points
from acquire.settle.rest import Limits, Rest, judge
from acquire.settle.settings import Expectation, SettleSettings
from drivers.reading import OHMS, Flag, Kind, Quantity, Reading

_NOT_LIVE = frozenset({Flag.HOLD, Flag.MINIMUM, Flag.MAXIMUM})  # the display shows an older conversion
_IN_OHMS = OHMS | {Quantity.INSULATION}
_LEAST_WINDOW = 3  # the window holds so many conversions more than a report must rest on; workshop choice
_ODD_SIZE = 1.5  # a reading this factor off the rough size may be a wrong pin: look longer; workshop choice


class SettleFilter:
    """Follows the readings of one meter and says when one contact of the probes has come to rest.

    Args:
        settings: its limits; the defaults suit hand and bench meters.
        doubt: second question put to every stretch that passes the slope test; replaced only to learn it.
        pace: of the meter; learnt here, and shared with whoever waits for it.
    """

    def __init__(
        self, settings: SettleSettings | None = None, doubt: Doubt = ask, pace: Pace | None = None
    ) -> None:
        self._settings = settings or SettleSettings()
        self._doubt = doubt
        self._noise = Noise(self._settings.noise_counts)
        self._limits = Limits(
            share=self._settings.share,
            slope_z=self._settings.slope_z,
            min_points=self._settings.min_conversions,
            most_doubt=self._settings.most_doubt,
        )
        self._expectation = Expectation()
        self.pace = pace or Pace()
        self._last: Reading | None = None
        self._touch: Touch | None = None

    # ------------------------------------------------------------------ what goes in
    def expect(self, expectation: Expectation | None) -> None:
        """Tell what the present step knows; None takes it back."""
        self._expectation = expectation or Expectation()

    def reset(self) -> None:
        """Forget the contact, for instance after a change of range. What was learnt of the noise is kept."""
        self._last = None
        self._touch = None

    @property
    def patience_s(self) -> float:
        """So long a silence of the meter is nothing to speak of."""
        return self.pace.patience_s(self._settings.silence_s)

    def ripe(self, reading: Reading) -> bool:
        """Whether a reading may bring a value to rest, so that it must be what it seems."""
        touch = self._touch
        if touch is None or reading.value_si is None or (touch.report is not None and touch.report.final):
            return False
        times_s = touch.points.times_s
        return len(times_s) + 1 >= self._settings.min_conversions

    def feed(self, reading: Reading) -> list[SettleEvent]:
        """Take one reading.

        Returns:
            The events it causes, oldest first; mostly none or one.
        """
        if Flag.TYPED in reading.flags:
            return _typed(reading)
        wanted = self._expectation.quantity
        if (wanted is not None and reading.quantity is not wanted) or self._is_repeat(reading):
            return []
        last, self._last = self._last, reading
        if last is not None and reading.quantity is not last.quantity:
            return self._other_quantity(reading) + self._live(reading, None)
        return self._live(reading, last)

    def tick(self, monotonic_s: float, utc_s: float) -> list[SettleEvent]:
        """Tell the time, so that a meter fallen silent is noticed.

        Returns:
            A `LiftOff` once the meter has been silent for too long during a contact.
        """
        last = self._last
        if last is None or self._touch is None:
            return []
        if monotonic_s - last.monotonic_s < self.patience_s:
            return []
        self.reset()
        return [LiftOff(last.meter_id, monotonic_s, utc_s)]

    # ------------------------------------------------------------------ the stream
    def _other_quantity(self, reading: Reading) -> list[SettleEvent]:
        """The meter was set to measure something else: that ends a contact."""
        ended, self._touch = self._touch is not None, None
        self.pace.set_anew(self.pace.implied_s)
        return [LiftOff(reading.meter_id, reading.monotonic_s, reading.utc_s)] if ended else []

    def _live(self, reading: Reading, last: Reading | None) -> list[SettleEvent]:
        """A new conversion of the same quantity as `last`, if that is given."""
        if reading.kind is Kind.NO_READING or (reading.flags and not _NOT_LIVE.isdisjoint(reading.flags)):
            if self._touch is not None:
                self._touch.points = Points(self._touch.points.count_si)
            return []
        self.pace.note(reading.monotonic_s)
        if reading.value_si is None:
            return self._overload(reading, last)
        return self._value(reading, reading.value_si)

    def _is_repeat(self, reading: Reading) -> bool:
        """One conversion sent twice: same number, or same value far too soon."""
        last = self._last
        if last is None:
            return False
        if reading.conversion == last.conversion:
            return True
        passed_s, interval_s = reading.monotonic_s - last.monotonic_s, self.pace.measured_s
        return (
            interval_s is not None
            and passed_s < 0.4 * interval_s
            and reading.kind is last.kind
            and reading.value_si == last.value_si
        )

    def _overload(self, reading: Reading, last: Reading | None) -> list[SettleEvent]:
        """Open probes; or a meter on its way down to the range it needs, which shows overloads too."""
        touch = self._touch
        if touch is None:
            return []
        touch.points.block.clear()
        touch.points.mixed = True
        before_si = None if last is None else last.range_full_scale_si
        now_si = reading.range_full_scale_si
        if before_si is not None and now_si is not None and now_si < before_si:
            touch.open_conversions = 0
        if touch.open_conversions == 0:
            touch.open_since_s = reading.monotonic_s
        touch.open_conversions += 1
        since_s = reading.monotonic_s if touch.open_since_s is None else touch.open_since_s
        if touch.open_conversions < 2 or reading.monotonic_s - since_s < self._settings.lift_off_s:
            return []
        self._touch = None
        return [LiftOff(reading.meter_id, reading.monotonic_s, reading.utc_s)]

    def _value(self, reading: Reading, value_si: float) -> list[SettleEvent]:
        """A number: a contact, or one step nearer to rest."""
        events: list[SettleEvent] = []
        now_s, full_scale_si = reading.monotonic_s, reading.range_full_scale_si
        touch = self._touch
        if touch is None:
            around = Surroundings(deque(maxlen=HISTORY_LENGTH), now_s, reading.quantity in _IN_OHMS)
            points = Points(_count_si(reading, value_si))
            self._touch = touch = Touch(now_s, now_s, full_scale_si, points, around)
            events.append(Contact(reading.meter_id, now_s, reading.utc_s))
        gap = touch.open_since_s is not None and now_s - touch.last_value_s > self._settings.bridge_s
        touch.open_since_s, touch.open_conversions, touch.last_value_s = None, 0, now_s
        if gap and touch.stated is not None:
            touch.gap_s = now_s
        if gap or full_scale_si != touch.full_scale_si:
            touch.full_scale_si = full_scale_si
            touch.points, touch.report = Points(_count_si(reading, value_si)), None
        points = touch.points
        if points.mixed:
            points.mixed = False
            return events
        if reading.flags:
            points.flags |= reading.flags
        points.block.append((now_s, value_si))
        touch.trace.append((now_s - touch.contact_s, value_si))
        if now_s - points.block[0][0] + 0.5 * (self.pace.interval_s or 0.0) >= self._settings.block_s:
            events += self._point(reading, touch)
        return events

    # ------------------------------------------------------------------ judging
    def _point(self, reading: Reading, touch: Touch) -> list[SettleEvent]:
        """One block of conversions is complete: judge anew."""
        points, settings = touch.points, self._settings
        value_si = points.close_block()
        points.trim(self.pace.patience_s(settings.window_s, settings.min_conversions + _LEAST_WINDOW))
        band_si = max(
            settings.band_counts * points.count_si,
            settings.band_relative * abs(value_si),
            self._expectation.close_enough_si,
        )
        touch.around.remember(points.times_s[-1], value_si)
        if touch.report is not None and self._has_left(touch.report, value_si, band_si):
            touch.report = None
            points.keep_newest(2)
        report, unrest = touch.report, 0.0
        if report is None or not (report.final or report.away):
            span_s = self._span_s(value_si) if report is None else settings.final_span_s
            unrest, rest = self._judge(reading, touch, band_si, span_s)
            if rest is not None:
                moved = self._moved_over_gap(reading, touch, rest, band_si)
                return [*moved, self._report(reading, touch, rest, final=report is not None)]
        if report is not None:
            if not report.away:
                return []
            unrest = abs(value_si - report.value_si) / (settings.rearm_share * band_si)
        at = (reading.monotonic_s, reading.utc_s)
        return [Approach(reading.meter_id, reading.quantity, value_si, unrest, *at)]

    def _moved_over_gap(
        self, reading: Reading, touch: Touch, rest: Rest, band_si: float
    ) -> list[SettleEvent]:
        """Another value after an overload too short for a lift-off: the probes moved on all the same.

        A slow meter shows one overload, or part of one, while they pass from pin to pin. Without this the
        value of the next pair would replace the one stated last.
        """
        stated, gap_s = touch.stated, touch.gap_s
        touch.gap_s = None
        if stated is None or gap_s is None:
            return []
        sigma_si = math.hypot(stated.sigma_si, rest.sigma * touch.points.count_si)
        if abs(touch.points.value_si(rest.offset) - stated.value_si) <= max(band_si, 3.0 * sigma_si):
            return []
        touch.begin_anew(gap_s)
        utc_s = reading.utc_s - (reading.monotonic_s - gap_s)
        return [LiftOff(reading.meter_id, gap_s, utc_s), Contact(reading.meter_id, gap_s, utc_s)]

    def _span_s(self, value_si: float) -> float:
        """How long a first report must look: longer at what may be a wrong pin or a slow winding."""
        rough_si, span_s = self._expectation.rough_si, self._settings.span_s
        if self._expectation.slow_winding:
            span_s = max(span_s, self._settings.slow_span_s)
        if rough_si and not rough_si / _ODD_SIZE <= value_si <= rough_si * _ODD_SIZE:
            span_s = max(span_s, self._settings.odd_span_s)
        return span_s

    def _horizon_s(self) -> float:
        """How far ahead a drift is followed."""
        slow = self._expectation.slow_winding
        return self._settings.slow_horizon_s if slow else self._settings.horizon_s

    def _judge(
        self, reading: Reading, touch: Touch, band_si: float, span_s: float
    ) -> tuple[float, Rest | None]:
        """Put the points to `rest.judge`, in counts."""
        points = touch.points
        noise = self._noise.of(reading.quantity, reading.range_full_scale_si, points.count_si)
        return judge(
            points,
            noise,
            self._limits,
            band=band_si / points.count_si,
            span_s=span_s,
            horizon_s=self._horizon_s(),
            around=touch.around,
            doubt=self._doubt,
        )

    def _has_left(self, report: Report, value_si: float, band_si: float) -> bool:
        """Has the value moved off its report for two points running?"""
        if abs(value_si - report.value_si) > max(self._settings.rearm_share * band_si, 3 * report.sigma_si):
            report.away += 1
        else:
            report.away = 0
        return report.away >= 2

    def _report(self, reading: Reading, touch: Touch, rest: Rest, *, final: bool) -> Settled:
        """Put the judged stretch on record."""
        points, line = touch.points, rest.line
        count_si = points.count_si
        noise = self._noise.of(reading.quantity, reading.range_full_scale_si, count_si)
        learn(noise, points.residuals(line), scatter=self._settings.noise_counts is None)
        value_si = points.value_si(rest.offset)
        touch.report = touch.stated = Report(value_si, rest.sigma * count_si, final)
        revision, touch.revision = touch.revision, touch.revision + 1
        start_s = points.times_s[-line.points] - touch.contact_s - self._settings.block_s
        return Settled(
            meter_id=reading.meter_id,
            quantity=reading.quantity,
            value_si=value_si,
            type_a_si=rest.type_a * count_si,
            degrees_of_freedom=rest.degrees_of_freedom,
            drift_si=rest.drift * count_si,
            quantisation_si=rest.quantisation * count_si,
            expanded_si=rest.expanded * count_si,
            conversions=sum(points.conversions[-line.points :]),
            range_full_scale_si=reading.range_full_scale_si,
            resolution_si=reading.resolution_si,
            contact_s=touch.contact_s,
            monotonic_s=reading.monotonic_s,
            utc_s=reading.utc_s,
            revision=revision,
            final=final,
            flags=frozenset(points.flags),
            trace=tuple(p for p in touch.trace if p[0] >= start_s),
            raw=reading.raw,
        )


def _count_si(reading: Reading, value_si: float) -> float:
    """Worth of one count; for a meter that does not tell, one part in 100 000 of what it shows."""
    return reading.resolution_si or max(abs(value_si), abs(reading.range_full_scale_si or 0.0), 1e-12) * 1e-5


def _typed(reading: Reading) -> list[SettleEvent]:
    """What somebody has read off a display was at rest, and is a touch of its own.

    Nothing is known of its scatter: what is left is the count, a rectangle of half a count either way.
    """
    if reading.value_si is None:
        return []
    half_si = 0.5 * _count_si(reading, reading.value_si)
    at = (reading.monotonic_s, reading.utc_s)
    settled = Settled(
        meter_id=reading.meter_id,
        quantity=reading.quantity,
        value_si=reading.value_si,
        type_a_si=0.0,
        degrees_of_freedom=1.0,
        drift_si=0.0,
        quantisation_si=half_si / math.sqrt(3.0),
        expanded_si=half_si,
        conversions=1,
        range_full_scale_si=reading.range_full_scale_si,
        resolution_si=reading.resolution_si,
        contact_s=reading.monotonic_s,
        monotonic_s=reading.monotonic_s,
        utc_s=reading.utc_s,
        final=True,
        flags=reading.flags,
        trace=((0.0, reading.value_si),),
        raw=reading.raw,
    )
    return [Contact(reading.meter_id, *at), settled, LiftOff(reading.meter_id, *at)]
