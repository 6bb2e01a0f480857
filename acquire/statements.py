"""A meter's file as the heart asks it: what is stated for the range in use or for one that holds a value.

Not for reading the file (`drivers.models`) nor for what a statement is worth at a reading (physics/accuracy).
"""

from __future__ import annotations

from dataclasses import dataclass

from drivers.errors import ModelInvalid
from drivers.models import MeterModel, RangeAccuracy
from drivers.reading import Quantity


@dataclass(frozen=True, slots=True)
class ModelStatements:
    """Answers of one meter file; fulfils `acquire.steps.setup_choice.MeterStatements`."""

    model: MeterModel

    def in_use(
        self, quantity: Quantity, range_full_scale_si: float | None, value_si: float
    ) -> RangeAccuracy | None:
        """The statement on the range in use; by the value where the meter does not tell its range.

        By the value, the smallest range that holds it is assumed, which is where an automatic meter would be.
        """
        if range_full_scale_si is None:
            return self.holding(quantity, value_si)
        try:
            return self.model.accuracy(quantity, range_full_scale_si)
        except ModelInvalid:
            return None

    def holding(self, quantity: Quantity, value_si: float) -> RangeAccuracy | None:
        """The statement on the smallest range that holds a value; None where there is no such range."""
        found = self.model.range_for(quantity, value_si)
        return None if found is None else self.model.statement(found)
