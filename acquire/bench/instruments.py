"""The instruments that a bench file names, made and not yet opened.

For whoever reads them: the bench, a gauge study, a trial of relays. Not for keeping their readings flowing
(intake, scanning).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from acquire.clock import Clock
from acquire.files.bench_tables import TemperatureSource
from acquire.files.settings import Bench
from drivers.meter import ClockPair, Meter
from drivers.registry import open_meter, open_scanner

if TYPE_CHECKING:
    from drivers.scanner.scanner import Scanner


def clock_pair(clock: Clock) -> ClockPair:
    """A bench's clock as drivers take it: monotonic and UTC seconds at one call."""
    return lambda: (clock.monotonic_s(), clock.utc_s())


def ohmmeter(bench: Bench, clock: Clock) -> Meter:
    """The meter of `[meter]`."""
    named = bench.meter
    return open_meter(
        named.driver, meter_id=named.id, address=named.link, clock=clock_pair(clock), options=named.options
    )


def thermometer(bench: Bench, clock: Clock) -> Meter | None:
    """The thermometer of `[temperature]`; None where temperatures are typed."""
    air = bench.temperature
    if air.source is not TemperatureSource.METER or air.link is None:
        return None
    return open_meter(
        air.driver, meter_id=air.id, address=air.link, clock=clock_pair(clock), options=air.options
    )


def scanner(bench: Bench, clock: Clock) -> Scanner | None:
    """The scanner of `[scanner]`; None where serials are typed."""
    named = bench.scanner
    if named is None:
        return None
    made: Scanner = open_scanner(
        scanner_id=named.id, address=named.link, clock=clock_pair(clock), options=named.options
    )
    return made
