"""What a bench has learnt of its contacts, as the record keeps it. Pure.

A notice tells it after each unit that taught something, and when other leads made it void. The latest one
is among what a bench that starts again is told, so that a restart is a replay. Not for how it is learnt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace

from acquire.records import Event, Learned, Notice, Recorded, Severity
from acquire.records.codes import Code
from acquire.settle import SettleFilter


@dataclass(slots=True)
class Learning:
    """Keeps the record of what the settle stage learns.

    Attributes:
        filter: the settle stage.
        meter_hash: of the meter file; another meter's lessons are not taken up.
        recorded: what is on record.
    """

    filter: SettleFilter
    meter_hash: str
    recorded: Learned

    def under(self, meter_hash: str) -> Learned:
        """What of it holds under a meter file."""
        known = self.recorded
        return known if meter_hash == self.meter_hash else Learned(version=known.version + 1)

    def replay(self, record: Recorded) -> None:
        """Take up what the record tells, if it does."""
        learned = learned_of(record, self.meter_hash) if isinstance(record, Notice) else None
        if learned is not None:
            self.recorded = learned
            self.filter.take_up(learned)

    def after(self, duty: Sequence[Event], utc_s: float) -> list[Event]:
        """The events of a duty; leads that have moved make void what was learnt with them."""
        if not any(isinstance(event, Notice) and event.code is Code.LEADS_MOVED for event in duty):
            return list(duty)
        self.filter.forget()
        return [*duty, *self.news(utc_s)]

    def news(self, utc_s: float) -> list[Event]:
        """What was learnt since it was last put on record."""
        if self.filter.learned == self.recorded:
            return []
        self.recorded = self.filter.learned
        return [learnt_notice(self.recorded, self.meter_hash, utc_s)]


def learnt_notice(learned: Learned, meter_hash: str, utc_s: float) -> Notice:
    """What goes on the record."""
    facts = {"meter": meter_hash, **asdict(learned)}
    return Notice(Severity.REMARK, Code.BENCH_LEARNT, utc_s, facts=facts)


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
