"""Numbers for a monitor and an answer for a health check; text and JSON only, nobody listens here.

The text is Prometheus' exposition format 0.0.4. Not for serving it (daemon) nor for statistics (stats).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from acquire.outlets.outlet import Health

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


@dataclass(frozen=True, slots=True)
class BenchFacts:
    """What is known of a running bench.

    Attributes:
        bench: its name.
        software: name and version of the program.
        uptime_s: since the start, monotonic.
        readings: taken since the start, by meter.
        silence_s: since the latest reading, by meter; None where none has come yet.
        verdicts: given since the start, by outcome.
        journal_seq: sequence number of the latest entry.
        journal_bytes: size of the journal with its write-ahead log.
        halted: whether the journal refuses and the bench waits.
        commands_refused: since the start.
        outlets: how each is doing.
        quiet_after_s: a meter that is silent for longer counts as not well.
    """

    bench: str
    software: str
    uptime_s: float
    readings: dict[str, int] = field(default_factory=dict)
    silence_s: dict[str, float | None] = field(default_factory=dict)
    verdicts: dict[str, int] = field(default_factory=dict)
    journal_seq: int = 0
    journal_bytes: int = 0
    halted: bool = False
    commands_refused: int = 0
    outlets: Sequence[Health] = ()
    quiet_after_s: float = 10.0

    def troubles(self) -> list[str]:
        """One sentence for everything that is not well; empty when all is."""
        found = []
        if self.halted:
            found.append("The journal cannot be written; the bench takes no verdicts.")
        for meter, silence_s in self.silence_s.items():
            if silence_s is None:
                found.append(f"The {meter} has not given a reading yet.")
            elif silence_s > self.quiet_after_s:
                found.append(f"The {meter} has been silent for {silence_s:.0f} s.")
        found += [f"{outlet.name}: {outlet.failing}" for outlet in self.outlets if outlet.failing]
        return found

    @property
    def well(self) -> bool:
        """Whether the bench can do its work: meters read and the journal takes verdicts.

        An outlet that fails is a trouble, but not of the bench: its verdicts wait on the journal.
        """
        quiet = any(s is None or s > self.quiet_after_s for s in self.silence_s.values())
        return not self.halted and not quiet


Sample = tuple[dict[str, str], float]


def exposition(facts: BenchFacts) -> str:
    """Write the facts in Prometheus' text format, one family after the other."""
    outlets = facts.outlets
    backlog = {o.name: max(0, facts.journal_seq - o.cursor) for o in outlets}
    families: dict[str, list[Sample]] = {
        "up gauge 1 when meters read and the journal takes verdicts.": _one(facts.well),
        "build_info gauge Always 1; the label tells the version.": [({"software": facts.software}, 1.0)],
        "uptime_seconds gauge Since the start.": _one(facts.uptime_s),
        "readings_total counter Readings taken.": _by("meter", facts.readings),
        "silence_seconds gauge Since the latest reading.": _by("meter", facts.silence_s),
        "verdicts_total counter Verdicts given.": _by("outcome", facts.verdicts),
        "journal_entries gauge Number of the latest entry.": _one(facts.journal_seq),
        "journal_bytes gauge Size on the disk.": _one(facts.journal_bytes),
        "journal_refusing gauge 1 while it cannot be written.": _one(facts.halted),
        "commands_refused_total counter Not carried out.": _one(facts.commands_refused),
        "outlet_sent_total counter Entries sent.": _by("outlet", {o.name: o.sent for o in outlets}),
        "outlet_backlog_entries gauge Entries that wait to be sent.": _by("outlet", backlog),
        "outlet_failures_total counter Attempts that failed.": _by(
            "outlet", {o.name: o.failures for o in outlets}
        ),
        "outlet_failing gauge 1 while the latest attempt failed.": _by(
            "outlet", {o.name: bool(o.failing) for o in outlets}
        ),
    }
    lines: list[str] = []
    for family, samples in families.items():
        name, kind, about = family.split(" ", 2)
        full = f"steadyohm_{name}"
        lines += [f"# HELP {full} {about}", f"# TYPE {full} {kind}"]
        lines += [f"{full}{_labels({'bench': facts.bench, **labels})} {value!r}" for labels, value in samples]
    return "\n".join(lines) + "\n"


def health(facts: BenchFacts) -> tuple[int, bytes]:
    """Give the answer to a health check.

    Returns:
        HTTP status, 200 when the bench can do its work and 503 when not, and a JSON body with the reasons.
    """
    body: dict[str, Any] = {
        "bench": facts.bench,
        "well": facts.well,
        "troubles": facts.troubles(),
        "uptime_s": round(facts.uptime_s, 1),
        "journal_seq": facts.journal_seq,
        "outlets": {o.name: {"cursor": o.cursor, "failing": o.failing} for o in facts.outlets},
    }
    return (200 if facts.well else 503), json.dumps(body, ensure_ascii=False).encode("utf-8", "replace")


def _one(number: float) -> list[Sample]:
    return [({}, float(number))]


def _by(label: str, numbers: dict[str, Any]) -> list[Sample]:
    return [({label: name}, float(number)) for name, number in numbers.items() if number is not None]


def _labels(labels: dict[str, str]) -> str:
    inner = ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items())
    return "{" + inner + "}"


def _escaped(text: str) -> str:
    """Backslash, quote and line feed are escaped; half a surrogate pair becomes a question mark."""
    text = text.encode("utf-8", "replace").decode("utf-8")
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
