"""Runs the product's filter over a trace and keeps what it would tell the bench."""

from __future__ import annotations

import dataclasses

from acquire.records.settled import Settled
from acquire.settle import SettleFilter, SettleSettings
from acquire.settle.doubt import Doubt, ask
from drivers.reading import Kind, Quantity, Reading

from .meters import METERS
from .scoring import Detection
from .traces import Trace

MOVED = 0.25  # a later report of a contact counts as a new detection when it moved by this share of the band


def settings_for(meter_name: str, *, learnt: bool = False, **changes) -> SettleSettings:
    """Limits of the product, with the noise that this class's meter file would state (or none: learn it)."""
    meter = METERS.get(meter_name)
    noise = None if learnt or meter is None else meter.noise_counts
    return dataclasses.replace(SettleSettings(), **{"noise_counts": noise, **changes})


def readings_of(trace: Trace) -> list[Reading]:
    """The trace as the driver would hand it on. Each frame has a number of its own, repeats too."""
    return [
        Reading(
            meter_id=trace.meter,
            quantity=Quantity.RESISTANCE,
            kind=Kind.OVERLOAD if value is None else Kind.VALUE,
            value_si=value,
            monotonic_s=t,
            utc_s=t,
            conversion=k,
            range_full_scale_si=full_scale,
            resolution_si=count,
        )
        for k, (t, value, full_scale, count) in enumerate(trace.readings)
    ]


class Bench:
    """One bench with one filter: traces come in order, and what it learns stays."""

    def __init__(
        self,
        settings: SettleSettings,
        doubt: Doubt = ask,
        *,
        learning: bool = True,
        kind: type[SettleFilter] = SettleFilter,
    ) -> None:
        self.settings, self.learning = settings, learning
        self.filter = kind(settings, doubt)

    def detect(self, readings: list[Reading]) -> list[Detection]:
        """First reports, and later ones of the same contact that moved."""
        run, found = self.filter, []
        last: Settled | None = None
        for reading in readings:
            for event in run.feed(reading):
                if not isinstance(event, Settled):
                    continue
                if not event.final or last is None or _moved(last, event, self.settings):
                    found.append(Detection(event.monotonic_s, event.value_si, event.expanded_si))
                last = event
            if not self.learning and run.learned.contacts:
                run.forget()
        run.reset()
        return found


def detect(readings: list[Reading], settings: SettleSettings) -> list[Detection]:
    """What a bench says that has seen nothing before."""
    return Bench(settings).detect(readings)


def _moved(before: Settled, now: Settled, settings: SettleSettings) -> bool:
    count = now.resolution_si or 0.0
    band = max(settings.band_counts * count, settings.band_relative * abs(now.value_si))
    return abs(now.value_si - before.value_si) > MOVED * band
