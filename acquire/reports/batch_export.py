"""A batch's report for programs: one JSON object, or a CSV row for each unit and step. Not for people."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import fields, is_dataclass
from enum import StrEnum
from typing import Any

from acquire.outlets.payload import disarmed, iso_time
from acquire.reports.batch import BatchReport

CSV_COLUMNS = (
    "batch",
    "serial",
    "step",
    "time_utc",
    "value",
    "unit",
    "standard_uncertainty",
    "lower",
    "upper",
    "outcome",
    "unit_outcome",
    "spool",
    "meter_id",
    "operator",
    "bench",
)
"""Of the CSV: one row a unit and step, the values that the report counts."""


def as_json(report: BatchReport) -> dict[str, Any]:
    """The report as JSON values; numbers that are not finite become null."""
    plain = _plain(report)
    if not isinstance(plain, dict):
        raise TypeError("a report is a dataclass")
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    return value


def as_csv(report: BatchReport) -> str:
    """The values that count as CSV (RFC 4180), header first; what a spreadsheet might run is disarmed."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for series in report.series:
        for point in series.points:
            writer.writerow(
                [
                    disarmed(report.name),
                    disarmed(point.serial),
                    disarmed(series.name),
                    iso_time(point.utc_s),
                    repr(point.value),
                    "ohm" if series.unit == "Ω" else series.unit,
                    "" if point.u is None else repr(point.u),
                    "" if series.lower is None else repr(series.lower),
                    "" if series.upper is None else repr(series.upper),
                    point.outcome.value,
                    point.unit.value if point.unit else "",
                    disarmed(point.spool),
                    disarmed(point.meter),
                    disarmed(point.operator),
                    disarmed(point.bench),
                ]
            )
    return out.getvalue()
