"""What is said of the first unit of a batch. Pure. Not for the comparison itself (verdict/first_unit)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from acquire.heart.spools import wound_from
from acquire.physics.wire import SpoolCard
from acquire.records import Batch, Circumstances, Notice, UnitResult, Weight, WoundFrom
from acquire.verdict.first_unit import Reading, first_look, prepare


def compared(
    batch: Batch,
    result: UnitResult,
    readings: Sequence[Reading],
    place: Circumstances,
    cards: Mapping[str, SpoolCard],
    *,
    four_wire_below_ohm: float,
) -> tuple[Batch, list[Notice]]:
    """Compare a unit with what sheet and spool cards foretell.

    Args:
        batch: that it belongs to.
        result: of the unit.
        readings: of it, those that count.
        place: the bench, with the sheet.
        cards: spool cards by what is written on the spool.
        four_wire_below_ohm: pairs of a smaller nominal were measured with four wires.

    Returns:
        The batch afterwards, and what the operator must be told.
    """
    look = first_look(
        place.sheet,
        batch.spools,
        readings,
        cards=_of(cards),
        purpose=place.purpose,
        four_wire_below_ohm=four_wire_below_ohm,
    )
    seen = replace(batch, first_serial=result.serial, compared=look.compared, first_doubt=look.doubt)
    if look.doubt is None:
        return seen, []
    text = (
        f"The first unit of {batch.batch} is not what sheet and spool cards predict. Type .accept and why to "
        "go on, .spool and its name if another one is on, or measure the unit again."
    )
    return seen, [Notice(Weight.WARNING, "batch.first_unit", text, result.utc_s, result.serial)]


def prepared(
    batch: Batch, place: Circumstances, cards: Mapping[str, SpoolCard], *, four_wire_below_ohm: float
) -> None:
    """Solve beforehand what the first unit will be compared with; arguments as for `compared`."""
    prepare(
        place.sheet,
        batch.spools,
        cards=_of(cards),
        purpose=place.purpose,
        four_wire_below_ohm=four_wire_below_ohm,
    )


def _of(cards: Mapping[str, SpoolCard]) -> tuple[WoundFrom, ...]:
    return tuple(wound_from("", name, cards) for name in cards)
