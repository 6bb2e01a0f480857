"""What a bench has learnt of its contacts, as the record keeps it. Pure.

A notice tells it after each unit that taught something, and when other leads made it void. The latest one
is among what a bench that starts again is told, so that a restart is a replay. Not for how it is learnt.
"""

from __future__ import annotations

from dataclasses import asdict, fields, replace

from acquire.records import Learned, Notice, Weight
from acquire.records.codes import Code


def learnt_notice(learned: Learned, meter_hash: str, utc_s: float) -> Notice:
    """What goes on the record."""
    facts = {"meter": meter_hash, **asdict(learned)}
    return Notice(Weight.REMARK, Code.BENCH_LEARNT, utc_s, facts=facts)


def learned_of(notice: Notice, meter_hash: str) -> Learned | None:
    """What a notice on record tells; None where it was another meter's, or is no such notice."""
    facts = notice.facts
    if notice.code is not Code.BENCH_LEARNT or facts.get("meter") != meter_hash:
        return None
    told = {field.name: facts[field.name] for field in fields(Learned) if field.name in facts}
    numbers = {name: float(value) for name, value in told.items() if isinstance(value, int | float)}
    return replace(
        Learned(int(numbers.pop("version", 0)), int(numbers.pop("contacts", 0))),
        **numbers,  # type: ignore[arg-type]  # floats alone are left
    )
