"""Who measures what, where, with what and by which rules: what a verdict's record repeats from its bench."""

from __future__ import annotations

from dataclasses import dataclass

from acquire.choices import Purpose
from acquire.records.unit_type import Sheet


@dataclass(frozen=True, slots=True)
class Circumstances:
    """The bench as a record sees it; fixed until a file is read again.

    Attributes:
        meter_id: name of the ohms meter in the bench file.
        meter_model: name of its meter file.
        meter_hash, bench_hash: SHA-256 of the two files, hexadecimal.
        software: name and version of the program.
    """

    bench: str
    purpose: Purpose
    sheet: Sheet
    meter_id: str
    meter_model: str
    meter_hash: str
    bench_hash: str
    software: str
    operator: str = ""
    batch: str = ""
