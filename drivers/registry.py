"""From a driver's name to a meter. The only place that imports drivers by name, and only when asked for.

Third parties register a class under the entry point group `steadyohm.drivers`; the built-in table makes the
source tree work without being installed. Not for opening links: a meter opens its own when it is entered.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import entry_points
from typing import Any

from pydantic import BaseModel, ValidationError

from drivers.errors import DriverUnknown, MeterError
from drivers.meter import Capabilities, ClockPair, Meter

GROUP = "steadyohm.drivers"
BUILT_IN: dict[str, str] = {
    "scpi": "drivers.scpi.bench_meter:BenchMeter",
    "lines": "drivers.handheld.line_meter:LineMeter",
}
"""Name to `module:Class`."""


class OptionsInvalid(MeterError):
    """A driver's options in the bench file cannot be used; the file is at fault."""

    hint = "drivers/README.md lists the options of each driver."


@dataclass(frozen=True, slots=True)
class DriverEntry:
    """One driver as `steadyohm meters` lists it.

    Attributes:
        name: what the bench file calls it.
        target: `module:Class`.
        capabilities: None when it cannot be used.
        reason: why it cannot be used; empty when it can.
    """

    name: str
    target: str
    capabilities: Capabilities | None
    reason: str = ""


def known_drivers() -> dict[str, str]:
    """Name to `module:Class` of every driver, built in or installed; imports none of them."""
    found = dict(BUILT_IN)
    for point in entry_points(group=GROUP):
        found.setdefault(point.name, point.value)  # ours keep their names
    return dict(sorted(found.items()))


def driver_class(driver: str) -> Any:
    """Import a driver's class.

    Raises:
        DriverUnknown: there is none of that name, or a library of its is missing; says which.
    """
    known = known_drivers()
    target = known.get(driver)
    if target is None:
        raise DriverUnknown(f"there is no driver {driver!r}; there are {', '.join(known)}")
    module_name, _, class_name = target.partition(":")
    try:
        return getattr(importlib.import_module(module_name), class_name)
    except ImportError as error:
        raise DriverUnknown(
            f"the driver {driver!r} cannot be used: {error}",
            hint="Install the missing package beside steadyohm.",
        ) from error
    except AttributeError as error:
        raise DriverUnknown(f"the driver {driver!r} names {target}, which has no such class") from error


def open_meter(
    driver: str, *, meter_id: str, address: str, clock: ClockPair, options: Mapping[str, Any] | None = None
) -> Meter:
    """Make a meter. It connects when it is entered (`async with`), not before.

    Args:
        driver: its name, as `list_drivers` gives it.
        meter_id: the meter's name in the bench file.
        address: where it is, e.g. `tcp:127.0.0.1:5025`.
        clock: gives (monotonic seconds, UTC seconds).
        options: the driver's own, as the bench file gives them.

    Raises:
        DriverUnknown: no such driver.
        OptionsInvalid: an option is unknown or out of bounds; names all that are.
        AddressInvalid: the address cannot be understood.
    """
    made_by = driver_class(driver)
    checked = _check_options(driver, made_by.Options, dict(options or {}), address)
    meter: Meter = made_by(meter_id=meter_id, address=address, clock=clock, options=checked)
    return meter


def _check_options(driver: str, model: type[BaseModel], options: dict[str, Any], address: str) -> BaseModel:
    try:
        return model.model_validate(options)
    except ValidationError as error:
        faults = "; ".join(_fault(item["type"], item["loc"], item["msg"], model) for item in error.errors())
        raise OptionsInvalid(
            f"the options of driver {driver!r} are wrong: {faults}.", port=address
        ) from error


def _fault(kind: str, location: tuple[int | str, ...], message: str, model: type[BaseModel]) -> str:
    name = ".".join(str(part) for part in location) or "they"
    if kind == "extra_forbidden":
        return f"{name} is unknown (known are {', '.join(model.model_fields)})"
    text = message.removeprefix("Value error, ")
    return f"{name}: {text[:1].lower()}{text[1:]}"


def list_drivers() -> list[DriverEntry]:
    """Every driver with what it can do, or the reason why it cannot be used."""
    entries = []
    for name, target in known_drivers().items():
        try:
            entries.append(DriverEntry(name, target, driver_class(name).capabilities))
        except DriverUnknown as error:
            entries.append(DriverEntry(name, target, None, error.what))
    return entries
