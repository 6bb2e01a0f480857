"""A bench without a world around it: the heart, a clock turned by hand, ideal hands. Not a test itself.

Readings go in, events come out, at once. For tests of what the heart makes of readings and commands; what
needs a daemon has `tests.light_benches`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

from acquire.conditions import Conditions, Temperature
from acquire.pipeline import Pipeline
from acquire.records import Ask, Circumstances, Prompt, Purpose, StartUnit, UnitResult
from acquire.records.codes import Order
from acquire.sheets import load_sheet
from drivers.models import load_model
from drivers.reading import Kind, Origin, Quantity, Reading

CONFIGS = Path(__file__).resolve().parents[1] / "configs"
GOOD = {
    ("1", "2"): 202.57,
    ("2", "3"): 46.17,
    ("1", "3"): 248.69,
    ("4", "6"): 83.19,
    ("5", "6"): 0.407,
    ("6", "CORE"): 0.0133,
}
LEAD_OHM = 0.12


def shown(wanted, ohm, conversion, now_s, *, quantity=None, flags=frozenset(), full_scale=None, utc_s=None):
    """What a meter without noise to speak of shows, set as wanted; None is the air."""
    quantity = quantity or wanted.quantity
    full_scale = full_scale or _range(wanted, ohm)
    if ohm is not None and quantity is Quantity.RESISTANCE:
        ohm += LEAD_OHM
    over = ohm is None or ohm > 1.2 * full_scale
    return Reading(
        meter_id="meter",
        quantity=quantity,
        kind=Kind.OVERLOAD if over else Kind.VALUE,
        value_si=None if over else round(ohm + 2e-6 * (conversion % 3 - 1) * full_scale, 4),
        monotonic_s=now_s,
        utc_s=utc_s or now_s,
        conversion=conversion,
        range_full_scale_si=full_scale,
        resolution_si=full_scale * 1e-6,
        range_origin=Origin.READ_BACK,
        flags=flags,
        raw=b"x",
    )


def _range(wanted, ohm):
    """The range it is set to; where it is left to range by itself, the one that shows what lies there."""
    if wanted.expected_ohm is not None:
        return next(full for full in (100.0, 1e3, 1e5, 1e7) if wanted.expected_ohm <= 1.2 * full)
    return next((full for full in (100.0, 1e3, 1e5) if ohm is not None and ohm < full), 1e7)


@cache
def _sheet(name):
    return load_sheet(CONFIGS / "sheets" / f"{name}.toml")


@cache
def _model():
    return load_model(CONFIGS / "meters" / "bench-6-digit.toml")


class Bench:
    """A pipeline with a clock, ideal hands and a meter without noise to speak of."""

    def __init__(
        self,
        celsius=20.0,
        *,
        sheet="plover-80",
        order=Order.GUIDED,
        purpose=Purpose.INCOMING,
        check=None,
        fixture=None,
        air_s=0.5,
        utc_s=0.0,
        **changes,
    ):
        sheet = replace(_sheet(sheet), **changes)
        model = _model()
        self.now_s, self.utc_off_s = 100.0, utc_s
        self.conversion = 0
        self.pipeline = Pipeline(
            Circumstances("bench-1", purpose, sheet, "meter", model.name, "m", "b", "test"),
            model,
            Conditions(temperature=Temperature(celsius, 0.2, self.utc_s), temperature_max_age_s=1e9),
            four_wire_below_ohm=10.0,
            order=order,
            checks=() if check is None else (check,),
            fixture=fixture,
        )
        self.events = []
        self.air(air_s)

    @property
    def utc_s(self):
        return self.now_s + self.utc_off_s

    def read(self, ohm, *, quantity=None, flags=frozenset(), full_scale=None):
        self.now_s += 0.1
        self.conversion += 1
        how = {"quantity": quantity, "flags": flags, "full_scale": full_scale, "utc_s": self.utc_s}
        new = self.pipeline.feed(shown(self.pipeline.wanted, ohm, self.conversion, self.now_s, **how))
        self.events += new
        return new

    def hold(self, ohm, seconds=3.0):
        """Touch, hold, lift; gives everything that happened."""
        new = []
        for _ in range(round(seconds * 10)):
            new += self.read(ohm)
        for _ in range(8):
            new += self.read(None)
        return new

    def air(self, seconds):
        """Probes in the air, with the daemon's ticks in between."""
        for _ in range(round(seconds * 10)):
            self.read(None)
        self.events += self.pipeline.tick(self.now_s, self.utc_s)

    def command(self, command):
        new = self.pipeline.command(command, self.now_s, self.utc_s)
        self.events += new
        return new

    def begin(self, serial="A1"):
        self.command(StartUnit(serial))
        if self.prompt.ask is Ask.SHORT_PROBES:
            self.hold(0.0)

    @property
    def prompt(self):
        return next(e for e in reversed(self.events) if isinstance(e, Prompt))

    def work_through(self, values):
        """Touch whatever is asked for until the unit is done; `values` by pair."""
        for _ in range(40):
            if self.prompt.ask is Ask.START_UNIT:
                break
            self.hold(values[tuple(self.prompt.pair)])
        return self.of(UnitResult)[-1]

    def of(self, kind):
        return [e for e in self.events if isinstance(e, kind)]
