"""What is really true about each unit and each touch, for whoever checks the verdicts afterwards.

Not for the operator or the meter, who never see it.
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any, TextIO

from sim.probes import Touch
from sim.scenes import PlannedUnit
from sim.units import UnitType
from sim.winding import WoundUnit

TOO_WARM_KELVIN = 3.0
"""Winding above ambient beyond which a careful bench does not judge (1.2 % of copper; workshop choice)."""
ISOLATED_OHM = 1e6


def perfect_verdicts(kind: UnitType, unit: WoundUnit) -> dict[str, dict[str, Any]]:
    """What a bench without any error would say of each step's pair, the unit at 20 °C."""
    limits = kind.pair_limits_ohm()
    found: dict[str, dict[str, Any]] = {}
    for pair in kind.steps:
        nominal, low, high = limits[pair]
        true_ohm = unit.steady_ohm(*pair)
        found["-".join(pair)] = {
            "nominal_ohm": round(nominal, 6),
            "lower_ohm": round(low, 6),
            "upper_ohm": round(high, 6),
            "true_ohm_20": round(true_ohm, 6) if math.isfinite(true_ohm) else None,
            "verdict": "pass" if low <= true_ohm <= high else "fail",
        }
    return found


def imbalances(kind: UnitType, unit: WoundUnit) -> list[tuple[float, float]]:
    """Largest deviation of pairs that must agree from their mean, as a fraction of it, and its limit."""
    found = []
    for pairs, limit in kind.balances:
        ohms = [unit.steady_ohm(*pair) for pair in pairs]
        if all(math.isfinite(ohm) for ohm in ohms):
            mean = sum(ohms) / len(ohms)
            found.append((max(abs(ohm - mean) for ohm in ohms) / mean, limit))
    return found


def unit_facts(kind: UnitType, planned: PlannedUnit) -> dict[str, Any]:
    """All that is true about a unit before anybody touches it.

    `verdict` is the worst of: its pairs, its balance, its isolation. A reversed coil passes them all: ohms
    cannot show it.
    """
    unit = planned.unit
    pairs = perfect_verdicts(kind, unit)
    uneven = imbalances(kind, unit)
    leaky = ["-".join(pair) for pair in kind.isolated() if unit.steady_ohm(*pair) < ISOLATED_OHM]
    bad_pairs = [name for name, pair in pairs.items() if pair["verdict"] == "fail"]
    bad_balance = any(off > limit for off, limit in uneven)
    return {
        "serial": unit.serial,
        "type": kind.key,
        "story": planned.story,
        "fault": asdict(planned.fault),
        "excess_kelvin": unit.excess_kelvin,
        "pairs": pairs,
        "imbalances": [round(off, 6) for off, _ in uneven],
        "leaky": leaky,
        "verdict": "fail" if bad_pairs or leaky or bad_balance else "pass",
        "too_warm_to_judge": unit.excess_kelvin > TOO_WARM_KELVIN,
    }


class TruthLog:
    """Writes what really was, one JSON object a line; writes nothing where no file is given."""

    def __init__(self, file: TextIO | None) -> None:
        self._file = file

    def write(self, what: str, **facts: Any) -> None:
        """Append one fact."""
        if self._file is not None:
            print(json.dumps({"truth": what, **facts}), file=self._file, flush=True)

    def unit(self, kind: UnitType, planned: PlannedUnit, celsius: float) -> None:
        """Append what a unit is when it comes to the bench, its winding at a temperature."""
        self.write("unit", **unit_facts(kind, planned), winding_celsius=round(celsius, 2))

    def touch(self, touch: Touch, unit: WoundUnit | None, celsius: float | None) -> None:
        """Append a touch that has ended."""
        ohm = None
        if touch.pair is not None and unit is not None and celsius is not None:
            ohm = unit.steady_ohm(*touch.pair, celsius)
        self.write(
            "touch",
            serial=None if unit is None else unit.serial,
            pins=None if touch.pair is None else list(touch.pair),
            start_s=round(touch.start_s, 3),
            end_s=round(touch.end_s, 3),
            true_ohm=None if ohm is None or math.isinf(ohm) else round(ohm, 6),
            lead_ohm=round(touch.lead_ohm + touch.contact_ohm, 6),
        )
