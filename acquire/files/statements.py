"""A meter's file as the heart asks it: what is stated for the range in use or for one that holds a value.

Not for reading the file (`drivers.models`) nor for what a statement is worth at a reading (physics/accuracy).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from drivers.accuracy import RangeAccuracy
from drivers.errors import ModelInvalid
from drivers.models import MeterModel, RangeModel
from drivers.reading import Quantity


@dataclass(frozen=True, slots=True)
class ModelStatements:
    """Answers of one meter file; fulfils `acquire.steps.setup_choice.MeterStatements`."""

    model: MeterModel

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
        which is where an automatic meter would be.
        """
        if range_full_scale_si is None:
            return self._by_count(quantity, value_si, resolution_si) or self.holding(quantity, value_si)
        try:
            return self.model.accuracy(quantity, range_full_scale_si)
        except ModelInvalid:
            return None

    def _by_count(
        self, quantity: Quantity, value_si: float, resolution_si: float | None
    ) -> RangeAccuracy | None:
        """The statement on the smallest range of a resolution that holds a value; None: no such range."""
        if resolution_si is None:
            return None
        fitting = (
            each
            for each in self.model.ranges_of(quantity)
            if math.isclose(each.resolution_si, resolution_si, rel_tol=0.01)
            and abs(value_si) <= each.largest_si
        )
        found = next(fitting, None)
        return None if found is None else self.model.statement(found)

    def holding(self, quantity: Quantity, value_si: float) -> RangeAccuracy | None:
        """The statement on the smallest range that holds a value; None where there is no such range."""
        found = self.model.range_for(quantity, value_si)
        return None if found is None else self.model.statement(found)

    def ranges(self, quantity: Quantity) -> tuple[RangeModel, ...]:
        """Every range of a function, smallest first; empty where the meter lacks it."""
        return self.model.ranges_of(quantity)
