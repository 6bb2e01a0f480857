"""What is typed from the display of a meter without a cable: to its driver, and back as it was understood.

Not for the grammar (drivers.handheld.typed) nor for sentences (words).
"""

from __future__ import annotations

import math
from collections.abc import Awaitable, Callable

from acquire.records import Fact, Refusal, Refused
from drivers.frame import FrameRefused
from drivers.handheld.typed import TypedMeter, Unclear

MILLI_TO_MEGA = 1e9


async def no_meter_is_read_off(text: str) -> dict[str, Fact]:
    """A bench with a cable takes no typed readings.

    Raises:
        Refused: always.
    """
    del text
    raise Refused(Refusal.READING_BY_METER)


def into(meter: TypedMeter) -> Callable[[str], Awaitable[dict[str, Fact]]]:
    """What takes typed lines for a meter."""

    async def type_in(text: str) -> dict[str, Fact]:
        """Give a line as it was understood. Raises: Refused: it was not, or not surely."""
        try:
            decoded = await meter.type_in(text)
        except Unclear as error:
            raise _unclear(text, *error.meanings) from error
        except FrameRefused as error:
            raise Refused(Refusal.READING_NONE, typed=text) from error
        facts: dict[str, Fact] = {"typed": text}
        if decoded.value_si is not None and decoded.resolution_si is not None:
            return {**facts, "ohm": decoded.value_si, "resolution_ohm": decoded.resolution_si}
        full_si = decoded.range_full_scale_si
        return facts if full_si is None else {**facts, "full_ohm": full_si}

    return type_in


def _unclear(text: str, low_ohm: float, high_ohm: float) -> Refused:
    if math.isinf(high_ohm):
        return Refused(Refusal.READING_ONE_OR_OVER, typed=text)
    if high_ohm >= 0.5 * MILLI_TO_MEGA * low_ohm:
        return Refused(Refusal.READING_MILLI_OR_MEGA, typed=text)
    return Refused(Refusal.READING_POINT_OR_THOUSAND, typed=text, low_ohm=low_ohm, high_ohm=high_ohm)
