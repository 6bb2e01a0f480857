"""`[[correction]]`: how an insulation resistance changes with temperature, as the resin's maker states it.

Not for the correction itself (physics/insulation), and not for ohms of copper, whose rule needs no table.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated

from pydantic import Field, model_validator

from acquire.files.toml_file import Name, Table, Text
from acquire.physics.insulation import REFERENCE_CELSIUS, RULES
from acquire.quantity import Celsius

NONE = "none"
"""Leaves a result as measured."""


class CorrectionTable(Table):
    """`[[correction]]`: a named table of factors that bring an insulation resistance to 40 °C.

    Attributes:
        name: as an `[[isolation]]` names it; goes on the record.
        factors: (temperature, value at 40 °C over value there), in order of temperature, 40 °C within.
        source: where the table comes from.
    """

    name: Name
    factors: Annotated[
        tuple[tuple[Celsius, Annotated[float, Field(gt=0.0, allow_inf_nan=False)]], ...],
        Field(min_length=2, max_length=100, examples=['[["10 °C", 0.66], ["40 °C", 1.0], ["60 °C", 2.3]]']),
    ]
    source: Annotated[Text, Field(min_length=1, examples=['"data sheet of the resin"'])]

    @model_validator(mode="after")
    def _can_be_read_between(self) -> CorrectionTable:
        at = [celsius for celsius, _ in self.factors]
        if any(b <= a for a, b in pairwise(at)):
            raise ValueError("factors must be in order of temperature, the lowest first")
        if not at[0] <= REFERENCE_CELSIUS <= at[-1]:
            raise ValueError("factors must reach from below to above 40 °C, which results are compared at")
        if self.name in (NONE, *RULES):
            raise ValueError(f'"{self.name}" is the name of a rule that is there already')
        return self
