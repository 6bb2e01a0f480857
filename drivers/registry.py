"""From a driver's name to a meter. The only place that imports drivers by name, and only when asked for.

Third parties register a class under the entry point group `steadyohm.drivers`; the built-in table makes the
source tree work without being installed. Not for opening links: a meter opens its own when it is entered.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.metadata import entry_points
from types import MappingProxyType
from typing import Any

from pydantic import BaseModel, ValidationError

from drivers.errors import DriverUnknown, GivenInvalid
from drivers.meter import Capabilities, ClockPair, Meter
from drivers.profiles import Profile, ProfileInvalid, load_profile, shipped_profiles

GROUP = "steadyohm.drivers"
BUILT_IN: dict[str, str] = {
    "scpi": "drivers.scpi.bench_meter:BenchMeter",
    "lcr": "drivers.scpi.lcr_meter:LcrMeter",
    "lines": "drivers.handheld.meters:LineMeter",
    "status14": "drivers.handheld.meters:Status14Meter",
    "parity11": "drivers.handheld.meters:Parity11Meter",
    "segments14": "drivers.handheld.meters:Segments14Meter",
    "stx16": "drivers.handheld.meters:Stx16Meter",
    "ascii14": "drivers.handheld.meters:Ascii14Meter",
    "two_line": "drivers.handheld.meters:TwoLineMeter",
    "typed": "drivers.handheld.typed:TypedMeter",
    "modbus": "drivers.modbus.register_meter:RegisterMeter",
    "platinum": "drivers.platinum:PlatinumThermometer",
}
"""Name to `module:Class`."""

DEVICES = {"scanner": "drivers.scanner.scanner:Scanner", "switch card": "drivers.scpi.switch_card:SwitchCard"}
"""What a bench may have beside its meters, likewise."""


class OptionsInvalid(GivenInvalid):
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
        profiles: those that come with it, by name.
    """

    name: str
    target: str
    capabilities: Capabilities | None
    reason: str = ""
    profiles: Mapping[str, Profile] = field(default_factory=dict)


@cache
def known_drivers() -> Mapping[str, str]:
    """Name to `module:Class` of every driver, built in or installed; imports none of them.

    Looked up once: to read what every installed package offers takes a tenth of a second.
    """
    found = dict(BUILT_IN)
    for point in entry_points(group=GROUP):
        found.setdefault(point.name, point.value)  # ours keep their names
    return MappingProxyType(dict(sorted(found.items())))


def driver_class(driver: str) -> Any:
    """Import a driver's class.

    Raises:
        DriverUnknown: there is none of that name, or a library of its is missing; says which.
    """
    target = BUILT_IN.get(driver) or known_drivers().get(driver)
    if target is None:
        raise DriverUnknown(f"there is no driver {driver!r}; there are {', '.join(known_drivers())}")
    try:
        return _class_at(target)
    except ImportError as error:
        raise DriverUnknown(
            f"the driver {driver!r} cannot be used: {error}",
            hint=_remedy(error),
        ) from error
    except AttributeError as error:
        raise DriverUnknown(f"the driver {driver!r} names {target}, which has no such class") from error


def _class_at(target: str) -> Any:
    module_name, _, class_name = target.partition(":")
    return getattr(importlib.import_module(module_name), class_name)


def _remedy(error: ImportError) -> str:
    """What to install for a driver whose library is missing."""
    if error.name == "pymodbus":
        return 'Install it with: pip install "steadyohm[modbus]".'
    return "Install the missing package beside steadyohm."


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

    `profile` among the options names a profile; the other options go before what it sets.

    Raises:
        DriverUnknown: no such driver.
        ProfileInvalid: the profile cannot be used, or belongs to another driver.
        OptionsInvalid: an option is unknown or out of bounds; names all that are.
        AddressInvalid: the address cannot be understood.
    """
    made_by = driver_class(driver)
    given = dict(options or {})
    name = given.pop("profile", None)
    profile = _profile(driver, made_by, str(name)) if name is not None else None
    if profile is not None:
        given = {**profile.options, **given}
        address = with_line(address, profile.line)
    checked = _check_options(driver, made_by.Options, given, address)
    meter: Meter = made_by(meter_id=meter_id, address=address, clock=clock, options=checked)
    if profile is not None:
        meter.capabilities = replace(meter.capabilities, verification=profile.verified)
    return meter


def check_options(driver: str, options: Mapping[str, Any]) -> BaseModel:
    """Check a driver's options, its profile included, without making a meter.

    Raises:
        DriverUnknown, ProfileInvalid, OptionsInvalid: as `open_meter`.
    """
    return _check_options(driver, driver_class(driver).Options, options_with_profile(driver, options), "")


def options_with_profile(driver: str, options: Mapping[str, Any]) -> dict[str, Any]:
    """The options with those of the profile that they name filled in; `profile` itself is gone.

    Raises:
        DriverUnknown: no such driver.
        ProfileInvalid: the profile cannot be used, or belongs to another driver.
    """
    given = dict(options)
    name = given.pop("profile", None)
    return given if name is None else {**_profile(driver, driver_class(driver), str(name)).options, **given}


def _profile(driver: str, made_by: Any, name: str) -> Profile:
    package = made_by.__module__.rpartition(".")[0]
    if "/" not in name and not name.endswith(".toml") and name not in shipped_profiles(package):
        own = ", ".join(_profiles_of(driver, made_by)) or "none"
        raise ProfileInvalid(f"there is no profile {name!r} for the driver {driver!r}; there are: {own}.")
    profile = load_profile(name, package)
    if profile.driver != driver:
        raise ProfileInvalid(f"the profile {name!r} is for the driver {profile.driver!r}, not {driver!r}.")
    return profile


def with_line(address: str, line: str) -> str:
    """Add a profile's serial settings to an address that has none of its own."""
    is_serial = address.startswith(("serial:", "rfc2217:"))
    return f"{address}?{line}" if line and is_serial and "?" not in address else address


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


def device_options(device: str) -> type[BaseModel]:
    """The model of a device's options, by its name in `DEVICES`."""
    model: type[BaseModel] = _class_at(DEVICES[device]).Options
    return model


def open_device(
    device: str, *given: Any, address: str = "", options: Mapping[str, Any] | None = None, **named: Any
) -> Any:
    """Make what stands beside a meter; it connects when it is entered.

    Args:
        device: its name in `DEVICES`.
        given: what its class takes by place.
        address: of its link; empty where it shares the meter's.
        options: its own, as the bench file gives them.
        named: what its class takes by name.

    Raises:
        OptionsInvalid, AddressInvalid: the bench file is at fault.
    """
    checked = _check_options(device, device_options(device), dict(options or {}), address)
    return _class_at(DEVICES[device])(*given, address=address, options=checked, **named)


def list_drivers() -> list[DriverEntry]:
    """Every driver with what it can do, or the reason why it cannot be used."""
    entries = []
    for name, target in known_drivers().items():
        try:
            made_by = driver_class(name)
            entries.append(DriverEntry(name, target, made_by.capabilities, "", _profiles_of(name, made_by)))
        except DriverUnknown as error:
            entries.append(DriverEntry(name, target, None, f"{error.what}. {error.hint}"))
    return entries


def _profiles_of(driver: str, made_by: Any) -> dict[str, Profile]:
    package = made_by.__module__.rpartition(".")[0]
    loaded = {name: load_profile(name, package) for name in shipped_profiles(package)}
    return {name: profile for name, profile in loaded.items() if profile.driver == driver}
