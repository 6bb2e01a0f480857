"""The keys of a bench file, table by table. configs/README.md explains each to users.

Only what can be checked inside one table is checked here. Not for reading files (settings).
"""

from __future__ import annotations

import math
import re
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, AliasChoices, Field, PlainValidator, ValidationInfo, model_validator

from acquire.files.toml_file import Flag, Text, TomlTable, sentence
from acquire.physics.leads import LEAD_LIMIT_OHM
from acquire.quantity import Celsius, Fraction, Kelvin, Ohm, Seconds, ZeroOrMoreOhm
from acquire.records import Purpose
from acquire.records.codes import Order, Recheck
from acquire.records.commands import COLDEST_CELSIUS, WARMEST_CELSIUS
from drivers.errors import AddressInvalid
from drivers.link.address import parse_address


def _path(given: object, info: ValidationInfo) -> Path:
    """A path, taken from the folder of the file it stands in (`info.context["folder"]`)."""
    if not isinstance(given, str) or not given or len(given) > 1000 or not given.isprintable():
        raise sentence("this is no path.", 'Write it like "../sheets/plover-80.toml".')
    folder = (info.context or {}).get("folder", Path())
    path = Path(folder, given)
    try:
        return path.resolve()
    except (OSError, RuntimeError):  # RuntimeError: links that lead in a circle
        return path.absolute()


def _link(given: object) -> str:
    """An address of a link, as written."""
    if not isinstance(given, str):
        raise sentence("this is no address of a link.", 'Write it like "tcp:127.0.0.1:5025".')
    try:
        return parse_address(given).text
    except AddressInvalid as error:
        raise sentence(
            f"{error.what}.", 'Write it like "tcp:127.0.0.1:5025" or "serial:/dev/ttyUSB0".'
        ) from error


FilePath = Annotated[Path, PlainValidator(_path)]


def _scanner_link(given: object) -> str:
    """An address of a link, or of a keyboard of its own: many scanners are one."""
    if isinstance(given, str) and given.startswith("keyboard:/"):
        return given
    return _link(given)


def _expression(given: str) -> str:
    """A regular expression."""
    try:
        re.compile(given)
    except re.error as error:
        what = f'"{given}" is no regular expression: {error}.'
        raise sentence(what, "Write one such as 'P80-\\d{4}', in single quotes.") from error
    return given


def _options(given: object, info: ValidationInfo) -> dict[str, Any]:
    """A driver's options; a profile that is a file is taken from the folder of the bench file."""
    if not isinstance(given, dict):
        raise sentence("this is no table.", 'Write it like { profile = "./my-meter.toml" }.')
    profile = given.get("profile")
    if not isinstance(profile, str) or not ("/" in profile or profile.endswith(".toml")):
        return given
    return {**given, "profile": str(_path(profile, info))}


Link = Annotated[str, PlainValidator(_link)]
ScannerLink = Annotated[str, PlainValidator(_scanner_link)]
DriverOptions = Annotated[dict[str, Any], PlainValidator(_options)]
BenchName = Annotated[
    str,
    Field(
        max_length=32,
        pattern=r"^[a-z0-9]([a-z0-9-]*[a-z0-9])?$",
        description="It goes into topics and paths: small letters, digits and hyphens only.",
        examples=['"bench-1"'],
    ),
]
BatchName = Annotated[
    str,
    Field(
        max_length=60,
        pattern=r"^([\w+-][\w .+-]*)?$",
        description="It goes into file names: letters, digits, spaces and the signs . _ + - only.",
    ),
]


class Overdue(StrEnum):
    """What a meter past its calibration date means."""

    WARN = "warn"
    REFUSE = "refuse"


class TemperatureSource(StrEnum):
    """Where the winding's temperature comes from."""

    METER = "meter"
    TYPED = "typed"


class ZeroSource(StrEnum):
    """Where the lead zero comes from."""

    ASK = "ask"
    VALUE = "value"
    NONE = "none"


class LowOhms(StrEnum):
    """What low ohms are judged by where the meter is too poor for their tolerance."""

    TOLERANCE = "tolerance"
    CONTINUITY = "continuity"


class PlaceSettings(TomlTable):
    """`[bench]`: who measures what, and why.

    Attributes:
        name: of the bench; part of topics and file names.
        purpose: why it measures; incoming and returned units are judged by the wide limits.
        sheet: path of the sheet file.
        operator: who works here; goes on the record.
        batch: number of the batch; goes on the record.
        order: guided, one step after the other as the sheet lists them; or free, whichever is touched.
        spools: path of the file of spool cards; None where no spool was measured.
        serial_pattern: regular expression that every serial matches in full; others are asked about.
        low_ohms: what is judged of low ohms where the meter cannot judge their tolerance.
    """

    name: BenchName
    purpose: Purpose = Field(examples=['"final"'])
    sheet: Annotated[FilePath, Field(examples=['"../sheets/plover-80.toml"'])]
    operator: Text = ""
    batch: BatchName = ""
    order: Order = Order.GUIDED
    spools: Annotated[FilePath | None, Field(examples=['"../wire/spools.toml"'])] = None
    serial_pattern: Annotated[str, AfterValidator(_expression), Field(examples=["'P80-\\d{4}'"])] = ""
    low_ohms: LowOhms = LowOhms.TOLERANCE


LOW_OHMS_LINE = 'low_ohms = "continuity"         # below an ohm a hand meter can show no more\n'
"""What is proposed to the bench of a meter that counts no milliohms."""

TYPED = "typed"
"""The driver of a meter without a cable, and its name on the record where the file gives none."""


class MeterSettings(TomlTable):
    """`[meter]`: the instrument that measures ohms.

    Attributes:
        driver: name of its driver.
        link: address of its link; empty for a meter without one, whose readings are typed.
        model: path of its meter file, which states its accuracy.
        id: its name on the record.
        four_wire_below: pairs of a smaller nominal are measured with four wires; None for a meter with two.
        integration_plc: integration time of a conversion, power line cycles; None keeps the meter's own.
        offset_compensation: cancel thermal voltages where the meter can.
        overdue: what a meter past its calibration date means.
        self_check: resistor on which the meter must prove itself before verdicts; None where it need not.
        options: of the driver.
    """

    driver: Annotated[Text, Field(examples=['"scpi"'])]
    link: Annotated[Link, Field(examples=['"tcp:127.0.0.1:5025"'])] = ""
    model: Annotated[FilePath, Field(examples=['"../meters/hand-2000.toml"'])]
    id: BenchName = Field(default_factory=lambda known: TYPED if known.get("driver") == TYPED else "meter")
    four_wire_below: Ohm | None = None
    integration_plc: Annotated[float, Field(gt=0.0, le=1000.0, allow_inf_nan=False, strict=True)] | None = (
        None
    )
    offset_compensation: Flag = False
    overdue: Overdue = Overdue.WARN
    self_check: Ohm | None = None
    options: DriverOptions = Field(default_factory=dict)

    @model_validator(mode="after")
    def _has_its_link(self) -> MeterSettings:
        """Only what is typed comes without one."""
        if not self.link and self.driver != TYPED:
            raise ValueError("the meter needs link, its address")
        if self.link and self.driver == TYPED:
            raise ValueError("a meter whose readings are typed has no link: leave it out")
        return self


class SecondThermometer(TomlTable):
    """`[temperature.second]`: another thermometer beside the first; what both say alike counts.

    Attributes:
        driver, link, id, options: of it.
    """

    driver: Text = "lines"
    link: Annotated[Link, Field(examples=['"serial:/dev/ttyUSB1"'])]
    id: BenchName = "thermometer-2"
    options: DriverOptions = Field(default_factory=dict)


class TemperatureSettings(TomlTable):
    """`[temperature]`: of the room, and so of a unit that has soaked in it.

    Attributes:
        source: a thermometer on a link, or typed.
        driver: of the thermometer.
        link: of the thermometer.
        id: its name on the record.
        options: of its driver.
        value: the typed temperature, degrees Celsius.
        uncertainty: limits of error of either, kelvin (half-width).
        max_age: an older temperature is not used; seconds.
        coldest, warmest: what the air of the place can be, degrees Celsius; another reading is not used.
        second: a thermometer that must agree with it.
    """

    source: TemperatureSource
    driver: Text = "lines"
    link: Link | None = Field(default=None, examples=['"serial:/dev/ttyUSB0"'])
    id: BenchName = "thermometer"
    options: DriverOptions = Field(default_factory=dict)
    value: Celsius | None = None
    uncertainty: Kelvin = 1.0
    max_age: Seconds | None = Field(default=None, validation_alias=AliasChoices("max_age", "oldest"))
    coldest: Celsius = COLDEST_CELSIUS
    warmest: Celsius = WARMEST_CELSIUS
    second: SecondThermometer | None = None

    @model_validator(mode="after")
    def _has_its_source(self) -> TemperatureSettings:
        if self.source is TemperatureSource.METER and self.link is None:
            raise ValueError('source = "meter" needs link, the address of the thermometer')
        if self.source is TemperatureSource.METER and self.value is not None:
            raise ValueError('value belongs to source = "typed"')
        if self.source is TemperatureSource.TYPED and self.value is None:
            raise ValueError('source = "typed" needs value, such as value = "21.5 °C"')
        if self.source is TemperatureSource.TYPED and self.link is not None:
            raise ValueError('link belongs to source = "meter"')
        if self.second is not None and (
            self.source is not TemperatureSource.METER or self.second.id == self.id
        ):
            raise ValueError('second belongs to source = "meter", and needs another id than the first')
        if not self.coldest < self.warmest:
            raise ValueError("coldest must lie below warmest")
        if self.value is not None and not self.coldest <= self.value <= self.warmest:
            raise ValueError("value must lie between coldest and warmest")
        return self

    @property
    def max_age_s(self) -> float:
        """Oldest temperature that is used: 5 minutes from a thermometer, 4 hours typed, unless given."""
        if self.max_age is not None:
            return self.max_age
        return 300.0 if self.source is TemperatureSource.METER else 4 * 3600.0

    @property
    def standard_uncertainty_kelvin(self) -> float:
        """From limits of error, rectangular: half-width by the root of three (JCGM 100:2008, 4.3.7)."""
        return self.uncertainty / math.sqrt(3.0)


class ScannerSettings(TomlTable):
    """`[scanner]`: reads serials off labels. Without this table they are typed, or typed by the scanner.

    Attributes:
        link: address of its link, or of its own keyboard device.
        id: its name on the record.
        options: of the scanner.
    """

    link: Annotated[ScannerLink, Field(examples=['"keyboard:/dev/input/by-id/usb-…-event-kbd"'])]
    id: BenchName = "scanner"
    options: dict[str, Any] = Field(default_factory=dict)


class LeadSettings(TomlTable):
    """`[leads]`: what the test leads add to a two-wire reading.

    Attributes:
        zero: ask for shorted probes; a stated value; or none, for a bench that measures with four wires.
        value: the stated zero.
        uncertainty: its limits of error (half-width).
        max_age: an older zero is asked for again; seconds.
        recheck: when a zero is looked at again: after every unit, once it is too old, or never by itself.
    """

    zero: ZeroSource = ZeroSource.ASK
    value: ZeroOrMoreOhm | None = None
    uncertainty: Ohm | None = None
    max_age: Seconds = Field(default=8 * 3600.0, validation_alias=AliasChoices("max_age", "oldest"))
    recheck: Recheck = Recheck.SHIFT

    @model_validator(mode="after")
    def _has_its_value(self) -> LeadSettings:
        stated = self.value is not None and self.uncertainty is not None
        if self.zero is ZeroSource.VALUE and not stated:
            raise ValueError('zero = "value" needs value and uncertainty')
        if self.zero is not ZeroSource.VALUE and (self.value is not None or self.uncertainty is not None):
            raise ValueError('value and uncertainty belong to zero = "value"')
        if self.value is not None and self.value > LEAD_LIMIT_OHM:
            raise ValueError(f"leads cannot have {self.value:g} ohm: they read less than {LEAD_LIMIT_OHM:g}")
        return self

    @property
    def standard_uncertainty_ohm(self) -> float | None:
        """Of the stated zero: half-width by the root of three (JCGM 100:2008, 4.3.7); None if asked for."""
        return None if self.uncertainty is None else self.uncertainty / math.sqrt(3.0)


SETTLE_WINDOW_S = 12.0
SETTLE_SPAN_S = 0.8
"""Defaults of the settle stage that these settings are checked against."""


class SettleSection(TomlTable):
    """`[settle]`: when a reading counts as at rest. Every key left out keeps the built-in value.

    Attributes:
        band_counts and so on: as `acquire.settle.settings.SettleSettings` explains them.
    """

    band_counts: Annotated[float, Field(gt=0.0, le=1000.0, allow_inf_nan=False, strict=True)] | None = None
    band_relative: Fraction | None = Field(default=None, alias="band")
    span_s: Seconds | None = Field(default=None, alias="span")
    min_conversions: Annotated[int, Field(strict=True, ge=3, le=10_000)] | None = None
    window_s: Seconds | None = Field(default=None, alias="window")
    horizon_s: Seconds | None = Field(default=None, alias="horizon")
    slow_horizon_s: Seconds | None = Field(default=None, alias="slow_horizon")
    slow_span_s: Seconds | None = Field(default=None, alias="slow_span")
    final_span_s: Seconds | None = Field(default=None, alias="final_span")
    lift_off_s: Seconds | None = Field(default=None, alias="lift_off")
    silence_s: Seconds | None = Field(default=None, alias="silence")
    longer_holds: Annotated[bool, Field(strict=True)] | None = None

    @model_validator(mode="after")
    def _window_is_longer(self) -> SettleSection:
        span_s, slow_s = self.span_s or SETTLE_SPAN_S, self.slow_span_s or 0.0
        if max(span_s, slow_s) >= (self.window_s or SETTLE_WINDOW_S):
            raise ValueError("window must be longer than span and slow_span")
        return self

    def overrides(self) -> dict[str, Any]:
        """What the file sets, by the field names of `acquire.settle.settings.SettleSettings`."""
        return self.model_dump(exclude_none=True)


class JournalSettings(TomlTable):
    """`[journal]`: the record that everything else follows.

    Attributes:
        folder: where it is kept.
    """

    folder: FilePath = Field(default="journal", validate_default=True)


class CsvSettings(TomlTable):
    """`[csv]`: verdicts as CSV files. Without this table none are written.

    Attributes:
        folder: where they go.
        per: a new file each day or each batch.
    """

    folder: FilePath = Field(default="csv", validate_default=True)
    per: Literal["day", "batch"] = "day"
