"""What is said over MQTT, and where: topics, and the live payloads that are not on the journal.

Pure: values in, payloads out. Not for connections (mqtt) nor for what the journal holds (payload).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any
from urllib.parse import quote, unquote

from acquire.journal.entry import Entry
from acquire.journal.plain import spelt
from acquire.outlets.payload import VERSION
from acquire.records import Approach, Event, LiftOff, Pair, Prompt, Settled
from acquire.words.prompts import asked
from drivers.reading import UNIT_OF, Quantity

ROOT = f"steadyohm/v{VERSION}"

ROOT_OF_1 = "steadyohm/v1"
"""Of benches that were not updated yet: a line hears them too, and confirms on their topic `kept`."""

ROOTS = {ROOT_OF_1: 1, ROOT: VERSION}
"""What a line hears, and the version of each."""

TOPIC_OF_KIND: dict[str, str] = {
    "verdict": "verdict",
    "unit_started": "unit",
    "unit_result": "unit",
    "typed_result": "result",
    "check_standard": "check",
    "batch": "batch",
}
"""Last part of the topic that entries of a kind are published on; other kinds stay on the journal."""

LINE_TOPIC_OF_KIND: dict[str, str] = {
    **TOPIC_OF_KIND,
    "lead_zero": "zero",
    "imported_result": "imported",
    "notice": "notice",
}
"""The same for a bench of a line, whose whole record is published."""

STATUS = "status"
"""Last part of the topic of `Status`."""

EVIDENCE = "evidence"
"""Last part of the topic of what verdicts rest on; also the kind that such a message states."""

ACK = "ack"
"""Last part of the topic on which a line's collectors say what its database holds."""


def bench_in(topic: str) -> tuple[int, str, str]:
    """Version, name of the bench and last part of a bench's topic; 0 and two empty texts where it is none."""
    parts = topic.split("/")
    version = ROOTS.get("/".join(parts[:2]), 0)
    if len(parts) < 4 or not version:
        return 0, "", ""
    return version, unquote(parts[2], errors="replace"), "/".join(parts[3:])


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics of one bench.

    Attributes:
        bench: its name; characters that mean something in a topic are written as in a URL (RFC 3986, 2.1).
        root: what they begin with, a key of `ROOTS`.
    """

    bench: str
    root: str = ROOT

    def of(self, last: str) -> str:
        """Give a topic by its last part, e.g. "verdict" or "command/reply"."""
        return f"{self.root}/{quote(self.bench.encode('utf-8', 'replace'), safe='')}/{last}"

    def last_of(self, entry: Entry) -> str:
        """Last part of the topic of a journal entry; empty where it is not published."""
        return TOPIC_OF_KIND.get(entry.kind, "")


class State(StrEnum):
    """Whether a bench can be heard."""

    ONLINE = "online"
    STOPPED = "stopped"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class Status:
    """Retained: the state of a bench's daemon.

    Attributes:
        state: online; stopped on purpose; or lost, which the broker says in its name (the will).
        software: name and version of the program.
        journal: birth id of its journal, the first half of every entry's id.
        utc_s: when this was composed; for `lost`, when the connection that broke was begun.
        sheet, meter: names of the unit type and of the meter file in force; empty where none is told.
        sheet_hash, meter_hash, bench_hash: SHA-256 of the files in force, hexadecimal.
    """

    bench: str
    state: State
    software: str
    journal: str
    utc_s: float
    sheet: str = ""
    meter: str = ""
    sheet_hash: str = ""
    meter_hash: str = ""
    bench_hash: str = ""


@dataclass(frozen=True, slots=True)
class ShownPrompt:
    """Retained: what the operator is asked to do now. An empty payload says that nobody is asked.

    Attributes:
        ask: kind of action.
        text: one short sentence.
        pair: the two pins to touch, null when the action has none.
        utc_s: when it was asked.
    """

    bench: str
    ask: str
    text: str
    serial: str
    pair: Pair | None
    step: str
    steps_done: int
    steps_total: int
    utc_s: float


class ProbeState(StrEnum):
    """What the probes are doing."""

    LIFTED = "lifted"
    SETTLING = "settling"
    SETTLED = "settled"


@dataclass(frozen=True, slots=True)
class ShownReading:
    """Not kept and not complete (at most a few a second): what the meter shows, for a live display.

    Attributes:
        touch: lifted; settling; or settled.
        quantity, unit: what is measured, and the unit of `value_si`; null when lifted.
        value_si: latest value, null when lifted.
        settling_ratio: how far from settled, as a multiple of what is allowed; null when lifted.
        utc_s: of the reading.
    """

    bench: str
    meter_id: str
    touch: ProbeState
    quantity: Quantity | None
    unit: str | None
    value_si: float | None
    settling_ratio: float | None
    utc_s: float


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to one command.

    Attributes:
        correlation: of the command, empty when it could not be read.
        done: whether it was carried out.
        reason: one sentence; empty when done and there is nothing to say.
    """

    bench: str
    correlation: str
    done: bool
    reason: str
    utc_s: float


@dataclass(frozen=True, slots=True)
class Ack:
    """What the line's database holds of one journal, so that the bench need not send it again.

    Attributes:
        journal: birth id of the bench's journal.
        seq: every entry up to this one is committed there, with its evidence where it was sent.
        utc_s: when the database was asked.
    """

    bench: str
    journal: str
    seq: int
    utc_s: float


Live = Status | ShownPrompt | ShownReading | Reply | Ack


def live_payload(said: Live) -> dict[str, Any]:
    """Give the JSON object of something said live."""
    return {"schema": VERSION, **spelt(said)}


def shown_prompt(prompt: Prompt, bench: str, utc_s: float) -> ShownPrompt:
    """A prompt as others see it."""
    return ShownPrompt(
        bench,
        prompt.ask.value,
        asked(prompt),
        prompt.serial,
        prompt.pair,
        prompt.step,
        prompt.steps_done,
        prompt.steps_total,
        utc_s,
    )


def shown_reading(event: Event, bench: str) -> ShownReading | None:
    """What a live display shows of an event; None where that is nothing."""
    match event:
        case Approach():
            unit = UNIT_OF[event.quantity]
            value, ratio = event.value_si, event.settling_ratio
            return ShownReading(
                bench, event.meter_id, ProbeState.SETTLING, event.quantity, unit, value, ratio, event.utc_s
            )
        case Settled():
            unit, value = UNIT_OF[event.quantity], event.value_si
            return ShownReading(
                bench, event.meter_id, ProbeState.SETTLED, event.quantity, unit, value, 1.0, event.utc_s
            )
        case LiftOff():
            return ShownReading(bench, event.meter_id, ProbeState.LIFTED, None, None, None, None, event.utc_s)
        case _:
            return None
