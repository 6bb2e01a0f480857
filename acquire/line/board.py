"""What the page of a line shows: all benches at a glance, from what they say and what the database counts.

Pure: messages, counts and the time go in, the state of the page comes out. Not for receiving, asking or
serving (board_page).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from pydantic_core import from_json

from acquire.choices import Outcome
from acquire.journal.upgrade import in_todays_names
from acquire.outlets.payload import VERSION
from acquire.outlets.topics import State, bench_in
from acquire.words.verdicts import OUTCOME_WORDS

LONGEST = 160
"""Characters of a text on a card; more is cut."""

MOST_BENCHES = 20_000
"""Names that are kept; a broker without access rules must not fill the memory."""

UNREACHED_S = 86_400.0 * 30
"""A bench that was lost or stopped for longer is no longer shown."""


class Condition(StrEnum):
    """How a bench is, as its card says; most urgent first."""

    HALTED = "halted"
    LOST = "lost"
    SILENT = "silent"
    STOPPED = "stopped"
    IDLE = "idle"
    WORKING = "working"


WORDS = {
    Condition.HALTED: "needs help",
    Condition.LOST: "connection lost",
    Condition.SILENT: "silent",
    Condition.STOPPED: "stopped",
    Condition.IDLE: "waits for a unit",
    Condition.WORKING: "works",
}


@dataclass(slots=True)
class Card:
    """One bench.

    Attributes:
        name: of the bench.
        state: as its retained status says; None before it was heard.
        since_s: when it said so; the will was composed when the connection began, so for `lost` when it was
            heard here.
        prompt, ask: what its operator is asked to do; empty when nobody is asked.
        recorded_s: when it last recorded something, as far as is known here.
        halted: text of the notice that stopped it; empty while all is well.
        sheet, meter: names of the files in force; sheet_hash, meter_hash: of them.
        last: how the last unit ended, in words.
        units, passed, failed: judged today, by the database.
        version: of the topics it was heard on; 0 before it was heard.
    """

    name: str
    state: State | None = None
    since_s: float = 0.0
    prompt: str = ""
    ask: str = ""
    recorded_s: float = 0.0
    halted: str = ""
    sheet: str = ""
    meter: str = ""
    sheet_hash: str = ""
    meter_hash: str = ""
    last: str = ""
    units: int = 0
    passed: int = 0
    failed: int = 0
    version: int = 0


@dataclass(slots=True)
class Board:
    """All benches.

    Attributes:
        silent_s: a bench that is online and has recorded nothing for so long is silent.
        cards: by name.
        newest: by kind ("sheet", "meter") and name, the hashes that shared files have now.
        trouble: what cannot be reached now, in a sentence; by what it is.
        changed: names whose cards have changed since they were taken.
    """

    silent_s: float = 900.0
    cards: dict[str, Card] = field(default_factory=dict)
    newest: dict[tuple[str, str], set[str]] = field(default_factory=dict)
    trouble: dict[str, str] = field(default_factory=dict)
    changed: set[str] = field(default_factory=set)

    # ------------------------------------------------------------------ in

    def heard(self, topic: str, payload: bytes, now_s: float, *, retained: bool = False) -> None:
        """Take one message; what is none of ours is passed over."""
        version, name, last = bench_in(topic)
        plain = _object(payload, version)
        if not name or plain is None or not self._known(name):
            return
        card = self.cards.setdefault(name, Card(name))
        if version < card.version:
            return  # retained before the bench was updated
        if version > card.version > 0:
            card = self.cards[name] = Card(name)
        card.version = version
        match last:
            case "status":
                self._status(card, plain, now_s, retained=retained)
            case "prompt":
                card.prompt, card.ask = _text(plain, "text"), _text(plain, "ask")
            case "unit" | "verdict" | "notice":
                self._recorded(card, plain, now_s)
            case _:
                return
        self.changed.add(name)

    def _known(self, name: str) -> bool:
        return name in self.cards or (len(self.cards) < MOST_BENCHES and len(name) <= LONGEST)

    def _status(self, card: Card, plain: dict[str, Any], now_s: float, *, retained: bool) -> None:
        word = _text(plain, "state")
        if word not in set(State):
            return
        state = State(word)
        said_s = _number(plain, "utc_s")
        if state is State.LOST:  # the time in a will is that of the connection's begin
            said_s = now_s if not retained else max(card.recorded_s, said_s)
        if state is not card.state or state is State.ONLINE:
            card.since_s = said_s
        card.state = state
        card.halted = card.halted if state is State.ONLINE else ""
        if plain.get("sheet"):
            card.sheet, card.sheet_hash = _text(plain, "sheet"), _text(plain, "sheet_hash")
            card.meter, card.meter_hash = _text(plain, "meter"), _text(plain, "meter_hash")

    def _recorded(self, card: Card, plain: dict[str, Any], now_s: float) -> None:
        card.recorded_s = max(card.recorded_s, min(_number(plain, "utc_s"), now_s))
        kind = _text(plain, "kind")
        if kind == "notice" and plain.get("severity") == "stop":
            card.halted = _text(plain, "text")
        elif kind in ("verdict", "unit_started", "unit_result"):
            card.halted = ""
        outcome = _text(plain, "outcome")
        if kind == "unit_result" and outcome in set(Outcome):
            card.last = f"{_text(plain, 'serial')}: {OUTCOME_WORDS[Outcome(outcome)]}"

    def counted(
        self, benches: dict[str, tuple[int, int, int]], latest: dict[str, float], now_s: float
    ) -> None:
        """Take what the database counts of today, and when each bench last recorded something.

        Args:
            benches: units judged, passed and failed, by name.
            latest: time of the latest entry, by name.
            now_s: a time later than this is a clock's fault.
        """
        for name in {*benches, *latest, *self.cards}:
            if not self._known(name):
                continue
            card = self.cards.setdefault(name, Card(name))
            before = (card.units, card.passed, card.failed, card.recorded_s)
            card.units, card.passed, card.failed = benches.get(name, (0, 0, 0))
            card.recorded_s = max(card.recorded_s, min(latest.get(name, 0.0), now_s))
            if before != (card.units, card.passed, card.failed, card.recorded_s):
                self.changed.add(name)

    # ------------------------------------------------------------------ out

    def condition(self, card: Card, now_s: float) -> Condition:
        """How a bench is now."""
        if card.state is None or card.state is State.LOST:
            return Condition.LOST
        if card.state is State.STOPPED:
            return Condition.STOPPED
        if card.halted:
            return Condition.HALTED
        if now_s - max(card.recorded_s, card.since_s) > self.silent_s:
            return Condition.SILENT
        return Condition.IDLE if card.ask in ("", "start_unit") else Condition.WORKING

    def shown(self, card: Card, now_s: float) -> dict[str, Any]:
        """One card as the page gets it."""
        condition = self.condition(card, now_s)
        since_s = card.since_s if condition in (Condition.LOST, Condition.STOPPED) else card.recorded_s
        return {
            "name": card.name,
            "condition": condition.value,
            "word": WORDS[condition],
            "detail": self._detail(card, condition)[:LONGEST],
            "since_utc_s": since_s or None,
            "sheet": card.sheet,
            "hash": card.sheet_hash[:7],
            "old": self.old(card),
            "units": card.units,
            "passed": card.passed,
            "failed": card.failed,
            "last": card.last,
        }

    @staticmethod
    def _detail(card: Card, condition: Condition) -> str:
        if condition is Condition.HALTED:
            return card.halted
        return card.prompt if condition is Condition.WORKING else ""

    def old(self, card: Card) -> list[str]:
        """Which of a bench's files are other ones than the shared folder has now."""
        found = []
        for kind, name, digest in (
            ("sheet", card.sheet, card.sheet_hash),
            ("meter", card.meter, card.meter_hash),
        ):
            newest = self.newest.get((kind, name))
            if newest and digest and digest not in newest:
                found.append(kind)
        return found

    def cards_shown(self, now_s: float) -> list[dict[str, Any]]:
        """All cards, those that need somebody first."""
        order = list(Condition)
        rows = [
            self.shown(card, now_s)
            for card in self.cards.values()
            if now_s - max(card.since_s, card.recorded_s) < UNREACHED_S
        ]
        return sorted(
            rows, key=lambda row: (order.index(Condition(row["condition"])), not row["old"], row["name"])
        )

    def state(self, now_s: float) -> dict[str, Any]:
        """The whole page."""
        rows = self.cards_shown(now_s)
        conditions = Counter(row["condition"] for row in rows)
        judged = sum(row["units"] for row in rows)
        passed = sum(row["passed"] for row in rows)
        return {
            "utc_s": now_s,
            "benches": rows,
            "count": {each.value: conditions[each.value] for each in Condition},
            "words": {each.value: WORDS[each] for each in Condition},
            "old": sum(bool(row["old"]) for row in rows),
            "units": judged,
            "passed": passed,
            "trouble": [text for text in self.trouble.values() if text],
        }


def _object(payload: bytes, version: int) -> dict[str, Any] | None:
    try:
        plain = from_json(payload if version == VERSION else in_todays_names(payload))
    except ValueError:
        return {} if not payload else None  # an empty prompt: nobody is asked
    return plain if isinstance(plain, dict) and plain.get("schema") == version else None


def _text(plain: dict[str, Any], key: str) -> str:
    value = plain.get(key)
    return value[:LONGEST] if isinstance(value, str) else ""


def _number(plain: dict[str, Any], key: str) -> float:
    value = plain.get(key)
    fine = isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value < 1e11
    return float(value) if fine and value is not None else 0.0
