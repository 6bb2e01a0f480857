"""Then and now in plain sentences: lines for a terminal, and a paper for the customer.

Not for the comparison itself (returned).
"""

from __future__ import annotations

from collections.abc import Iterator

from acquire.reports.certificate_pages import moment
from acquire.reports.certificate_words import TURNS
from acquire.reports.paper import (
    Block,
    Column,
    End,
    Finding,
    Letterhead,
    Mark,
    Pairs,
    Paper,
    Points,
    Signing,
    Table,
    Title,
    Tone,
    Words,
    with_uncertainty,
)
from acquire.reports.returned import Change, Returned
from acquire.reports.same_unit import AGEING, FAULTY, STRANGER_COMMON
from acquire.words.outcomes import OUTCOME_WORDS
from acquire.words.plain import sureness

TITLE = "Then and now"

SURE = 0.95
"""From here on the sentence says that it is, or is not, the unit that left; workshop choice."""


def sentences(found: Returned) -> tuple[str, ...]:
    """All of it in plain sentences, the two questions first."""
    return (ours_sentence(found), changed_sentence(found), *notes(found))


def ours_sentence(found: Returned) -> str:
    """Is it the unit that left?"""
    ours = found.ours
    if ours.odds is None:
        return f"Whether it is the unit that left here cannot be told from ohms: {ours.why_not}."
    this, rest = ours.odds.this_unit, 1.0 - ours.odds.this_unit
    if this >= SURE:
        return f"By its ohms this is the winding that left here ({sureness(this)} sure)."
    if rest >= SURE:
        what = "another unit of ours" if ours.odds.sister > ours.odds.stranger else "somebody else's winding"
        no = f"By its ohms this is not the winding that left here ({sureness(rest)} sure)"
        return f"{no}; it reads more like {what}."
    return f"The ohms cannot tell whether this is the winding that left here: {sureness(this)} for it."


def changed_sentence(found: Returned) -> str:
    """Which pairs have changed."""
    real = [change for change in found.changes if change.real]
    if not found.changes:
        return "No pair was measured at both visits."
    if all(change.real is None for change in found.changes):
        return "Whether anything changed cannot be told: the earlier values state no uncertainty."
    if not real:
        many = "the pair" if len(found.changes) == 1 else f"all {len(found.changes)} pairs"
        return f"No change is proven: {many} read as before, as closely as the measurements tell."
    told = "; ".join(_changed(change) for change in real)
    same = len(found.changes) - len(real)
    rest = (
        f" The other {same} read as before."
        if same > 1
        else " The other one reads as before."
        if same
        else ""
    )
    return f"Changed: {told}.{rest}"


def _changed(change: Change) -> str:
    name = f"{change.step} ({change.pin_a}–{change.pin_b})"
    if change.change is None:
        return f"{name} is open now" if change.now.ohm is None else f"{name} was open and conducts now"
    way = "less" if change.change < 0.0 else "more"
    return f"{name} reads {_percent(change.change)} {way} than then"


def _percent(fraction: float) -> str:
    return f"{abs(100.0 * fraction):.2g} %" if abs(fraction) < 0.1 else f"{abs(100.0 * fraction):.0f} %"


def notes(found: Returned) -> Iterator[str]:
    """What the answers rest on, and what is left open."""
    near = [c for c in found.changes if c.real is False and _only_by_meter(c)]
    if near:
        names = ", ".join(change.step for change in near)
        yield (
            f"{names}: too little for a proof, as the meter's own limits are counted at both visits. It "
            "was the same meter on the same range: if its error has not changed between, this is a change."
        )
    if found.diagnosis:
        probability, sentence = found.diagnosis[0]
        yield f"The latest readings say: {sentence.removesuffix('.')} ({sureness(probability)} sure)."
    if found.now_outcome is None and found.now_held:
        yield f"The latest test has no verdict: {found.now_held}."
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
            f"The odds weigh all pairs together: this unit (aged by {_percent(AGEING)}), one of "
            f"{found.ours.sisters} other units of {whose} on record, or a winding of another shop "
            f"({_percent(STRANGER_COMMON)} apart); a fault at any pair ({_percent(FAULTY)} each) is "
            "allowed for in all three. Before measuring, the odds for this unit were taken as "
            f"{_percent(found.ours.prior)}."
        )


def _only_by_meter(change: Change) -> bool:
    """The change would be real if the meter's error were the same at both visits."""
    common = change.expanded_if_common
    return change.change is not None and common is not None and abs(change.change) > common


def lines(found: Returned) -> Iterator[str]:
    """For a terminal."""
    yield f"{found.serial}  {found.sheet}"
    yield f"  then  {moment(found.then_utc_s)}  {found.then_purpose}, {_ended(found, now=False)}"
    yield f"  now   {moment(found.now_utc_s)}  {found.now_purpose}, {_ended(found, now=True)}"
    yield ""
    head = f"at {found.reference_celsius:g} °C"
    yield f"{head:<28} {'then':>20} {'now':>20} {'change':>18}"
    for change in found.changes:
        name = f"{change.pin_a}–{change.pin_b} {change.step}"
        sides = f"{_side(change, now=False):>20} {_side(change, now=True):>20}"
        yield f"{name:<28} {sides} {_by(change):>18}  {_real(change)}"
    yield ""
    yield from sentences(found)


def _ended(found: Returned, *, now: bool) -> str:
    outcome = found.now_outcome if now else found.then_outcome
    if outcome is not None:
        return OUTCOME_WORDS[outcome]
    return found.now_held if now and found.now_held else "no verdict"


def _side(change: Change, *, now: bool) -> str:
    side = change.now if now else change.then
    return (
        "open" if side.ohm is None else with_uncertainty(side.ohm, side.expanded_ohm).replace("\u00a0", " ")
    )


def _by(change: Change) -> str:
    if change.change is None:
        return "–"
    if change.expanded_change is None:
        return f"{100.0 * change.change:+.2f} %"
    return f"{100.0 * change.change:+.2f} ± {100.0 * change.expanded_change:.2f} %"


def _real(change: Change) -> str:
    return {True: "changed", False: "no change proven", None: "cannot be told"}[change.real]


def returned_paper(
    found: Returned, head: Letterhead, size: str, issued_utc_s: float, signed: str = ""
) -> Paper:
    """A page for the customer."""
    return Paper(
        title=TITLE,
        subtitle=f"{found.serial}, {found.sheet}",
        head=head,
        running=f"{TITLE}: {found.serial}",
        blocks=tuple(_blocks(found, issued_utc_s, signed)),
        size=size,
        written_utc_s=issued_utc_s,
    )


def _blocks(found: Returned, issued_utc_s: float, signed: str) -> Iterator[Block]:
    changed = any(change.real for change in found.changes)
    yield Finding(
        Mark.FAIL if changed else Mark.PASS,
        "Changed" if changed else "As before",
        changed_sentence(found).removeprefix("Changed: "),
    )
    yield Words(ours_sentence(found), Tone.STRONG)
    yield Pairs(
        (
            ("Unit type", found.sheet),
            ("Serial", found.serial),
            ("Then", f"{moment(found.then_utc_s)}, {found.then_purpose}: {_ended(found, now=False)}"),
            ("Now", f"{moment(found.now_utc_s)}, {found.now_purpose}: {_ended(found, now=True)}"),
            ("Batch", found.batch or "none"),
            ("Entries", f"{found.then_id}, {found.now_id}"),
        )
    )
    yield Title(f"Pair by pair at {found.reference_celsius:g} °C")
    columns = (
        Column("Step", 32),
        Column("Pins", 17),
        Column("Then", 36, right=True),
        Column("Now", 36, right=True),
        Column("Change", 33, right=True),
        Column("Finding", 26),
    )
    rows = tuple(
        (
            change.step,
            f"{change.pin_a}–{change.pin_b}",
            _side(change, now=False),
            _side(change, now=True),
            _by(change),
            _real(change),
        )
        for change in found.changes
    )
    yield Table(columns, rows)
    yield Words(
        (
            "±: expanded uncertainty for 95 %. A change counts as proven where it is larger than the "
            "uncertainty of both measurements together, the meter's own limits counted at both."
        ),
        Tone.SMALL,
    )
    yield Title("What this rests on")
    yield Points(
        (*notes(found), TURNS.partition(" No surge")[0], "This is not an accredited test certificate.")
    )
    yield Signing("For the shop", signed or "(name)", f"Written {moment(issued_utc_s)}")
    yield End("END")
