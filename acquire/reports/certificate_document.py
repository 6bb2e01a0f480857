"""A certificate as a document, drawn from its facts alone; the same facts always give the same pages.

Content in the manner of ISO/IEC 17025:2017, 7.8.2 to 7.8.6, for a shop that is not accredited, and says so.
Not for gathering facts (certificate).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date

from acquire.quantity import counted, show, with_uncertainty
from acquire.records import Basis, CheckStandard, TypedResult, UnitResult, UntestedKind
from acquire.records.bench import ClosureFound, StepAtEnd
from acquire.records.codes import WARM_CHECK
from acquire.reports import document as doc
from acquire.reports.certificate import Certificate, CertificateStep, MeterCalibration
from acquire.reports.document import Tone, age, firm, limits_text, moment, probability_text
from acquire.reports.visits import Visit
from acquire.words import papers as words
from acquire.words.beside import check_text
from acquire.words.faults import likely
from acquire.words.notices import said
from acquire.words.saying import capital
from acquire.words.units import untested_words
from acquire.words.verdicts import OUTCOME_WORDS, closure_name, reason, verdict_word
from drivers.reading import Quantity

TITLE = "Winding test certificate"

SECONDS = "%Y-%m-%d %H:%M:%S"


def certificate_document(of: Certificate) -> doc.Document:
    """The certificate, ready to be printed."""
    given = of.given
    return doc.Document(
        TITLE, f"No. {of.number}", tuple(_blocks(of)), given.heading, f"{TITLE} {of.number}", given.paper,
        of.text, "certificate-facts.json", given.issued_utc_s,
    )  # fmt: skip


def _blocks(of: Certificate) -> Iterator[doc.Block]:
    visit = of.visit
    steps = of.steps(visit)
    last = {step.verdict.step: step for step in steps if step.counts}
    deciding = [step for name, step in last.items() if name != WARM_CHECK]
    repeated = [step for step in steps if not step.counts]
    yield _result(visit)
    if doubtful := [step for step in steps if step.counts and step.doubt]:
        names = ", ".join(step.verdict.step for step in doubtful)
        text = f"Doubtful results, not to be relied on until measured again: {names}. {doubtful[0].doubt}."
        yield doc.Text(text, Tone.CAUTION)
    yield doc.KeyValues(tuple(_about(of, visit)))
    yield from _results(deciding, visit.results[-1].record)
    if WARM_CHECK in last:
        moved = reason(last[WARM_CHECK].verdict).removesuffix(".")
        told = f"Was it at room temperature? The first resistance, measured again at the end, {moved}."
        yield doc.Text(told, Tone.SMALL)
    if repeated:
        told = "One measurement was" if len(repeated) == 1 else f"{len(repeated)} measurements were"
        yield doc.Text(f"{told} repeated and did not count: see the remarks.", Tone.SMALL)
    yield from _together(visit.results[-1].record)
    yield from _typed(visit.typed[i].record for i in range(len(visit.typed)))
    yield doc.Heading("What was not tested")
    yield doc.Bullets(tuple(_not_tested(visit)))
    yield from _rules(deciding)
    yield from _ways([step for step in deciding if step.verdict.raw_ohm is not None])
    yield from _plots(deciding)
    yield from _instruments(of, steps)
    yield from _deviations(of, visit, repeated)
    yield from _statements(of, steps)


def _result(visit: Visit) -> doc.Result:
    assert visit.outcome is not None  # noqa: S101  (chosen as one that ended)
    result = visit.results[-1].record
    why = list(visit.findings())
    why += map(likely, visit.hypotheses[:1])
    done = f"{result.steps_passed} of {counted(result.steps_total, 'step')} passed."
    text = " ".join([done, *map(_ended, why)])
    return doc.Result(visit.outcome, words.OUTCOMES[visit.outcome], (text,))


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _about(of: Certificate, visit: Visit) -> Iterator[tuple[str, str]]:
    given, result, started = of.given, visit.results[-1].record, visit.started
    yield "Unit type", result.sheet
    yield "Serial", result.serial
    yield "Customer", given.customer or words.NOT_GIVEN
    yield "Batch", result.batch or "none"
    yield "Received", given.received or words.NOT_GIVEN
    yield "Condition", given.condition or words.NOT_GIVEN
    yield "Tested", moment(result.started_utc_s)
    yield "Issued", moment(given.issued_utc_s)
    yield "Place", f"bench “{result.bench}”" + (", at the address above" if given.heading.address else "")
    yield "Tested by", result.operator or words.NOT_GIVEN
    yield "Purpose", words.PURPOSES[result.purpose]
    method = f"direct-current resistance by the sheet “{result.sheet}”, SHA-256 {result.sheet_hash[:16]}…"
    yield "Method", method
    if started.spools:
        yield "Wound from", "; ".join(f"{each.winding}: {each.spool}" for each in started.spools)
    if result.revision:
        yield "Revision", f"{result.revision} of the result, as of {moment(result.utc_s)}"
    if given.replaces:
        yield "Replaces", f"certificate No. {given.replaces}"
    if given.remark:
        yield "Remark", given.remark


def _results(steps: Sequence[CertificateStep], result: UnitResult) -> Iterator[doc.Block]:
    """What was found, step by step, beside its limits, with what is unsure of the unit's temperature in U."""
    at_end = {each.step: each for each in (result.temperature.steps if result.temperature else ())}
    steps = [_as_at_end(step, at_end.get(step.verdict.step)) for step in steps]
    at = sorted({f"{step.verdict.reference_celsius:g} °C" for step in steps})
    yield doc.Heading(f"Results at {' and '.join(at) or 'the reference temperature'}")
    heads = "Step 27|Pins 16|Resistance ± U 32>|Limits 32>|Between the limits 24|Conformance 21>|Verdict 27"
    yield doc.table(heads, (_result_row(step, temperature=len(at) > 1) for step in steps))
    yield doc.Text(words.HOW_TO_READ, Tone.SMALL)
    if result.temperature is not None:
        found = result.temperature
        told = words.TEMPERATURE.format(low=found.low_kelvin, high=found.high_kelvin, u=found.u_kelvin)
        yield doc.Text(told, Tone.SMALL)


def _as_at_end(step: CertificateStep, at_end: StepAtEnd | None) -> CertificateStep:
    if at_end is None:
        return step
    u, inside = at_end.expanded_ohm, at_end.conformance_probability
    verdict = replace(step.verdict, expanded_ohm=u, conformance_probability=inside, outcome=at_end.outcome)
    return step._replace(verdict=verdict)


def _together(result: UnitResult) -> Iterator[doc.Block]:
    """What several pairs show together: joints, and windings that no pair shows alone."""
    if not result.closures:
        return
    yield doc.Heading("What several pairs show together")
    heads = "Relation 44 | Pins 40 | Value ± U 34> | Limits 34> | Verdict 27"
    yield doc.table(heads, map(_relation_row, result.closures))
    yield doc.Text(words.HOW_RELATED, Tone.SMALL)


def _relation_row(found: ClosureFound) -> tuple[doc.Cell, ...]:
    verdict = doc.Marked(found.outcome, OUTCOME_WORDS[found.outcome].capitalize())
    pins = ", ".join(f"{pair.a}–{pair.b}" for pair in found.pairs)
    value = firm(with_uncertainty(found.ohm, found.expanded_ohm))
    return closure_name(found), pins, value, limits_text(found.lower_ohm, found.upper_ohm), verdict


def _ohm(ohm: float | None, expanded_ohm: float | None) -> str:
    return "open" if ohm is None else firm(with_uncertainty(ohm, expanded_ohm))


def _result_row(step: CertificateStep, *, temperature: bool) -> tuple[doc.Cell, ...]:
    v = step.verdict
    value, scale = _ohm(v.reference_ohm, v.expanded_ohm), None
    if v.reference_ohm is not None:
        value += f" at {v.reference_celsius:g} °C" if temperature else ""
        if (v.lower_ohm, v.upper_ohm) != (None, None):
            ohm, half = v.reference_ohm, v.expanded_ohm or 0.0
            scale = doc.Scale(v.lower_ohm, v.upper_ohm, ohm, ohm - half, ohm + half)
    word = capital(verdict_word(v)) + (" (doubtful)" if step.doubt else "")
    limits = limits_text(v.lower_ohm, v.upper_ohm)
    verdict = doc.Marked(v.outcome, word)
    return (
        v.step,
        f"{v.pin_a}–{v.pin_b}",
        value,
        limits,
        scale or "",
        probability_text(v.conformance_probability),
        verdict,
    )


def _typed(typed: Iterator[TypedResult]) -> Iterator[doc.Block]:
    rows: list[tuple[doc.Cell, ...]] = []
    for each in typed:
        word: doc.Cell = "recorded, not judged"
        if each.outcome is not None:
            said = OUTCOME_WORDS[each.outcome].capitalize()
            word = doc.Marked(each.outcome, f"{said}, as stated" if each.stated else said)
        rows.append((each.name, each.typed, each.instrument or words.NOT_GIVEN, word))
    if rows:
        yield doc.Heading("Results of other instruments, typed in (external to this bench)")
        yield doc.table("Test 40 | As typed 60 | Instrument 26 | Verdict 30", rows)


def _not_tested(visit: Visit) -> Iterator[str]:
    left = (each for each in visit.untested() if each.kind is not UntestedKind.TURNS)
    yield from (f"{capital(untested_words(each))}." for each in left)
    if any(each.shows_turns for each in visit.judged):
        yield words.TURNS_TESTED
    else:
        yield f"{words.TURNS} {words.NO_TURNS_ON_RECORD}"


def _rules(steps: Sequence[CertificateStep]) -> Iterator[doc.Block]:
    yield doc.Heading("How it was decided")
    rules = dict.fromkeys(step.verdict.rule for step in steps)
    for rule in rules:
        names = ", ".join(step.verdict.step for step in steps if step.verdict.rule is rule)
        yield doc.Text(f"Decision rule{'' if len(rules) == 1 else f' ({names})'}: {words.RULES[rule]}")
    yield doc.Text(words.RULES_APPLY)


# ---------------------------------------------------------------- how each value came about


def _ways(steps: Sequence[CertificateStep]) -> Iterator[doc.Block]:
    """From each reading to its result: leads, temperature, range, coverage factor."""
    if not steps:
        return
    yield doc.Heading("From the reading to the result")
    heads = "Step 25 | As read 19> | Leads 18> | Winding 18> | Result 19> | k 11> | Readings 18> | Range 17>"
    yield doc.table(f"{heads} | One count 19> | UTC 18>", map(_way_row, steps))
    yield doc.Text(words.HOW_CORRECTED, Tone.SMALL)
    if any(s.verdict.basis is Basis.TYPED for s in steps):
        yield doc.Text(words.HOW_TYPED, Tone.SMALL)
    if beside := {s.verdict.step: s.verdict.against for s in steps if s.verdict.against}:
        told = ", ".join(f"{step} with {name}" for step, name in beside.items())
        yield doc.Text(f"{words.HOW_COMPARED} Compared: {told}.", Tone.SMALL)
    yield from (doc.Text(text, Tone.SMALL) for text in dict.fromkeys(map(_temperature, steps)) if text)


def _way_row(step: CertificateStep) -> tuple[doc.Cell, ...]:
    v = step.verdict
    full, count = v.range_full_scale_ohm, v.resolution_ohm
    return (
        v.step,
        "open" if v.raw_ohm is None else firm(show(v.raw_ohm, "Ω", v.expanded_ohm)),
        _leads(step),
        "–" if v.winding_celsius is None else firm(f"{v.winding_celsius:.2f} °C"),
        "open" if v.reference_ohm is None else firm(show(v.reference_ohm, "Ω", v.expanded_ohm)),
        "–" if v.coverage_factor is None else f"{v.coverage_factor:.2f}",
        "typed" if v.basis is Basis.TYPED else f"{v.conversions}",
        "unknown" if full is None else firm(show(full, "Ω", digits=3)),
        "unknown" if count is None else firm(show(count, "Ω", digits=1)),
        moment(v.utc_s, "%H:%M:%S"),
    )


def _leads(step: CertificateStep) -> str:
    v, zeroed_s = step.verdict, step.evidence.lead_zero_utc_s
    if v.quantity is Quantity.RESISTANCE_4W:
        return "4-wire"
    if v.lead_ohm == 0.0 and zeroed_s is None:
        return "not zeroed"
    shown_ohm = firm(show(v.lead_ohm, "Ω", digits=3))
    return shown_ohm if zeroed_s is None else f"{shown_ohm} {firm(f'{age(v.utc_s - zeroed_s)} old')}"


def _temperature(step: CertificateStep) -> str:
    kept, utc_s = step.evidence, step.verdict.utc_s
    if not kept.temperature_source:
        return ""
    old = ""
    if kept.temperature_utc_s is not None:
        fresh = utc_s - kept.temperature_utc_s <= 600.0
        old = "read or typed within the minutes before each value"
        old = f", {old if fresh else f'{age(utc_s - kept.temperature_utc_s)} old'}"
    return f"Temperature: from “{kept.temperature_source}”{old}; the winding is taken to have soaked in it."


def _plots(steps: Sequence[CertificateStep]) -> Iterator[doc.Block]:
    """The readings of each step as a small plot."""
    drawn = []
    for step in steps:
        v, trace = step.verdict, step.evidence.trace
        if len(trace) < 2:
            continue
        of = "" if step.trace_of == len(trace) else f" of {step.trace_of}"
        ohms = [ohm for _, ohm in trace]
        span = show(max(ohms) - min(ohms), "Ω", digits=2)
        when = f"{trace[0][0]:.1f} s to {trace[-1][0]:.1f} s after contact"
        caption = f"{len(trace)}{of} readings, {when}, spread {span}"
        drawn.append(doc.Plot(f"{v.step} ({v.pin_a}–{v.pin_b})", caption, trace, v.raw_ohm))
    if drawn:
        yield doc.Heading("Evidence: readings from contact to settled value")
        yield doc.Plots(tuple(drawn))
        told = "Dots: readings as they came; dashed: the value taken as settled, leads included."
        yield doc.Text(told, Tone.SMALL)


# ---------------------------------------------------------------- instruments and the rest


def _instruments(of: Certificate, steps: Sequence[CertificateStep]) -> Iterator[doc.Block]:
    """Each meter with its accuracy file and how it was last proved, each source of temperature."""
    known = {each.meter_hash: each for each in of.given.calibrations}
    checks = {each.meter_id: each for each in of.of_kind(CheckStandard)}
    meters = {(s.verdict.meter_id, s.verdict.meter_model, s.verdict.meter_hash): s for s in reversed(steps)}
    rows: list[tuple[doc.Cell, ...]] = []
    for (meter, model, digest), step in reversed(meters.items()):
        calibration = known.get(digest)
        rows.append((
            f"{meter} ({calibration.about})" if calibration and calibration.about else meter,
            f"meter file {model}, SHA-256 {digest[:16]}…",
            _calibration(calibration, step.verdict.utc_s),
            _check(checks.get(meter)),
        ))  # fmt: skip
    sources = dict.fromkeys(step.evidence.temperature_source for step in steps)
    about = ("limits of error in the bench file", "not on record", "–")
    rows += [(f"temperature: {source}", *about) for source in sources if source]
    yield doc.Heading("Instruments")
    yield doc.table("Instrument 46 | Accuracy by 40 | Calibration 48 | Check 48", rows)


def _calibration(calibration: MeterCalibration | None, used_utc_s: float) -> str:
    if calibration is None:
        return "not known: the meter file that was used was not at hand when this was issued"
    if not calibration.due:
        return "none stated in the meter file"
    number = f", certificate {calibration.certificate}" if calibration.certificate else ""
    try:
        overdue = date.fromisoformat(moment(used_utc_s, "%Y-%m-%d")) >= date.fromisoformat(calibration.due)
    except ValueError:
        return f"due {calibration.due}{number}"
    return f"due {calibration.due}{number}: {'OVERDUE' if overdue else 'valid'} when used"


def _check(check: CheckStandard | None) -> str:
    if check is None:
        return "no check standard on record"
    seen = firm(with_uncertainty(check.reading_ohm, check.expanded_ohm))
    known = show(check.certificate_ohm, "Ω", check.certificate_expanded_ohm)
    state = "in control" if check.in_control else f"OUT OF CONTROL: {check_text(check)}"
    return f"{check.resistor} ({known}) read {seen} on {moment(check.utc_s)[:16]}: {state}"


def _deviations(of: Certificate, visit: Visit, repeated: Sequence[CertificateStep]) -> Iterator[doc.Block]:
    told = [f"{moment(notice.utc_s, SECONDS)}: {said(notice)}" for notice in of.deviations(visit)]
    for step in repeated:
        v = step.verdict
        value = f"{_ohm(v.reference_ohm, v.expanded_ohm)}, {verdict_word(v)}"
        told.append(f"{moment(v.utc_s, SECONDS)}: {v.step} ({v.pin_a}–{v.pin_b}) {value}: measured again.")
    yield doc.Heading("Deviations and remarks")
    yield doc.Bullets(tuple(told) or ("None on record.",))
    others, later = [], False
    for other in of.visits:
        if other.id == visit.id:
            later = True
            continue
        begun = f"{moment(other.started.utc_s)}, {other.purpose} ({'later' if later else 'earlier'})"
        others.append(f"{begun}: {other.ended}; entry {other.result_id}")
    if others:
        yield doc.Heading("Other tests of this unit on the same record")
        yield doc.Bullets(tuple(others))


def _statements(of: Certificate, steps: Sequence[CertificateStep]) -> Iterator[doc.Block]:
    given = of.given
    software = ", ".join(dict.fromkeys(step.verdict.software for step in steps)) or "no software on record"
    yield doc.Heading("Statements and cautions")
    yield doc.Text(words.NOT_ACCREDITED, Tone.STRONG)
    yield doc.Text(words.STATEMENTS)
    yield doc.Text(words.CAUTIONS, Tone.SMALL)
    name = given.heading.authorised or "(name)"
    yield doc.Signing("Authorised by", name, f"Issued {moment(given.issued_utc_s)}")
    lines = (
        f"Certificate {of.number}, entry {of.result_id} of the journal",
        f"SHA-256 of its facts: {of.digest}",
        f"Measured with {software}; drawn with {given.software}.",
        words.HOW_TO_CHECK,
    )
    yield doc.Code(f"steadyohm certificate {of.number} sha256 {of.digest}", lines)
    yield doc.End(f"END OF CERTIFICATE {of.number}")
