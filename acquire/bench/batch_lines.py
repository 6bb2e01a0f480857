"""Typed lines about batches, taken apart: a batch with its number of units, a spool with its windings."""

from __future__ import annotations

import re

from acquire.errors import InputImpossible
from acquire.records import ChangeSpool, OpenBatch
from acquire.records.batches import LARGEST_BATCH

_UNITS = re.compile(r"([0-9]{1,9}) units?")


def opening(text: str) -> OpenBatch:
    """A batch as typed: "lot 12, 40 units, for the spring orders"; all behind the name may be left out.

    Raises:
        InputImpossible: a number of units that no batch has.
    """
    name, *parts = (part.strip() for part in text.split(","))
    expected, remarks = None, []
    for part in parts:
        units = _UNITS.fullmatch(part)
        if units is None or expected is not None:
            remarks.append(part)
            continue
        expected = int(units[1])
        if not 1 <= expected <= LARGEST_BATCH:
            raise InputImpossible(
                f"A batch of {expected} units is none.",
                f"It has 1 to {LARGEST_BATCH}; or leave the number out.",
            )
    return OpenBatch(name, expected, remark=", ".join(remarks))


def change_of_spool(text: str) -> ChangeSpool:
    """A spool as typed: "36-B", or "36-B for P1, P2"."""
    spool, _, windings = text.partition(" for ")
    return ChangeSpool(spool.strip(), windings.strip())
