"""`steadyohm check`: the faults of a file by line, or what it means; and how well a bench can judge.

Recognises sheets, bench files, meter files and profiles by their keys. Opens no instrument, writes nothing.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire.answers import AsJson, argument, option, say, say_json
from acquire.answers.sheet_checks import MeterFit, SheetRemark, row_lines, sheet_remarks, term_lines
from acquire.bench.assembly import as_asked_for
from acquire.bench.duty_setup import spool_cards
from acquire.bench.fixture_setup import FixtureUnfit, fixture_lines, sheet_for, with_low_ohms
from acquire.errors import Fault, FileInvalid, InputImpossible, JournalUnusable
from acquire.files.network_tables import credentials
from acquire.files.settings import TABLES as BENCH_TABLES
from acquire.files.settings import Bench, bench_of, load_bench
from acquire.files.toml_file import TomlFile, read_toml
from acquire.heart.batch_book import fitting
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.physics.wire import SpoolCard
from acquire.quantity import counted, show
from acquire.records import BranchKind, ChangeSpool, Limits, Notice, Purpose, Sheet, Step, StepKind
from acquire.records.codes import Code
from acquire.settle import SettleSettings
from acquire.sheets import load_sheet, sheet_of
from acquire.sheets.language import TABLES as SHEET_TABLES
from acquire.steps.pairs import PairTable
from acquire.words.notices import said
from drivers.errors import GivenInvalid, ModelInvalid
from drivers.meter import Setup
from drivers.models import MeterModel, load_model
from drivers.profiles import load_profile
from drivers.reading import Quantity
from drivers.registry import check_options, driver_class, options_with_profile

NOTICES_READ = 500
"""Latest notices of a journal among which the one on its contacts is looked for."""
_CLASS_B_KELVIN = 0.30 + 0.005 * 20.0
"""Most that a platinum sensor of class B may be off at 20 °C (IEC 60751)."""

METER_KEYS = ("range", "window_celsius", "warm_up_minutes", "calibration", "source")
SLOW_S = 1.0
"""From this time for a reading on a bench is told what it waits for; workshop choice."""

PROFILE_KEYS = ("driver", "verified", "options")


@dataclass(frozen=True, slots=True)
class Report:
    """What was found in one file.

    Attributes:
        path: the file, as it was named.
        kind: "sheet", "bench", "meter", "profile", or "" where it cannot be told.
        faults: why it cannot be used; empty where it can.
        summary: lines for people: what it means, and what to think about.
        facts: the same for programs; plain JSON values.
    """

    path: Path
    kind: str
    faults: tuple[Fault, ...] = ()
    summary: tuple[str, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """All of it as plain JSON values."""
        faults = [{**asdict(fault), "file": str(fault.file)} for fault in self.faults]
        return {
            "path": str(self.path),
            "kind": self.kind,
            "valid": not faults,
            "faults": faults,
            **self.facts,
        }


def check_file(path: Path) -> Report:
    """Look at one file."""
    kind = ""
    try:
        file = read_toml(path, "file")
        kind = kind_of(file)
        if kind:
            return REPORTS[kind](file)
    except FileInvalid as error:
        return Report(path, kind, tuple(error.faults))
    except ModelInvalid as error:
        return Report(path, kind, tuple(_as_faults(path, error)))
    except GivenInvalid as error:
        return Report(path, kind, (Fault(path, 0, "", error.what, error.hint),))
    what = "this is neither a sheet nor a bench file, a meter file or a profile."
    remedy = (
        "They begin with [sheet], [bench], hold [[range]] tables or name a driver; see configs/README.md."
    )
    return Report(path, "", (Fault(path, 0, "", what, remedy),))


def kind_of(file: TomlFile) -> str:
    """Which kind of file this is, by the keys at its top; "" where none is known."""
    known = {"sheet": SHEET_TABLES, "bench": BENCH_TABLES, "meter": METER_KEYS, "profile": PROFILE_KEYS}
    counts = {kind: sum(key in file.tree for key in keys) for kind, keys in known.items()}
    best = max(counts, key=lambda kind: counts[kind])
    return best if counts[best] else ""


# ---------------------------------------------------------------------- sheets


def _sheet_report(file: TomlFile) -> Report:
    sheet = sheet_of(file)
    remarks = _remarks(file, sheet, Purpose.FINAL, None)
    windings = sum(branch.kind is BranchKind.WINDING for branch in sheet.branches)
    core = f" and the core {sheet.core}" if sheet.core else ""
    what = f"{counted(len(sheet.pins), 'pin')}{core}, {counted(windings, 'winding')}"
    head = f'{file.path}: sheet "{sheet.name}": {what}; limits of {Purpose.FINAL.value} units.'
    summary = [head, *_step_lines(sheet, Purpose.FINAL, None), *_notes(remarks)]
    return Report(file.path, "sheet", (), tuple(summary), _sheet_facts(sheet, Purpose.FINAL, remarks))


def _sheet_facts(sheet: Sheet, purpose: Purpose, remarks: list[Fault]) -> dict[str, Any]:
    table = PairTable(sheet)
    return {
        "sheet": sheet.name,
        "purpose": purpose.value,
        "content_hash": sheet.content_hash,
        "pins": [pin.name for pin in sheet.pins],
        "core": sheet.core or None,
        "steps": [_step_facts(table, step, purpose) for step in sheet.steps],
        "remarks": [{"line": each.line, "key": each.key, "what": each.what} for each in remarks],
    }


def _step_facts(table: PairTable, step: Step, purpose: Purpose) -> dict[str, Any]:
    nominal_ohm = table.nominal_ohm(step.pair)
    limits = table.limits_for(step, purpose)
    return {
        "name": step.name,
        "pair": list(step.pair),
        "kind": step.kind.value,
        "nominal_ohm": nominal_ohm if math.isfinite(nominal_ohm) else None,
        "lower_ohm": limits.lower_ohm,
        "upper_ohm": limits.upper_ohm,
    }


def _step_lines(sheet: Sheet, purpose: Purpose, fit: MeterFit | None) -> Iterator[str]:
    """One line a step: what it should read, its limits and how well the meter knows it."""
    table = PairTable(sheet)
    wide = max((len(step.name) for step in sheet.steps), default=0)
    wide_pair = max((len(str(step.pair)) for step in sheet.steps), default=0)
    for step in sheet.steps:
        known = "" if fit is None else _known_to(fit, step)
        limits = _limits_text(table.limits_for(step, purpose), table.nominal_ohm(step.pair), step.kind)
        yield f"  {step.name:{wide}}  {step.pair!s:{wide_pair}}  {limits}{known}"


def _known_to(fit: MeterFit, step: Step) -> str:
    nominal_ohm = fit.table.nominal_ohm(step.pair)
    if not step.conducts or math.isinf(nominal_ohm):
        return ""
    expanded_ohm = fit.expanded_ohm(step, nominal_ohm)
    if expanded_ohm is None:
        return "  (no accuracy is stated there)"
    return f"  (U = {show(expanded_ohm, 'Ω', digits=2)})"


def _limits_text(limits: Limits, nominal_ohm: float, kind: StepKind) -> str:
    lower, upper = (None if end is None else show(end, "Ω") for end in (limits.lower_ohm, limits.upper_ohm))
    if kind is StepKind.OPEN:
        return f"open, above {lower}" if lower else "open"
    if kind is StepKind.TYPED:
        return "typed in"
    if kind is StepKind.CONTINUITY:
        return f"continuous, at most {upper}"
    if lower and upper:
        return f"{show(nominal_ohm, 'Ω')}, from {lower} to {upper}"
    return f"{show(nominal_ohm, 'Ω')}, up to {upper}" if upper else f"at least {lower}"


def _remarks(file: TomlFile, sheet: Sheet, purpose: Purpose, fit: MeterFit | None) -> list[Fault]:
    """What the sheet cannot do, each with its line."""
    found = sheet_remarks(sheet, purpose, None if fit is None else fit.expanded_ohm)
    return [_with_line(file, each) for each in found]


def _notes(remarks: list[Fault]) -> list[str]:
    return [f"  note: {remark}" for remark in remarks]


def _with_line(file: TomlFile, remark: SheetRemark) -> Fault:
    sort, _, place = remark.key.rstrip("]").partition("[")
    sorts = ("step", "winding", "strap", "diode") if sort == "step" else ("winding", "strap", "diode")
    for each in sorts:
        tables = file.tree.get(each, [])
        for index, table in enumerate(tables):
            if table.get("name") == remark.name or (each == sort and index == int(place)):
                key = f"{each}[{index + 1}]"
                return Fault(file.path, file.lines.of((each, index)), key, remark.what, remark.remedy)
    at = file.lines.of((remark.name,))
    return Fault(file.path, at, remark.name, remark.what, remark.remedy)


# ---------------------------------------------------------------------- bench files


def _bench_report(file: TomlFile) -> Report:
    """A bench is in order only if its sheet and its meter file are."""
    bench = bench_of(file)
    faults: list[Fault] = []
    sheet_file, sheet, model = None, None, None
    try:
        sheet_file = read_toml(bench.sheet, "sheet")
        sheet = sheet_of(sheet_file)
    except FileInvalid as error:
        faults += error.faults
    try:
        model = load_model(bench.meter.model)
    except ModelInvalid as error:
        faults += _as_faults(bench.meter.model, error)
    try:
        cards = spool_cards(bench)
    except FileInvalid as error:
        faults += error.faults
    if sheet_file is None or sheet is None or model is None or faults:
        return Report(file.path, "bench", tuple(faults))
    try:
        measured = as_asked_for(bench, sheet_for(bench, sheet), model)
    except FixtureUnfit as error:
        at = file.lines.of(("fixture", "high"))
        return Report(file.path, "bench", (Fault(file.path, at, "[fixture] high", error.what, error.hint),))
    sheet = with_low_ohms(bench, sheet)
    fit = MeterFit(sheet, bench, model)
    remarks = [*_remarks(sheet_file, sheet, bench.purpose, fit), *_missing_secrets(file, bench)]
    lines = [
        *_bench_lines(file, bench, sheet, model),
        *_spool_lines(cards, sheet),
        *fixture_lines(bench, sheet),
        *_step_lines(measured, bench.purpose, fit),
    ]
    facts = {
        "bench": bench.model_dump(mode="json"),
        "meter": model.name,
        **_sheet_facts(sheet, bench.purpose, remarks),
    }
    return Report(file.path, "bench", (), (*lines, *_notes(remarks)), facts)


def _bench_lines(file: TomlFile, bench: Bench, sheet: Sheet, model: MeterModel) -> Iterator[str]:
    yield f'{file.path}: bench "{bench.name}": {bench.purpose.value} units of "{sheet.name}".'
    low = bench.meter.four_wire_below
    wires = f", four wires below {show(low, 'Ω')}" if low else ""
    yield f"  meter: {model.name} ({bench.meter.driver}) at {bench.meter.link}{wires}"
    yield from _unused(bench.meter.model, model)
    air = bench.temperature
    where = f"{air.driver} at {air.link}" if air.link else f"typed, {show(air.value or 0.0, '°C', digits=3)}"
    yield f"  temperature: {where}, ±{show(air.uncertainty, 'K', digits=2)}"
    if air.driver == "platinum" and air.uncertainty < _CLASS_B_KELVIN:
        yield (
            f"  note: a platinum sensor of class B alone may be off by {_CLASS_B_KELVIN:.2f} K at 20 °C "
            "(IEC 60751), its meter and leads come on top: is the uncertainty stated for a better one?"
        )
    yield from _pace_lines(bench)
    leads = "stated" if bench.leads.value is not None else bench.leads.zero.value
    yield f"  leads: {leads}"
    yield f"  journal: {bench.journal.folder}"
    yield from _learnt_lines(bench, model)
    yield f"  CSV: {bench.csv.folder}, one a {bench.csv.per}" if bench.csv else "  CSV: off"
    yield from _network_lines(bench)


def _pace_lines(bench: Bench) -> Iterator[str]:
    """What the settings make of the meter's pace, and which of them it cannot be told."""
    named, kind = bench.meter, driver_class(bench.meter.driver)
    options = options_with_profile(named.driver, named.options)
    for setting, text in (("integration_plc", "integration"), ("offset_compensation", "compensation")):
        deaf = (
            not kind.capabilities.settable or not options.get(text, True) or not hasattr(kind, "conversion_s")
        )
        if getattr(named, setting) and deaf:
            yield f"  note: [meter] {setting} is not used: this meter cannot be told over its link."
            return
    settle, conversion_s = SettleSettings(), 0.0
    if named.integration_plc is not None:
        setup = Setup(Quantity.RESISTANCE, integration_plc=named.integration_plc)
        conversion_s = kind.conversion_s(setup, compensated=named.offset_compensation)
    least_s = max(settle.final_span_s, settle.min_conversions * conversion_s)
    ages = {"[leads] max_age": bench.leads.max_age, "[temperature] max_age": bench.temperature.max_age_s}
    ages |= {f"every of {known.resistor}": known.every for known in (bench.check, *bench.references) if known}
    for name, age_s in ages.items():
        if age_s < 2.0 * least_s:
            told = f"{age_s:.3g} s, over before a verdict can come ({least_s:.3g} s)"
            yield f"  note: {name} is {told}: raise it."
    if conversion_s >= SLOW_S:
        yield (
            f"  note: by integration_plc and offset_compensation a reading may take {conversion_s:.3g} s: no "
            f"verdict comes before {least_s:.3g} s."
        )


def _learnt_lines(bench: Bench, model: MeterModel) -> Iterator[str]:
    """What the bench has learnt of its contacts, if its journal is here and tells."""
    try:
        with JournalReader(Path(bench.journal.folder), with_archives=False) as journal:
            told = [entry.record for entry in journal.find(Query(kinds=("notice",), limit=NOTICES_READ))]
    except JournalUnusable:
        return
    learnt = [each for each in told if isinstance(each, Notice) and each.code is Code.BENCH_LEARNT]
    if learnt and learnt[-1].facts.get("meter") == model.content_hash:
        yield f"  contacts: {said(learnt[-1])}"


def _spool_lines(cards: Mapping[str, SpoolCard], sheet: Sheet) -> Iterator[str]:
    """Each spool card with the windings that its wire fits."""
    for name in cards:
        try:
            fits = ", ".join(fitting(ChangeSpool(name), sheet, cards))
        except InputImpossible:
            fits = "no winding of this sheet"
        yield f"  spool {name}: {cards[name].ohms_per_metre:.4g} Ω a metre at 20 °C, fits {fits}"


def _network_lines(bench: Bench) -> Iterator[str]:
    if bench.mqtt is None:
        yield "  MQTT: off"
    else:
        orders = "orders taken" if bench.mqtt.orders else "no orders taken"
        yield f"  MQTT: {bench.mqtt.host}:{bench.mqtt.port}, {orders}"
        if bench.mqtt.user_env and not bench.mqtt.encrypted:
            yield (
                "  note: [mqtt] sends user and password unencrypted: set tls = true, or keep the broker on "
                "this machine."
            )
    if bench.http is not None:
        reach = "open to other machines" if bench.http.public else "this machine only"
        yield f"  HTTP: {bench.http.host}:{bench.http.port}, {reach}"


def _missing_secrets(file: TomlFile, bench: Bench) -> Iterator[Fault]:
    if bench.mqtt is not None:
        try:
            credentials(bench.mqtt, os.environ)
        except InputImpossible as error:
            yield Fault(file.path, file.lines.of(("mqtt",)), "mqtt", error.what, error.hint)


# ---------------------------------------------------------------------- meter files


def _meter_report(file: TomlFile) -> Report:
    path = file.path
    model = load_model(path)
    lines = [f'{path}: meter "{model.name}": {len(model.ranges)} ranges; figures from {model.source}.']
    for quantity in sorted(model.quantities):
        sizes = ", ".join(f"{each.full_scale_si:g}" for each in model.ranges_of(quantity))
        lines.append(f"  {quantity.value}: {sizes}")
    lines += _unused(path, model)
    facts = {
        "meter": model.name,
        "content_hash": model.content_hash,
        "ranges": {q.value: [each.full_scale_si for each in model.ranges_of(q)] for q in model.quantities},
    }
    return Report(path, "meter", (), tuple(lines), facts)


def _unused(path: Path, model: MeterModel) -> Iterator[str]:
    """A key of earlier meter files."""
    if model.unused:
        where = ", ".join(map(str, model.unused))
        yield (
            f"  note: {path}, line {where}: offset_compensated says nothing any more and can go; thermal "
            "voltages count unless [meter] offset_compensation is on and the meter reports it."
        )


# ---------------------------------------------------------------------- profiles


def _profile_report(file: TomlFile) -> Report:
    path = file.path
    profile = load_profile(str(path.absolute()), "drivers")
    check_options(profile.driver, {"profile": str(path.absolute())})
    known = f"{profile.driver}, checked against: {profile.verified}; {profile.source}"
    stated = ", ".join(profile.options) or "none"
    lines = (f'{path}: profile "{profile.title}": {known}.', f"  options: {stated}")
    return Report(path, "profile", (), lines, {"profile": profile.title, "driver": profile.driver})


def _as_faults(path: Path, error: ModelInvalid) -> list[Fault]:
    """The faults of a meter file."""
    return [Fault(path, each.line, each.key, each.what, error.hint) for each in error.faults]


REPORTS = {"sheet": _sheet_report, "bench": _bench_report, "meter": _meter_report, "profile": _profile_report}
"""What reports on each kind of file."""


# ---------------------------------------------------------------------- how well a bench can judge


def budget_lines(reports: Sequence[Report]) -> list[str]:
    """The table of one sheet on one bench, and the budget of every step below it.

    Args:
        reports: of the files named; one bench file among them (else InputImpossible), and at most one sheet
            (else the bench's own).
    """
    fit = _of_budget(reports)
    rows = list(fit.rows())
    lines = [
        f"{fit.sheet.name} on {fit.bench.name} with {fit.model.name}, for {fit.bench.purpose.value} units",
        "",
    ]
    lines.append(
        f"{'step':<22} {'nominal':>12} {'tolerance':>16} {'U (95 %)':>12} {'ratio':>6}  largest term"
    )
    for each in rows:
        lines += row_lines(each)
    for each in rows:
        lines += ["", f"{each.step} ({each.offer}):", *term_lines(each)]
    return lines


def budget_facts(reports: Sequence[Report]) -> dict[str, Any]:
    """The same for programs: plain JSON values, ohms. Raises InputImpossible likewise."""
    fit = _of_budget(reports)
    steps = [asdict(each) for each in fit.rows()]
    for term in (term for plain in steps for term in plain["terms"]):
        dof = term["degrees_of_freedom"]
        term["degrees_of_freedom"] = dof if math.isfinite(dof) else None
    names = {"sheet": fit.sheet.name, "bench": fit.bench.name, "meter": fit.model.name}
    return {**names, "purpose": fit.bench.purpose.value, "steps": steps}


def _of_budget(reports: Sequence[Report]) -> MeterFit:
    bench_path = next((each.path for each in reports if each.kind == "bench"), None)
    if bench_path is None:
        raise InputImpossible("--budget needs a bench file: its meter, leads and thermometer decide.")
    bench = load_bench(bench_path)
    sheet_path = next((each.path for each in reports if each.kind == "sheet"), bench.sheet)
    return MeterFit(load_sheet(sheet_path), bench, load_model(Path(bench.meter.model)))


def check(
    files: Annotated[list[Path], argument("Bench, sheet and meter files (TOML).")],
    *,
    budget: Annotated[
        bool, option("How well this bench can judge each step: SHEET BENCH.", "--budget")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Check files line by line and say what they mean; exit 2 if any cannot be used."""
    reports = [check_file(file) for file in files]
    faults = [fault for report in reports for fault in report.faults]
    if as_json and not (budget and not faults):
        say_json([report.as_json() for report in reports], indent=2)
    else:
        for fault in faults:
            typer.echo(str(fault), err=True)
        say(line for report in reports for line in report.summary if not budget)
    if faults:
        raise typer.Exit(2)
    if budget:
        say_json(budget_facts(reports), indent=2) if as_json else say(budget_lines(reports))
