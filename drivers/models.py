"""Meter files: what a meter's ranges resolve and how accurate they are, from TOML. Not for talking to one.

One file holds one meter model. Accuracy statements become plain `RangeAccuracy` records, which the computing
core takes as they are. A file with faults is refused with all of them, each with its line.
"""

from __future__ import annotations

import hashlib
import math
import tomllib
from collections.abc import Sequence
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from drivers.accuracy import RangeAccuracy
from drivers.errors import FaultAt, ModelInvalid
from drivers.plain_file import read_file
from drivers.reading import Quantity, Ranging
from drivers.toml_lines import find_lines

NotNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
Celsius = Annotated[float, Field(ge=-60.0, le=100.0, allow_inf_nan=False)]


class _Strict(BaseModel):
    """A table of the file: unknown keys are refused, values do not change afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class RangeModel(_Strict):
    """One `[[range]]` table: one function of the meter on one range.

    Attributes:
        quantity: function, by its name in `drivers.reading.Quantity`.
        full_scale_si: name of the range, in the quantity's SI unit; "% of range" is of this.
        overrange_percent: how much more than full scale it still shows.
        resolution_si: worth of one count.
        percent_of_reading, percent_of_range, counts: the accuracy statement.
        percent_of_reading_per_kelvin, percent_of_range_per_kelvin: temperature coefficient outside the
            window; limit_percent_per_kelvin: the same given as a percentage of the whole statement.
        noise_counts: standard deviation of single readings, in counts.
        test_current_a: amperes.
        source: where the figures come from, when it differs from the file's.
    """

    quantity: Quantity
    full_scale_si: Positive
    resolution_si: Positive
    overrange_percent: NotNegative = 0.0
    percent_of_reading: NotNegative = 0.0
    percent_of_range: NotNegative = 0.0
    counts: NotNegative = 0.0
    percent_of_reading_per_kelvin: NotNegative = 0.0
    percent_of_range_per_kelvin: NotNegative = 0.0
    limit_percent_per_kelvin: NotNegative = 0.0
    noise_counts: NotNegative = 0.0
    test_current_a: Positive | None = None
    source: str = ""

    @model_validator(mode="after")
    def _is_a_statement(self) -> RangeModel:
        """A range finer than its full scale, with an accuracy that is not nought."""
        if self.resolution_si >= self.full_scale_si:
            raise ValueError("resolution_si must be smaller than full_scale_si")
        if self.percent_of_reading + self.percent_of_range + self.counts <= 0.0:
            raise ValueError("no meter is exact: give percent_of_reading, percent_of_range or counts")
        return self

    @property
    def largest_si(self) -> float:
        """Largest value that the range shows, in the quantity's SI unit."""
        return self.full_scale_si * (1.0 + self.overrange_percent / 100.0)


class Calibration(_Strict):
    """The `[calibration]` table of one meter, when it has been calibrated.

    Attributes:
        due: first day on which it is past due.
        certificate: number of the certificate, as written on it.
    """

    due: date
    certificate: str = ""


class MeterModel(_Strict):
    """A whole meter file.

    Attributes:
        name: short name, by which bench files refer to it.
        about: one line for people.
        source: where the figures come from; every file must say so.
        window_celsius: room temperatures between which the statements hold.
        warm_up_minutes: time after switching on before they hold.
        ranging: who chooses the range; a dial where the file does not say, since that proves least.
        calibration: None where the file states no calibration.
        ranges: smallest full scale first, function by function.
        unused: lines of the file with a key of earlier files that says nothing any more.
        content_hash: SHA-256 of the file's bytes, hexadecimal; empty for a model made in memory.
    """

    name: Annotated[str, Field(min_length=1, pattern=r"^[a-z0-9][a-z0-9-]*$")]
    about: str = ""
    source: Annotated[str, Field(min_length=1)]
    window_celsius: tuple[Celsius, Celsius] = (18.0, 28.0)
    warm_up_minutes: NotNegative = 0.0
    ranging: Literal[Ranging.DIAL, Ranging.AUTO] = Ranging.DIAL
    calibration: Calibration | None = None
    ranges: Annotated[tuple[RangeModel, ...], Field(alias="range", min_length=1)]
    unused: tuple[int, ...] = ()
    content_hash: str = ""

    @model_validator(mode="after")
    def _hangs_together(self) -> MeterModel:
        """A window the right way round, and no range given twice."""
        low, high = self.window_celsius
        if low > high:
            raise ValueError("window_celsius must give the lower temperature first")
        seen: set[tuple[Quantity, float]] = set()
        for each in self.ranges:
            key = (each.quantity, each.full_scale_si)
            if key in seen:
                raise ValueError(f"the {each.quantity.value} range {each.full_scale_si:g} is given twice")
            seen.add(key)
        return self

    @cached_property
    def quantities(self) -> frozenset[Quantity]:
        """The functions this meter has."""
        return frozenset(each.quantity for each in self.ranges)

    @cached_property
    def _ranges(self) -> dict[Quantity, tuple[RangeModel, ...]]:
        ordered = sorted(self.ranges, key=lambda each: each.full_scale_si)
        return {of: tuple(each for each in ordered if each.quantity is of) for of in self.quantities}

    def ranges_of(self, quantity: Quantity) -> tuple[RangeModel, ...]:
        """All ranges of a function, smallest full scale first; empty where the meter lacks it."""
        return self._ranges.get(quantity, ())

    def holding(self, quantity: Quantity, value_si: float) -> RangeAccuracy | None:
        """The statement on the smallest range that can show a value; None where there is no such range.

        Args:
            quantity: function.
            value_si: in the quantity's SI unit; its sign does not matter.
        """
        found = reaching(self.ranges_of(quantity), value_si)
        return None if found is None else self.statement(found)

    def in_use(
        self,
        quantity: Quantity,
        range_full_scale_si: float | None,
        value_si: float,
        resolution_si: float | None = None,
    ) -> RangeAccuracy | None:
        """The statement on the range in use; by its count, or by the value, where the meter does not tell it.

        By the count, the smallest range of that resolution which holds the value: a meter that sends 46 where
        it could send 46.1 is on a coarser range. By the value, the smallest range that holds it is assumed,
        which is where an automatic meter would be. None where the file states nothing for it.
        """
        ranges = self.ranges_of(quantity)
        if range_full_scale_si is not None:
            found = named(ranges, range_full_scale_si)
        else:
            found = shown_on(ranges, value_si, resolution_si) or reaching(ranges, value_si)
        return None if found is None else self.statement(found)

    def statement(self, each: RangeModel) -> RangeAccuracy:
        """The accuracy record of one of this meter's ranges."""
        return RangeAccuracy(
            quantity=each.quantity,
            fraction_of_reading=each.percent_of_reading / 100.0,
            fraction_of_range=each.percent_of_range / 100.0,
            counts=each.counts,
            resolution_si=each.resolution_si,
            range_full_scale_si=each.full_scale_si,
            reading_per_kelvin=each.percent_of_reading_per_kelvin / 100.0,
            range_per_kelvin=each.percent_of_range_per_kelvin / 100.0,
            limit_per_kelvin=each.limit_percent_per_kelvin / 100.0,
            window_celsius=self.window_celsius,
            noise_counts=each.noise_counts,
            test_current_a=each.test_current_a,
            source=each.source or self.source,
        )


NEAR = (0.8, 1.25)
"""A driver may say 100, 119.9 or 120 for one range; neighbours differ by a factor of two or more."""


def named(ranges: Sequence[RangeModel], full_si: float) -> RangeModel | None:
    """The range of a full scale; None where the meter has none of that size."""
    low, high = NEAR
    return next(
        (each for each in ranges if low * each.full_scale_si <= full_si <= high * each.full_scale_si), None
    )


def shown_on(ranges: Sequence[RangeModel], value_si: float, resolution_si: float | None) -> RangeModel | None:
    """The smallest range of a resolution that holds a value; None where the count names none."""
    if resolution_si is None:
        return None
    for each in ranges:
        if math.isclose(each.resolution_si, resolution_si, rel_tol=0.01) and abs(value_si) <= each.largest_si:
            return each
    return None


def reaching(ranges: Sequence[RangeModel], value_si: float) -> RangeModel | None:
    """The smallest range that shows a value; None where the meter has none."""
    return next((each for each in ranges if abs(value_si) <= each.largest_si), None)


_UNUSED = "offset_compensated"
"""Key of earlier files: that a meter *can* cancel thermal voltages says nothing of a reading, which carries a
flag where they were cancelled (`drivers.reading.Flag.OFFSET_COMPENSATED`)."""

LARGEST_BYTES = 1_000_000
"""Of a meter file; those of the largest meters have a hundredth."""


def load_model(path: Path) -> MeterModel:
    """Read and check one meter file.

    Args:
        path: a TOML file as configs/meters/README.md describes it.

    Raises:
        ModelInvalid: it cannot be read, is no TOML, or has faults; the sentence holds every fault with file
            and line.
    """
    try:
        raw = read_file(path, LARGEST_BYTES)
        text = raw.decode("utf-8-sig")
        tree = tomllib.loads(text)
    except OSError as error:
        raise _unread(path, f"the meter file cannot be read ({error.strerror}).") from error
    except UnicodeDecodeError as error:
        raise _unread(path, "the meter file is not UTF-8 text.") from error
    except tomllib.TOMLDecodeError as error:
        raise _unread(path, f"the meter file is no valid TOML: {error}.") from error
    own = {"content_hash": hashlib.sha256(raw).hexdigest(), "unused": _unused(text, tree)}
    try:
        return MeterModel.model_validate({**tree, **own})
    except ValidationError as error:
        faults = error.errors()
        deeper = {fault["loc"][0] for fault in faults if len(fault["loc"]) > 1}
        # pydantic adds "at least 1 item" to a list whose items were refused one by one
        worth_telling = (f for f in faults if not (f["type"] == "too_short" and f["loc"][0] in deeper))
        raise ModelInvalid.of_file(path, *(_fault(text, fault) for fault in worth_telling)) from error


def _unused(text: str, tree: dict[str, Any]) -> tuple[int, ...]:
    """Take the key of earlier files out of the ranges; the lines that had it."""
    tables = tree.get("range")
    ranges = tables if isinstance(tables, list) else []
    holding = [k for k, each in enumerate(ranges) if isinstance(each, dict) and _UNUSED in each]
    for index in holding:
        del ranges[index][_UNUSED]
    return tuple(find_lines(text).of(("range", index, _UNUSED)) for index in holding)


def _unread(path: Path, what: str) -> ModelInvalid:
    return ModelInvalid.of_file(path, FaultAt(0, "", what))


def _fault(text: str, error: ErrorDetails) -> FaultAt:
    """One fault with its place."""
    loc = tuple(error["loc"])
    key = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in loc).lstrip(".")
    return FaultAt(find_lines(text).of(loc), key, _in_words(error))


def _in_words(error: ErrorDetails) -> str:
    """What is wrong, and where that helps what is allowed."""
    words: dict[str, str] = {
        "missing": "is missing; every meter file needs it.",
        "date_from_datetime_parsing": "is no date; write it as 2027-03-31, without quotation marks.",
        "extra_forbidden": "is not a key of meter files; is it misspelt?",
        "enum": f"{error.get('input')!r} is no quantity; allowed are {', '.join(Quantity)}.",
    }
    message = error["msg"].removeprefix("Value error, ")
    given: Any = error.get("input")
    shown = f" (given: {given!r})" if isinstance(given, str | int | float) else ""
    return words.get(error["type"], f"{message}{shown}.")
