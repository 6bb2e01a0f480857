"""What is said of the first unit of a batch. Pure. Not for the comparison itself (verdict/first_unit)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from acquire.heart.spools import wound_from
from acquire.physics.wire import SpoolCard
from acquire.records import Batch, Circumstances, Code, Fact, Notice, UnitResult, Weight, WoundFrom
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
    facts: dict[str, Fact] = {"batch": batch.batch, "probability": look.doubt.probability}
    return seen, [Notice(Weight.WARNING, Code.BATCH_FIRST_UNIT, result.utc_s, result.serial, facts=facts)]


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
