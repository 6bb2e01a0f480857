"""From the facts of a certificate to the blocks of its pages; the same facts always give the same pages.

Content in the manner of ISO/IEC 17025:2017, 7.8.2 to 7.8.6, for a shop that is not accredited, and says so.
Not for gathering facts (certificate_source) nor for drawing (paper_html, pdf_paper).
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from datetime import UTC, datetime

from acquire.quantity import counted
from acquire.records.words import FAILING
from acquire.reports.certificate_facts import CertificateFacts, Measured, Step, Typed
from acquire.reports.certificate_instruments import instrument_rows
from acquire.reports.certificate_results import deciding, not_counted, plots, results, ways
from acquire.reports.certificate_words import (
    CAUTIONS,
    NOT_GIVEN,
    OUTCOMES,
    POOR_METER,
    PURPOSES,
    RULES,
    STATEMENTS,
    TURNS,
    TURNS_TESTED,
    tells_of_turns,
)
from acquire.reports.paper import (
    MARK_OF,
    Block,
    Cell,
    Code,
    Column,
    End,
    Finding,
    Letterhead,
    Marked,
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
from acquire.words.outcomes import OUTCOME_WORDS
from acquire.words.plain import sureness

TITLE = "Winding test certificate"


def certificate_paper(facts: CertificateFacts) -> Paper:
    """The certificate, ready to be drawn."""
    given = facts.given
    head = given.heading
    logo = base64.b64decode(head.logo) if head.logo else b""
    return Paper(
        title=TITLE,
        subtitle=f"No. {facts.id}",
        head=Letterhead(head.name, head.address, logo, head.logo_kind),
        running=f"{TITLE} {facts.id}",
        blocks=tuple(_blocks(facts)),
        size=given.paper,
        attached=facts.text,
        attached_name="certificate-facts.json",
        written_utc_s=given.issued_utc_s,
    )


def _blocks(facts: CertificateFacts) -> Iterator[Block]:
    measured = facts.measured
    yield _finding(measured)
    yield from _doubts(measured)
    yield Pairs(tuple(_about(facts)))
    yield from results(measured)
    yield from _typed(measured.typed)
    yield from _not_tested(measured)
    yield from _rules(measured)
    yield from ways(measured)
    yield from plots(measured)
    yield from _instruments(facts)
    yield from _deviations(measured)
    yield from _statements(facts)


def moment(utc_s: float, *, seconds: bool = False) -> str:
    """Date and time as papers show them."""
    try:
        return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M" + (":%S" if seconds else " UTC"))
    except (ValueError, OverflowError, OSError):
        return "at no known time"


def _finding(measured: Measured) -> Finding:
    done = f"{measured.steps_passed} of {counted(measured.steps_total, 'step')} passed."
    why = [*measured.findings, *(f"{text}" for _, text in measured.diagnosis[:1])]
    if measured.diagnosis:
        why[-1] = f"{why[-1].removesuffix('.')} ({sureness(measured.diagnosis[0][0])} sure)"
    why += [
        f"{each.name}: {OUTCOME_WORDS[each.outcome]}" for each in measured.typed if each.outcome in FAILING
    ]
    return Finding(
        MARK_OF[measured.outcome],
        OUTCOMES[measured.outcome],
        " ".join([done, *(_ended(each) for each in why)]),
    )


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _doubts(measured: Measured) -> Iterator[Block]:
    doubtful = [step for step in measured.steps if step.counts and step.doubt]
    if doubtful:
        names = ", ".join(step.step for step in doubtful)
        text = f"Doubtful results, not to be relied on until measured again: {names}. {doubtful[0].doubt}."
        yield Words(text, Tone.CAUTION)


def _about(facts: CertificateFacts) -> Iterator[tuple[str, str]]:
    given, measured = facts.given, facts.measured
    yield "Unit type", measured.sheet
    yield "Serial", measured.serial
    yield "Customer", given.customer or NOT_GIVEN
    yield "Batch", measured.batch or "none"
    yield "Received", given.received or NOT_GIVEN
    yield "Condition", given.condition or NOT_GIVEN
    yield "Tested", moment(measured.started_utc_s)
    yield "Issued", moment(given.issued_utc_s)
    yield (
        "Place",
        f"bench “{measured.bench}”" + (", at the address above" if given.heading.address else ""),
    )
    yield "Tested by", measured.operator or NOT_GIVEN
    yield "Purpose", PURPOSES[measured.purpose]
    yield (
        "Method",
        f"direct-current resistance by the sheet “{measured.sheet}”, SHA-256 {measured.sheet_hash[:16]}…",
    )
    if measured.spools:
        yield "Wound from", "; ".join(measured.spools)
    if given.replaces:
        yield "Replaces", f"certificate No. {given.replaces}"
    if given.remark:
        yield "Remark", given.remark


def _typed(typed: tuple[Typed, ...]) -> Iterator[Block]:
    if not typed:
        return
    yield Title("Results of other instruments, typed in (external to this bench)")
    columns = (Column("Test", 40), Column("As typed", 60), Column("Instrument", 26), Column("Verdict", 30))
    rows = []
    for each in typed:
        word: Cell = "recorded, not judged"
        if each.outcome is not None:
            said = OUTCOME_WORDS[each.outcome].capitalize()
            word = Marked(MARK_OF[each.outcome], f"{said}, as stated" if each.stated else said)
        rows.append((each.name, each.typed, each.instrument or NOT_GIVEN, word))
    yield Table(columns, tuple(rows))


def _not_tested(measured: Measured) -> Iterator[Block]:
    yield Title("What was not tested")
    missing = tuple(_ended(text[:1].upper() + text[1:]) for text in measured.not_tested)
    yield Points((*missing, TURNS_TESTED if tells_of_turns(measured.typed) else TURNS))


def _rules(measured: Measured) -> Iterator[Block]:
    yield Title("How it was decided")
    steps = deciding(measured)
    rules = list(dict.fromkeys(step.rule for step in steps))
    for rule in rules:
        named = "" if len(rules) == 1 else f" ({', '.join(step.step for step in steps if step.rule is rule)})"
        yield Words(f"Decision rule{named}: {RULES[rule]}")
    yield Words(
        f"It applies to each resistance against the limits shown beside it. {POOR_METER} The verdict of "
        "the unit is the worst of its steps, of rules over several windings, and of results typed in."
    )


# ---------------------------------------------------------------- the rest


def _instruments(facts: CertificateFacts) -> Iterator[Block]:
    yield Title("Instruments")
    columns = (
        Column("Instrument", 46),
        Column("Accuracy by", 40),
        Column("Calibration", 48),
        Column("Check", 48),
    )
    yield Table(columns, tuple(instrument_rows(facts)))


def _deviations(measured: Measured) -> Iterator[Block]:
    yield Title("Deviations and remarks")
    attempts = tuple(_attempt(step) for step in not_counted(measured))
    yield Points((*measured.deviations, *attempts) or ("None on record.",))
    if measured.other_visits:
        yield Title("Other tests of this unit on the same record")
        yield Points(
            tuple(
                f"{moment(each.utc_s)}, {each.purpose} ({'later' if each.later else 'earlier'}): "
                f"{each.ended}; entry {each.id}"
                for each in measured.other_visits
            )
        )


def _attempt(step: Step) -> str:
    """A measurement that decided nothing, with what came of it."""
    value = "open" if step.reference_ohm is None else with_uncertainty(step.reference_ohm, step.expanded_ohm)
    what = f"{step.step} ({step.pin_a}–{step.pin_b}) {value}, {OUTCOME_WORDS[step.outcome]}"
    return f"{moment(step.utc_s, seconds=True)}: {what}: measured again."


def _statements(facts: CertificateFacts) -> Iterator[Block]:
    given = facts.given
    yield Title("Statements and cautions")
    first, *others = STATEMENTS
    yield Words(first, Tone.STRONG)
    yield Words(" ".join(others))
    yield Words(f"Cautions: {' '.join(CAUTIONS)}", Tone.SMALL)
    yield Signing(
        "Authorised by", given.heading.authorised or "(name)", f"Issued {moment(given.issued_utc_s)}"
    )
    yield Code(
        facts.code_text,
        (
            f"Certificate {facts.id}, entry {facts.measured.result_id} of the journal",
            f"SHA-256 of its facts: {facts.digest}",
            f"Measured with {_software(facts.measured)}; drawn with {given.software}.",
            (
                "To check it: steadyohm certificate --verify FILE --journal JOURNAL. That shows whether this "
                "file is as the program drew it, and whether its measured facts are those on the shop's "
                "record. It does not show who drew it; heading, customer and condition are on no record."
            ),
        ),
    )
    yield End(f"END OF CERTIFICATE {facts.id}")


def _software(measured: Measured) -> str:
    return ", ".join(dict.fromkeys(step.software for step in measured.steps)) or "no software on record"
