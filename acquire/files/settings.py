"""One bench, from one TOML file: what is measured for which purpose, with which instruments, written where.

Paths of the file are taken from the file's own folder. Passwords never stand in it: only the name of an
environment variable or of a file. Not for sheets and meter files, which a bench file only names.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from acquire.files.bench_tables import (
    TYPED,
    CsvSettings,
    JournalSettings,
    LeadSettings,
    LowOhms,
    MeterSettings,
    PlaceSettings,
    ScannerSettings,
    SettleSection,
    TemperatureSettings,
    TemperatureSource,
)
from acquire.files.duty_tables import (
    CheckSettings,
    FixtureSettings,
    InsulationSettings,
    ReferenceSettings,
    ShopSettings,
)
from acquire.files.network_tables import HttpSettings, MqttSettings, PageSettings
from acquire.files.shared import SharedSettings
from acquire.files.shipped import meter_file_for
from acquire.files.toml_file import Faults, Table, TomlFile, did_you_mean, read_toml
from acquire.records import Purpose
from acquire.records.codes import Order
from drivers.errors import DriverUnknown, MeterError
from drivers.registry import (
    BUILT_IN,
    device_options,
    driver_class,
    known_drivers,
    open_meter,
    options_with_profile,
)
from drivers.self_check import needs_self_check, self_check_steps
from drivers.toml_lines import Path as KeyPath

TABLES: dict[str, type[Table]] = {
    "bench": PlaceSettings,
    "meter": MeterSettings,
    "temperature": TemperatureSettings,
    "scanner": ScannerSettings,
    "fixture": FixtureSettings,
    "leads": LeadSettings,
    "check": CheckSettings,
    "reference": ReferenceSettings,
    "insulation": InsulationSettings,
    "settle": SettleSection,
    "journal": JournalSettings,
    "csv": CsvSettings,
    "mqtt": MqttSettings,
    "http": HttpSettings,
    "page": PageSettings,
    "shop": ShopSettings,
    "files": SharedSettings,
}
"""All tables of a bench file; each but [[reference]] stands once."""

BY_DEFAULT = frozenset({"leads", "insulation", "settle", "journal"})
"""Tables whose defaults stand for them."""

FIRST_KEYS = {"bench": 'name = "bench-1"', "temperature": 'source = "typed"'}
"""Tables that must be there, with what they begin with."""


class Bench(Table):
    """Everything a bench file says, checked, with all defaults filled in and all paths absolute.

    Attributes:
        file: the file itself.
        content_hash: SHA-256 of its bytes, hexadecimal.
        name, purpose, sheet, operator, batch, order, spools, serial_pattern, low_ohms: of the
            `[bench]` table; `sheet` and `spools` are paths.
        references: all of `[[reference]]`; every other field is the table of its name, None where the file
            has none and no defaults stand for it.
    """

    file: Path
    content_hash: str
    name: str
    purpose: Purpose
    sheet: Path
    operator: str
    batch: str
    order: Order
    spools: Path | None
    serial_pattern: str
    low_ohms: LowOhms
    meter: MeterSettings
    temperature: TemperatureSettings
    scanner: ScannerSettings | None
    fixture: FixtureSettings | None
    leads: LeadSettings
    check: CheckSettings | None
    references: tuple[ReferenceSettings, ...]
    insulation: InsulationSettings
    settle: SettleSection
    journal: JournalSettings
    csv: CsvSettings | None
    mqtt: MqttSettings | None
    http: HttpSettings | None
    page: PageSettings | None
    shop: ShopSettings | None
    files: SharedSettings | None = None


def load_bench(path: Path) -> Bench:
    """Read and check one bench file.

    Opens no instrument and reads no secret; the sheet and meter files must exist but are read elsewhere.

    Args:
        path: a TOML file as configs/README.md describes it.

    Raises:
        FileInvalid: with every fault found, each with its line.
    """
    return bench_of(read_toml(path, "bench file"))


def bench_of(file: TomlFile) -> Bench:
    """Check a bench file that has been read.

    Raises:
        FileInvalid: with every fault found, each with its line.
    """
    faults = Faults(file)
    faults.unknown_tables(TABLES, "bench file")
    found: dict[str, Any] = {}
    for name, model in TABLES.items():
        if name == "reference":
            found["references"] = tuple(each for _, each in faults.several(model, name) if each is not None)
        elif name in file.tree or name in BY_DEFAULT:
            found[name] = faults.check(model, file.tree.get(name, {}), (name,))
        elif name in FIRST_KEYS:
            faults.add((), f"there is no [{name}] table.", f"Add one, beginning with {FIRST_KEYS[name]}.")
    if "meter" not in file.tree:
        found["meter"] = _typed_meter()
    place, meter, temperature = (found.get(name) for name in ("bench", "meter", "temperature"))
    _check_files(faults, place, meter)
    _check_instruments(faults, meter, temperature)
    _check_references(faults, found["references"], found.get("check"))
    if (scanner := found.get("scanner")) is not None:
        faults.check(device_options("scanner"), scanner.options, ("scanner", "options"))
    if (fixture := found.get("fixture")) is not None:
        faults.check(device_options("switch card"), fixture.card_options, ("fixture", "options"))
    faults.stop_here()
    about: dict[str, Any] = {"file": file.path.absolute(), "content_hash": file.content_hash}
    whole = {**dict.fromkeys(TABLES), **dict(place or ()), **found, **about}
    return Bench.model_construct(**{name: whole[name] for name in Bench.model_fields})


def _typed_meter() -> MeterSettings:
    """Without [meter] the meter has no cable, and is of the poorest kind until its own file is named."""
    return MeterSettings(driver=TYPED, model=meter_file_for(None, settable=False).as_posix())


def _check_files(faults: Faults, place: PlaceSettings | None, meter: MeterSettings | None) -> None:
    """The files that a bench file names must be there."""
    named: list[tuple[KeyPath, str, Path]] = []
    if place is not None:
        named.append((("bench", "sheet"), "sheet", place.sheet))
        if place.spools is not None:
            named.append((("bench", "spools"), "file of spool cards", place.spools))
    if meter is not None:
        named.append((("meter", "model"), "meter file", meter.model))
    for at, kind, path in named:
        try:
            there = path.is_file()
        except OSError:  # a name too long for the system, a folder that may not be entered
            there = False
        if not there:
            faults.add(at, f"there is no {kind} {path}.", "A path is taken from the folder of this file.")


def _check_instruments(
    faults: Faults, meter: MeterSettings | None, temperature: TemperatureSettings | None
) -> None:
    """Drivers must be known and take the options given; the two instruments need two names."""
    if meter is not None:
        _check_driver(faults, "meter", meter.driver, meter.options)
        _check_self_check(faults, meter)
    if temperature is not None and temperature.source is TemperatureSource.METER:
        _check_driver(faults, "temperature", temperature.driver, temperature.options)
        if meter is not None and meter.id == temperature.id:
            what = f'meter and thermometer are both named "{meter.id}".'
            faults.add(("temperature", "id"), what, "Give them different names.")


def _check_driver(faults: Faults, table: str, driver: str, options: dict[str, Any]) -> None:
    if driver not in BUILT_IN and driver not in known_drivers():
        faults.add(
            (table, "driver"), f'there is no driver "{driver}".', did_you_mean(driver, known_drivers())
        )
        return
    try:
        model = driver_class(driver).Options
    except DriverUnknown as error:
        faults.add((table, "driver"), f"{error.what}.", error.hint)
        return
    try:
        options = options_with_profile(driver, options)
    except MeterError as error:
        faults.add((table, "options", "profile"), error.what, error.hint)
        return
    faults.check(model, options, (table, "options"))


def _check_self_check(faults: Faults, meter: MeterSettings) -> None:
    """A meter whose bytes are known from memory only must have a resistor to prove itself on."""
    if meter.self_check is not None:
        try:
            self_check_steps(meter.self_check)
        except ValueError as error:
            faults.add(("meter", "self_check"), "this resistor cannot serve.", f"Please {error}.")
        return
    try:
        made = open_meter(
            meter.driver,
            meter_id=meter.id,
            address=meter.link,
            clock=lambda: (0.0, 0.0),
            options=meter.options,
        )
    except MeterError:  # told where it is looked at
        return
    if needs_self_check(made.capabilities):
        what = f'what "{meter.driver}" makes of this meter\'s bytes is known from memory only.'
        remedy = 'Have it prove itself at the start: add self_check = "470 ohm", a resistor that you have.'
        faults.add(("meter", "self_check"), what, remedy)


def _check_references(
    faults: Faults, references: tuple[ReferenceSettings, ...], check: CheckSettings | None
) -> None:
    """The record tells known resistors apart by their names."""
    names = [] if check is None else [check.resistor]
    for at, each in enumerate(references):
        if each.resistor in names:
            what = f'another known resistor is named "{each.resistor}" too.'
            faults.add(("reference", at, "resistor"), what, "Give each its own name.")
        names.append(each.resistor)
