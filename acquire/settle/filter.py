"""Reading -> Settled: is it at rest? Readings and clock ticks go in, events come out; no clock is read.

Not for what the value means: leads, temperature, steps and limits come after it.
"""

from __future__ import annotations

import math
from collections import deque

from acquire.records.settled import (
    Approach,
    Contact,
    Hindrance,
    Hold,
    Learned,
    LiftOff,
    Settled,
    SettleEvent,
)
from acquire.settle.contact import Holding, Report, Touch, hold_s
from acquire.settle.doubt import HISTORY_LENGTH, MEGOHM_OHM, Doubt, Surroundings, ask
from acquire.settle.learning import Statement, after, caution, signs_of, taught
from acquire.settle.noise import Noise, learn
from acquire.settle.pace import Pace
from acquire.settle.points import Points
from acquire.settle.rest import BenchCaution, Rest, at_rest
from acquire.settle.settings import Expectation, SettleSettings
from drivers.reading import OHMS, Flag, Kind, Quantity, Reading

_NOT_LIVE = frozenset({Flag.HOLD, Flag.MINIMUM, Flag.MAXIMUM})  # the display shows an older conversion
_IN_OHMS = OHMS | {Quantity.INSULATION}
_LEAST_WINDOW = 3  # the window holds so many conversions more than a report must rest on; workshop choice
# Seen so long and still moving slowly, one way, by no more than a film's worth: the contact creeps.
_CREEPS_AFTER_S, _CREEPS_SLOWLY, _ONE_WAY, _FILM_OHM = 3.0, 6.0, 1.2, 1.0  # workshop choice
_MEANT_S = 2.5  # who holds for so long wants a value, and did not just pass by; workshop choice
_LONG_S = 20.0  # nobody waits for longer without a word (heart.standstill); workshop choice
_LEAVING = 2  # points that may hold the probes' leaving
_OTHER = 0.1  # moved by more over an overload too short for a lift: on other pins; workshop choice
_ODD_SIZE = 1.5  # a reading this factor off the rough size may be a wrong pin: look longer; workshop choice


class SettleFilter:
    """Follows the readings of one meter and says when one contact of the probes has come to rest.

    Args:
        settings: its limits; the defaults suit hand and bench meters.
        doubt: second question put to every stretch that passes the slope test; replaced only to learn it.
        learned: what this bench learnt before, with the same meter and leads.
        pace: of the meter; learnt here, and shared with whoever waits for it.
    """

    def __init__(
        self,
        settings: SettleSettings | None = None,
        doubt: Doubt = ask,
        learned: Learned | None = None,
        pace: Pace | None = None,
    ) -> None:
        self._settings = settings or SettleSettings()
        self._doubt = doubt
        self._noise = Noise(self._settings.noise_counts)
        self.take_up(learned or Learned())
        self._holding = Holding()
        self.expect(None)
        self.pace = pace or Pace()
        self._last: Reading | None = None
        self._touch: Touch | None = None

    # ------------------------------------------------------------------ what goes in
    def expect(self, expectation: Expectation | None) -> None:
        """Tell what the present step knows; None takes it back."""
        self._expectation = told = expectation or Expectation()
        settings = self._settings
        self._horizon_s = settings.slow_horizon_s if told.slow_winding else settings.horizon_s
        self._span_s = max(settings.span_s, settings.slow_span_s if told.slow_winding else 0.0)

    @property
    def learned(self) -> Learned:
        """What the bench has learnt so far; another version after each contact that taught something."""
        return self._learned

    def take_up(self, learned: Learned) -> None:
        """Go on from what was learnt: of the contact that has just ended, or before a restart."""
        self._learned = learned
        self._bench = BenchCaution(signs_of(learned), caution(learned), learned.widening)

    def forget(self) -> None:
        """Meter or leads were changed: what was learnt of the contacts holds no longer."""
        self.take_up(Learned(version=self._learned.version + 1))

    def reset(self) -> None:
        """Forget the contact, for instance after a change of range. What was learnt is kept."""
        self._end_contact()
        self._last = None

    @property
    def patience_s(self) -> float:
        """So long a silence of the meter is nothing to speak of."""
        return self.pace.patience_s(self._settings.silence_s)

    def ripe(self, reading: Reading) -> bool:
        """Whether a reading may bring a value to rest, so that it must be what it seems."""
        touch = self._touch
        if touch is None or reading.value_si is None or (touch.report is not None and touch.report.final):
            return False
        return len(touch.points.times_s) + 1 >= self._settings.min_conversions

    def feed(self, reading: Reading) -> list[SettleEvent]:
        """Take one reading.

        Returns:
            The events it causes, oldest first; mostly none or one.
        """
        if Flag.TYPED in reading.flags:
            return _typed(reading)
        wanted, last = self._expectation.quantity, self._last
        if wanted is not None and reading.quantity is not wanted:
            return []
        if last is not None:
            if reading.conversion == last.conversion:
                return []
            passed_s, interval_s = reading.monotonic_s - last.monotonic_s, self.pace.measured_s
            if (
                interval_s is not None
                and passed_s < 0.4 * interval_s
                and reading.kind is last.kind
                and reading.value_si == last.value_si
            ):
                return []  # one conversion sent twice: the same value far too soon
            if reading.quantity is not last.quantity:
                self._last = reading
                return self._other_quantity(reading) + self._live(reading, None)
        self._last = reading
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
        ended = self._touch is not None
        self.pace.set_anew(self.pace.implied_s)
        self._end_contact()
        return [LiftOff(reading.meter_id, reading.monotonic_s, reading.utc_s)] if ended else []

    def _live(self, reading: Reading, last: Reading | None) -> list[SettleEvent]:
        """A new conversion of the same quantity as `last`, if that is given."""
        if reading.kind is Kind.NO_READING or (reading.flags and not _NOT_LIVE.isdisjoint(reading.flags)):
            if self._touch is not None:
                self._take_lesson(self._touch)
                self._touch.points = Points(self._touch.points.count_si, self._touch.points.noise)
            return []
        self.pace.note(reading.monotonic_s)
        if reading.value_si is None:
            return self._overload(reading, last)
        touch = self._touch
        if touch is None:
            return self._contact(reading, reading.value_si)
        if touch.open_since_s is not None or reading.range_full_scale_si != touch.full_scale_si:
            self._broken(reading, touch, reading.value_si)
        return self._value(reading, touch, reading.value_si)

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
        parting = self._parting(touch)
        self._end_contact()
        return [*parting, LiftOff(reading.meter_id, reading.monotonic_s, reading.utc_s)]

    def _contact(self, reading: Reading, value_si: float) -> list[SettleEvent]:
        """The first number after lift-off; its integration straddles the touch, so it does not count."""
        now_s = reading.monotonic_s
        around = Surroundings(deque(maxlen=HISTORY_LENGTH), now_s, reading.quantity in _IN_OHMS)
        points = self._begin(reading, value_si)
        points.mixed = False
        self._touch = Touch(now_s, reading, reading.range_full_scale_si, points, around)
        return [Contact(reading.meter_id, now_s, reading.utc_s)]

    def _broken(self, reading: Reading, touch: Touch, value_si: float) -> None:
        """A number after an overload, or in another range."""
        opened = touch.open_since_s is not None
        gap = opened and reading.monotonic_s - touch.latest.monotonic_s > self._settings.bridge_s
        touch.open_since_s, touch.open_conversions = None, 0
        if touch.stated is not None and opened:
            touch.gap_s, touch.brief = reading.monotonic_s, not gap
        if gap or reading.range_full_scale_si != touch.full_scale_si:
            self._take_lesson(touch)
            touch.full_scale_si = reading.range_full_scale_si
            touch.points = self._begin(reading, value_si)
            touch.report = None

    def _begin(self, reading: Reading, value_si: float) -> Points:
        """Empty points of a range."""
        count_si = _count_si(reading, value_si)
        return Points(count_si, self._noise.of(reading.quantity, reading.range_full_scale_si, count_si))

    def _value(self, reading: Reading, touch: Touch, value_si: float) -> list[SettleEvent]:
        """A number: one step nearer to rest."""
        now_s, points = reading.monotonic_s, touch.points
        touch.latest = reading
        if points.mixed:
            points.mixed = False
            return []
        if reading.flags:
            points.flags |= reading.flags
        block = points.block
        touch.trace.append((now_s - touch.contact_s, value_si))
        half_s = 0.5 * (self.pace.interval_s or 0.0)
        if not block and half_s >= self._settings.block_s:  # a slow meter: every conversion is a point
            points.add(now_s, value_si, 1)
            return self._point(reading, touch, value_si)
        block.append((now_s, value_si))
        if now_s - block[0][0] + half_s < self._settings.block_s:
            return []
        return self._point(reading, touch, points.close_block())

    # ------------------------------------------------------------------ judging
    def _point(self, reading: Reading, touch: Touch, value_si: float) -> list[SettleEvent]:
        """One block of conversions is complete: judge anew."""
        points, settings, report = touch.points, self._settings, touch.report
        if points.times_s[-1] - points.times_s[0] > settings.window_s:
            points.trim(self.pace.patience_s(settings.window_s, settings.min_conversions + _LEAST_WINDOW))
        band_si = self._band_si(points.count_si, value_si)
        if points.times_s[-1] >= touch.around.next_s:
            touch.around.remember(points.times_s[-1], value_si)
        if report is not None:
            if self._has_left(report, value_si, band_si):
                touch.report = report = None
            elif report.final and not report.away:
                return []
        settling_ratio = 0.0
        if report is None or not (report.final or report.away):
            span_s = self._first_span_s(value_si) if report is None else settings.final_span_s
            lay_long = points.times_s[-1] - touch.contact_s > _LONG_S
            most_doubt = settings.last_doubt if lay_long else settings.most_doubt
            settling_ratio, rest = self._judge(touch, band_si, span_s, most_doubt)
            if rest is not None:
                moved = self._moved_over_gap(reading, touch, rest, band_si)
                return [*moved, self._report(reading, touch, rest, final=report is not None)]
        if report is not None:
            if not report.away:
                return []
            settling_ratio = abs(value_si - report.value_si) / (settings.rearm_share * band_si)
        at = (reading.monotonic_s, reading.utc_s)
        why = self._hindrance(touch, value_si, settling_ratio)
        return [Approach(reading.meter_id, reading.quantity, value_si, settling_ratio, *at, why)]

    def _hindrance(self, touch: Touch, value_si: float, settling_ratio: float) -> Hindrance | None:
        """Does the contact itself creep? A winding's current, or insulation, settles by other laws."""
        points = touch.points
        if points.times_s[-1] - touch.contact_s < _CREEPS_AFTER_S or settling_ratio > _CREEPS_SLOWLY:
            return None
        if not touch.around.ohms or self._expectation.slow_winding or abs(value_si) > MEGOHM_OHM:
            return None
        creeps = points.one_way(points.since(_CREEPS_AFTER_S)) > _ONE_WAY and points.moved_si() < _FILM_OHM
        return Hindrance.CREEPS if creeps else None

    def _band_si(self, count_si: float, value_si: float) -> float:
        """Half-width of the band that a settled value keeps."""
        settings = self._settings
        wide_si = max(settings.band_counts * count_si, settings.band_relative * abs(value_si))
        return max(wide_si, self._expectation.close_enough_si)

    def _moved_over_gap(
        self, reading: Reading, touch: Touch, rest: Rest, band_si: float
    ) -> list[SettleEvent]:
        """Another value after an overload too short for a lift-off: the probes moved on all the same.

        A slow meter shows one overload, or part of one, while they pass from pin to pin; so does a quick one
        to quick hands, but a bounce looks alike: there only a value that is plainly other tells. Without this
        the value of the next pair would replace the one stated last.
        """
        stated, gap_s = touch.stated, touch.gap_s
        touch.gap_s = None
        if stated is None or gap_s is None:
            return []
        sigma_si = math.hypot(stated.sigma_si, math.sqrt(rest.line.variance) * touch.points.count_si)
        least_si = max(band_si, 3.0 * sigma_si, _OTHER * abs(stated.value_si) if touch.brief else 0.0)
        if abs(touch.points.value_si(rest.offset) - stated.value_si) <= least_si:
            return []
        touch.begin_anew(gap_s)
        utc_s = reading.utc_s - (reading.monotonic_s - gap_s)
        return [LiftOff(reading.meter_id, gap_s, utc_s), Contact(reading.meter_id, gap_s, utc_s)]

    def _first_span_s(self, value_si: float) -> float:
        """How long a first report must look: longer at what may be a wrong pin or a slow winding."""
        rough_si = self._expectation.rough_si
        if rough_si and not rough_si / _ODD_SIZE <= value_si <= rough_si * _ODD_SIZE:
            return max(self._span_s, self._settings.odd_span_s)
        return self._span_s

    def _parting(self, touch: Touch) -> list[SettleEvent]:
        """The probes leave a contact that was meant and gave no value: what it came to, with its U.

        The newest points may hold the probes' leaving.
        """
        points, latest = touch.points, touch.latest
        if touch.stated is not None or latest.monotonic_s - touch.contact_s < _MEANT_S:
            return []
        for _ in range(_LEAVING):
            points.drop_newest()
            if len(points.times_s) < self._settings.min_conversions:
                break
            value_si = points.value_si(0.0)
            band_si = self._band_si(points.count_si, value_si)
            last_doubt = self._settings.last_doubt
            _, rest = self._judge(touch, band_si, self._first_span_s(value_si), last_doubt)
            if rest is not None:
                return [self._report(latest, touch, rest, final=False)]
        return []

    def _judge(
        self, touch: Touch, band_si: float, span_s: float, most_doubt: float
    ) -> tuple[float, Rest | None]:
        """Put the points to `rest.at_rest`, in counts."""
        points = touch.points
        if points.times_s[-1] - points.times_s[0] < span_s:
            return math.inf, None
        settling_ratio, rest, passed = at_rest(
            points,
            self._settings,
            band=band_si / points.count_si,
            span_s=span_s,
            horizon_s=self._horizon_s,
            most_doubt=most_doubt,
            around=touch.around,
            doubt=self._doubt,
            bench=self._bench,
        )
        if touch.look is None and passed is not None:
            line, chance = passed
            touch.look = Statement(points.times_s[-1], points.value_si(line.mean), band_si, chance=chance)
        if touch.first is None and rest is not None:
            half_si = rest.expanded * points.count_si
            value_si = points.value_si(rest.offset)
            touch.first = Statement(points.times_s[-1], value_si, band_si, half_si, rest.chance)
        return settling_ratio, rest

    # ------------------------------------------------------------------ learning
    def _end_contact(self) -> None:
        """The probes have left."""
        if self._touch is not None:
            self._take_lesson(self._touch)
        self._touch = None

    def _take_lesson(self, touch: Touch) -> None:
        """Nothing later can be held against what was stated of this contact: learn from it."""
        look, first, points = touch.look, touch.first, touch.points
        touch.look = touch.first = None
        if look is None or not points.times_s:
            return
        creeping = self._learned.creeping
        end = after(points, look, touch.around, creeping)
        if end is None:
            return
        stated_end = None if first is None else after(points, first, touch.around, creeping)
        if stated_end is not None:
            self._holding.told()
        far_si = 0.5 * look.band_si
        moving = [t for t, v in touch.around.history if abs(v - end.value_si) > far_si]
        crept_s = moving[-1] - touch.contact_s if moving else 0.0
        hidden = points.noise.variance < 1.0
        self.take_up(
            taught(self._learned, look, first, end=end, end_stated=stated_end, crept_s=crept_s, hidden=hidden)
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
        unknown = self._settings.noise_counts is None
        learn(points.noise, line.points, line.squares, points.lag(line), scatter=unknown)
        value_si = points.value_si(rest.offset)
        touch.report = touch.stated = Report(value_si, math.sqrt(line.variance) * count_si, final)
        revision, touch.revision = touch.revision, touch.revision + 1
        hold: Hold | None = None
        in_doubt = rest.wary > self._settings.most_doubt
        if revision == 0 and not in_doubt and self._settings.longer_holds:
            hold = self._holding.asked(reading.utc_s)
        start_s = points.times_s[-line.points] - touch.contact_s - self._settings.block_s
        return Settled(
            meter_id=reading.meter_id,
            quantity=reading.quantity,
            value_si=value_si,
            type_a_si=math.sqrt(line.mean_variance) * count_si,
            degrees_of_freedom=line.degrees,
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
            learned=self._learned.version,
            hold=hold,
            hold_s=0.0 if hold is None else hold_s(self._learned.creep_s),
            in_doubt=in_doubt,
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
