"""A value from an earlier paper record, brought onto the journal by hand. Never taken for a verdict."""

from __future__ import annotations

from dataclasses import dataclass

from acquire.choices import Outcome, Purpose


@dataclass(frozen=True, slots=True)
class ImportedResult:
    """One value of a paper record, as somebody copied it into a file.

    Attributes:
        bench: name in the journal that took it.
        step: name on the sheet, of the pair `pin_a`, `pin_b`.
        value_ohm: as on the paper; None for an open pair.
        celsius: temperature of the winding then; None where the paper does not say.
        reference_ohm: at `reference_celsius` of the sheet of today; None without a temperature.
        expanded_ohm: uncertainty of the value, 95 %; None where the paper does not say.
        outcome: as on the paper; None where it does not say.
        measured_utc_s: of the paper; a day counts from its beginning in UTC.
        source: name of the file; source_line: its line; source_hash: SHA-256 of the file, hexadecimal.
        utc_s: when it was imported.
    """

    bench: str
    serial: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    batch: str
    operator: str
    step: str
    pin_a: str
    pin_b: str
    value_ohm: float | None
    celsius: float | None
    reference_celsius: float
    reference_ohm: float | None
    expanded_ohm: float | None
    outcome: Outcome | None
    instrument: str
    remark: str
    measured_utc_s: float
    source: str
    source_line: int
    source_hash: str
    software: str
    utc_s: float
