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
    StepOrder,
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
from acquire.files.toml_file import Faults, Model, Table, TomlFile, did_you_mean, read_toml
from acquire.files.toml_lines import Path as KeyPath
from acquire.records import Purpose
from drivers.errors import DriverUnknown, MeterError
from drivers.registry import (
    BUILT_IN,
    driver_class,
    known_drivers,
    open_meter,
    options_with_profile,
    scanner_options,
    switch_card_options,
)
from drivers.self_check import needs_self_check, self_check_steps

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
"""All tables of a bench file; each but [[reference]] stands once. [bench] and [temperature] must be there."""


class Bench(Table):
    """Everything a bench file says, checked, with all defaults filled in and all paths absolute.

    Attributes:
        file: the file itself.
        content_hash: SHA-256 of its bytes, hexadecimal.
        name, purpose, sheet, operator, batch, order, spools, serial_pattern, low_ohms: of the
            `[bench]` table; `sheet` and `spools` are paths.
        meter: the instrument that measures ohms.
        temperature: where the winding's temperature comes from.
        scanner: None where serials are typed.
        fixture: None where hands hold the probes.
        leads: what the test leads add.
        check: the check standard; None where none is asked for.
        references: known resistances that values on their ranges are compared with.
        insulation: what is taken for granted of typed insulation results.
        settle: when a reading counts as at rest.
        journal: the record.
        csv: None where no CSV is wanted.
        mqtt: None where nothing is published.
        http: None where nothing listens for monitors.
        page: None where there is no bench page.
        shop: heading of papers; None where the file gives none.
        files: where shared files come from; None where there are none.
    """

    file: Path
    content_hash: str
    name: str
    purpose: Purpose
    sheet: Path
    operator: str
    batch: str
    order: StepOrder
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
    place = _needed(faults, PlaceSettings, "bench", 'name = "bench-1"')
    meter = _typed_meter() if "meter" not in file.tree else _optional(faults, MeterSettings, "meter")
    temperature = _needed(faults, TemperatureSettings, "temperature", 'source = "typed"')
    others: dict[str, Any] = {
        "scanner": _optional(faults, ScannerSettings, "scanner") if "scanner" in file.tree else None,
        "fixture": _optional(faults, FixtureSettings, "fixture") if "fixture" in file.tree else None,
        "leads": _optional(faults, LeadSettings, "leads"),
        "check": _optional(faults, CheckSettings, "check") if "check" in file.tree else None,
        "references": tuple(r for _, r in faults.several(ReferenceSettings, "reference") if r is not None),
        "insulation": _optional(faults, InsulationSettings, "insulation"),
        "settle": _optional(faults, SettleSection, "settle"),
        "journal": _optional(faults, JournalSettings, "journal"),
        "csv": _optional(faults, CsvSettings, "csv") if "csv" in file.tree else None,
        "mqtt": _optional(faults, MqttSettings, "mqtt") if "mqtt" in file.tree else None,
        "http": _optional(faults, HttpSettings, "http") if "http" in file.tree else None,
        "page": _optional(faults, PageSettings, "page") if "page" in file.tree else None,
        "files": _optional(faults, SharedSettings, "files") if "files" in file.tree else None,
        "shop": _optional(faults, ShopSettings, "shop") if "shop" in file.tree else None,
    }
    _check_files(faults, place, meter)
    _check_instruments(faults, meter, temperature)
    _check_scanner(faults, others["scanner"])
    _check_references(faults, others["references"], others["check"])
    _check_fixture(faults, others["fixture"])
    faults.stop_here()
    whole = {**dict(place or ()), **others, "meter": meter, "temperature": temperature}
    return Bench.model_construct(file=file.path.absolute(), content_hash=file.content_hash, **whole)


def _typed_meter() -> MeterSettings:
    """Without [meter] the meter has no cable, and is of the poorest kind until its own file is named."""
    return MeterSettings(driver=TYPED, model=meter_file_for(None, settable=False).as_posix())


def _needed(faults: Faults, model: type[Model], name: str, first_key: str) -> Model | None:
    """A table that must be there; None where it is missing or faulty, which is noted."""
    if name not in faults.file.tree:
        faults.add((), f"there is no [{name}] table.", f"Add one, beginning with {first_key}.")
        return None
    return faults.check(model, faults.file.tree[name], (name,))


def _optional(faults: Faults, model: type[Model], name: str) -> Model | None:
    """A table that may be missing: its defaults stand for it then."""
    return faults.check(model, faults.file.tree.get(name, {}), (name,))


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


def _check_fixture(faults: Faults, fixture: FixtureSettings | None) -> None:
    if fixture is not None:
        faults.check(switch_card_options(), fixture.card_options, ("fixture", "options"))


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


def _check_scanner(faults: Faults, scanner: ScannerSettings | None) -> None:
    if scanner is not None:
        faults.check(scanner_options(), scanner.options, ("scanner", "options"))
