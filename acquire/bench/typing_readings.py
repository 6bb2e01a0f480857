"""What is typed from the display of a meter without a cable: to its driver, and back as it was understood.

Not for the grammar (drivers.handheld.typed) nor for sentences (words).
"""

from __future__ import annotations

import math
from collections.abc import Awaitable, Callable

from acquire.records import Fact, Refusal, Refused
from drivers.frame import Decoded, FrameRefused
from drivers.handheld.typed import TypedMeter, Unclear
from drivers.models import MeterModel
from drivers.reading import Quantity

MILLI_TO_MEGA = 1e9


async def no_meter_is_read_off(text: str) -> dict[str, Fact]:
    """A bench with a cable takes no typed readings.

    Raises:
        Refused: always.
    """
    del text
    raise Refused(Refusal.READING_BY_METER)


def into(
    meter: TypedMeter, model: Callable[[], MeterModel | None]
) -> Callable[[str], Awaitable[dict[str, Fact]]]:
    """What takes typed lines for a meter.

    Args:
        meter: its driver.
        model: its meter file now, which states what its display can show.
    """

    async def type_in(text: str) -> dict[str, Fact]:
        """Give a line as it was understood. Raises: Refused: it was not, or not surely."""
        try:
            decoded = meter.understood(text)
        except Unclear as error:
            raise _unclear(text, *error.meanings) from error
        except FrameRefused as error:
            raise Refused(Refusal.READING_NONE, typed=text) from error
        _refuse_unshown(text, decoded, model())
        await meter.take(decoded, text)
        facts: dict[str, Fact] = {"typed": text}
        if decoded.value_si is not None and decoded.resolution_si is not None:
            return {**facts, "ohm": decoded.value_si, "resolution_ohm": decoded.resolution_si}
        full_si = decoded.range_full_scale_si
        return facts if full_si is None else {**facts, "full_ohm": full_si}

    return type_in


def _refuse_unshown(text: str, decoded: Decoded, model: MeterModel | None) -> None:
    """Digits that no range of the meter shows are a slip, or another meter's."""
    value, count = decoded.value_si, decoded.resolution_si
    ranges = () if model is None else model.ranges_of(Quantity.RESISTANCE)
    if model is None or value is None or count is None or not ranges:
        return
    fits = (abs(value) <= each.largest_si and count >= 0.99 * each.resolution_si for each in ranges)
    if not any(fits):
        raise Refused(
            Refusal.READING_NOT_SHOWN, typed=text, model=model.name, ohm=value, resolution_ohm=count
        )


def _unclear(text: str, low_ohm: float, high_ohm: float) -> Refused:
    if math.isinf(high_ohm):
        return Refused(Refusal.READING_ONE_OR_OVER, typed=text)
    if high_ohm >= 0.5 * MILLI_TO_MEGA * low_ohm:
        return Refused(Refusal.READING_MILLI_OR_MEGA, typed=text)
    return Refused(Refusal.READING_POINT_OR_THOUSAND, typed=text, low_ohm=low_ohm, high_ohm=high_ohm)
