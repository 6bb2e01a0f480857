"""Then and now in plain sentences, and as a document for the customer or a terminal.

Everything is said from the one finding of each pair. Not for the comparison itself (returned).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from acquire.journal.plain import spelt
from acquire.quantity import percent, show, with_uncertainty
from acquire.records import Outcome
from acquire.reports import document as doc
from acquire.reports.document import Tone, firm, moment
from acquire.reports.returned import REAL, PairChange, PairFinding, Returned
from acquire.reports.same_unit import AGEING, FAULTY, STRANGER_COMMON
from acquire.reports.visits import Value
from acquire.words.faults import likely
from acquire.words.papers import TURNS
from acquire.words.saying import sureness

TITLE = "Then and now"

SURE = 0.95
"""From here on the sentence says that it is, or is not, the unit that left; workshop choice."""

FINDINGS = {
    PairFinding.CHANGED: "changed",
    PairFinding.PERHAPS: "changed, if the meter has not",
    PairFinding.AS_BEFORE: "no change proven",
    PairFinding.OPENED: "open now",
    PairFinding.CLOSED: "conducts now",
    PairFinding.UNTOLD: "cannot be determined",
}
"""Of a pair in tables, the same wherever they stand."""

HOW = (
    "±: expanded uncertainty for 95 %. A change counts as proven where it is larger than the uncertainty of "
    "both measurements together, the meter's own limits counted at both."
)


def sentences(found: Returned) -> tuple[str, ...]:
    """All of it in plain sentences, the two questions first."""
    return (ours_sentence(found), changed_sentence(found), *notes(found))


def ours_sentence(found: Returned) -> str:
    """Is it the unit that left?"""
    ours = found.ours
    if ours.odds is None:
        return f"Ohms cannot show whether it is the unit that left here: {ours.why_not}."
    this, rest = ours.odds.this_unit, 1.0 - ours.odds.this_unit
    if this >= SURE:
        return f"By its ohms this is the winding that left here ({sureness(this)} sure)."
    if rest >= SURE:
        what = "another unit of ours" if ours.odds.sister > ours.odds.stranger else "somebody else's winding"
        no = f"By its ohms this is not the winding that left here ({sureness(rest)} sure)"
        return f"{no}; it reads more like {what}."
    return f"The ohms cannot tell whether this is the winding that left here: {sureness(this)} for it."


def changed_sentence(found: Returned) -> str:
    """Which pairs have changed, counted from their findings."""
    if not found.changes:
        return "No pair was measured at both visits."
    parts = []
    if real := found.of(*REAL):
        parts.append(f"Changed: {'; '.join(map(_changed, real))}.")
    if perhaps := found.of(PairFinding.PERHAPS):
        parts.append(f"Changed if the meter has not: {'; '.join(map(_changed, perhaps))}.")
    if untold := found.of(PairFinding.UNTOLD):
        parts.append(
            f"Whether {_many(untold, found)} changed cannot be determined: the earlier values state no "
            "uncertainty."
        )
    if same := found.of(PairFinding.AS_BEFORE):
        parts.append(f"No change is proven at {_many(same, found)}.")
    return " ".join(parts)


def _many(some: Sequence[PairChange], found: Returned) -> str:
    if len(some) == len(found.changes):
        return "the pair" if len(some) == 1 else f"all {len(some)} pairs"
    return "the other one" if len(some) == 1 else f"the other {len(some)}"


def _changed(change: PairChange) -> str:
    name = f"{change.step} ({change.pins})"
    if change.change_ohm is None:
        return (
            f"{name} {'is open now' if change.finding is PairFinding.OPENED else 'was open and conducts now'}"
        )
    way = "less" if change.change_ohm < 0.0 else "more"
    size = show(abs(change.change_ohm), "Ω", change.expanded_ohm)
    return (
        f"{name} reads {size if change.fraction is None else percent(abs(change.fraction))} {way} than then"
    )


def notes(found: Returned) -> Iterator[str]:
    """What the answers rest on, and what is left open."""
    if perhaps := found.of(PairFinding.PERHAPS):
        names = ", ".join(change.step for change in perhaps)
        yield (
            f"{names}: too little for a proof, as the meter's own limits are counted at both visits. It was "
            "the same meter on the same range: unless its error has changed meanwhile, the winding has."
        )
    for best in found.hypotheses[:1]:
        yield f"The latest readings say: {likely(best)}"
    if found.now.outcome is None:
        yield f"The latest test has no verdict: {found.now.ended}."
    if not found.same_sheet:
        yield "The two tests were made by different sheets."
    if found.from_paper:
        yield "The earlier values are those of a paper record; nothing but that paper stands for them."
    if found.converted:
        yield "The earlier values were brought to the latest test's reference temperature as copper."
    if found.missing:
        yield f"Measured at one of the two visits only: {', '.join(found.missing)}."
    if found.ours.odds is not None:
        whose = f"batch {found.ours.of_batch}" if found.ours.of_batch else "this type"
        yield (
            f"The odds weigh {', '.join(found.ours.pairs)} together: this unit (aged by {percent(AGEING)}), "
            f"one of {found.ours.sisters} other units of {whose} on record, or a winding of another shop "
            f"({percent(STRANGER_COMMON)} apart); a fault at any pair ({percent(FAULTY)} each) is allowed "
            "for in all three. Before measuring, the odds for this unit were taken as "
            f"{percent(found.ours.prior)}."
        )


SIDE = ("id", "utc_s", "expanded_ohm", "outcome", "meter_id", "winding_celsius")
SIZES = ("finding", "change_ohm", "expanded_ohm", "fraction", "expanded_fraction")


def as_plain(found: Returned) -> dict[str, Any]:
    """All of it for programs, sentences among it."""
    plain = {name: getattr(found, name) for name in Returned.__slots__}
    for name, visit in (("then", found.then), ("now", found.now)):
        stay = {"id": visit.result_id, "utc_s": visit.started.utc_s, "purpose": visit.purpose}
        plain[name] = {**stay, "outcome": visit.outcome, "ended": visit.ended}
    plain["changes"] = [
        {"step": change.step, "pin_a": change.now.pin_a, "pin_b": change.now.pin_b}
        | {side: _side(getattr(change, side)) for side in ("then", "now")}
        | {name: getattr(change, name) for name in SIZES}
        for change in found.changes
    ]
    plain["hypotheses"] = list(map(spelt, found.hypotheses))
    return {**plain, "ours": spelt(found.ours), "sentences": list(sentences(found))}


def _side(value: Value) -> dict[str, Any]:
    return {"ohm": value.reference_ohm} | {name: getattr(value, name) for name in SIDE}


def change_text(change: PairChange) -> str:
    """By how much a pair has changed: in per cent where that means something, else in ohms."""
    if change.change_ohm is None:
        return "–"
    if change.fraction is None:
        sign = "+" if change.change_ohm >= 0.0 else ""
        return sign + firm(with_uncertainty(change.change_ohm, change.expanded_ohm))
    if change.expanded_fraction is None:
        return f"{100.0 * change.fraction:+.2f} %"
    return f"{100.0 * change.fraction:+.2f} ± {100.0 * change.expanded_fraction:.2f} %"


def returned_document(
    found: Returned, head: doc.Letterhead | None, size: str, issued_utc_s: float
) -> doc.Document:
    """A page for the customer, and what a terminal shows."""
    blocks = tuple(_blocks(found, issued_utc_s, "" if head is None else head.authorised))
    running = f"{TITLE}: {found.serial}"
    subtitle = f"{found.serial}, {found.sheet}"
    return doc.Document(TITLE, subtitle, blocks, head, running, size, written_utc_s=issued_utc_s)


def _blocks(found: Returned, issued_utc_s: float, signed: str) -> Iterator[doc.Block]:
    mark, word = Outcome.PASS, "No change proven"
    if found.of(*REAL):
        mark, word = Outcome.FAIL, "Changed"
    elif found.of(PairFinding.PERHAPS, PairFinding.UNTOLD) or not found.changes:
        mark, word = Outcome.CANNOT_JUDGE, "Cannot be told"
    yield doc.Result(mark, word, (changed_sentence(found),))
    yield doc.Text(ours_sentence(found), Tone.STRONG)
    then, now = (f"{moment(v.started.utc_s)}, {v.purpose}: {v.ended}" for v in (found.then, found.now))
    yield doc.KeyValues((
        ("Unit type", found.sheet), ("Serial", found.serial), ("Then", then), ("Now", now),
        ("Batch", found.batch or "none"), ("Entries", f"{found.then.result_id}, {found.now.result_id}"),
    ))  # fmt: skip
    yield doc.Heading(f"Pair by pair at {found.reference_celsius:g} °C")
    rows = (
        (c.step, c.pins, _ohm(c.then), _ohm(c.now), change_text(c), FINDINGS[c.finding])
        for c in found.changes
    )
    yield doc.table("Step 30 | Pins 16 | Then 35> | Now 35> | Change 34> | Finding 30", rows)
    yield doc.Text(HOW, Tone.SMALL)
    yield doc.Heading("What this rests on")
    yield doc.Bullets((*notes(found), TURNS, "This is not an accredited test certificate."))
    yield doc.Signing("For the shop", signed or "(name)", f"Written {moment(issued_utc_s)}")
    yield doc.End("END")


def _ohm(of: Value) -> str:
    return "open" if of.reference_ohm is None else firm(with_uncertainty(of.reference_ohm, of.expanded_ohm))
