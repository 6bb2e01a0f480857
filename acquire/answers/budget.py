"""`steadyohm check --budget SHEET BENCH`: how well a bench can judge each step, before it measures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from acquire.answers.check import Report
from acquire.answers.meter_fit import MeterFit
from acquire.errors import InputImpossible
from acquire.files.settings import Bench as BenchSettings
from acquire.files.settings import load_bench
from acquire.quantity import show
from acquire.records import Sheet
from acquire.sheets import load_sheet
from acquire.verdict.fitness import Row
from drivers.models import MeterModel, load_model

GOOD_RATIO = 3.0
"""Tolerance over uncertainty from which few values fall near a limit; common practice asks for 3 to 10."""


def budget_lines(reports: Sequence[Report]) -> list[str]:
    """The table of one sheet on one bench, and the budget of every step below it.

    Args:
        reports: of the files named; one bench file among them, and at most one sheet (else the bench's own).

    Raises:
        InputImpossible: there is no bench file among them.
    """
    sheet, bench, model = _files(reports)
    rows = rows_of(sheet, bench, model)
    lines = [f"{sheet.name} on {bench.name} with {model.name}, for {bench.purpose.value} units", ""]
    lines.append(
        f"{'step':<22} {'nominal':>12} {'tolerance':>16} {'U (95 %)':>12} {'ratio':>6}  largest term"
    )
    for each in rows:
        lines += _row_lines(each)
    for each in rows:
        lines += ["", f"{each.step} ({each.offer}):", *_terms(each)]
    return lines


def budget_facts(reports: Sequence[Report]) -> dict[str, Any]:
    """The same for programs: plain JSON values, ohms.

    Raises:
        InputImpossible: there is no bench file among them.
    """
    sheet, bench, model = _files(reports)
    steps = []
    for each in rows_of(sheet, bench, model):
        plain = asdict(each)
        for term in plain["terms"]:
            dof = term["degrees_of_freedom"]
            term["degrees_of_freedom"] = dof if math.isfinite(dof) else None
        steps.append(plain)
    purpose = bench.purpose.value
    return {
        "sheet": sheet.name,
        "bench": bench.name,
        "meter": model.name,
        "purpose": purpose,
        "steps": steps,
    }


def rows_of(sheet: Sheet, bench: BenchSettings, model: MeterModel) -> list[Row]:
    """A row for every step that has a resistance to judge.

    Raises:
        InputImpossible: the meter's file has no range that holds a step's value.
    """
    fit = MeterFit(sheet, bench, model)
    return [found for step in sheet.steps if (found := fit.row(step)) is not None]


def _files(reports: Sequence[Report]) -> tuple[Sheet, BenchSettings, MeterModel]:
    bench_path = next((each.path for each in reports if each.kind == "bench"), None)
    if bench_path is None:
        raise InputImpossible("--budget needs a bench file: its meter, leads and thermometer decide.")
    bench = load_bench(bench_path)
    sheet_path = next((each.path for each in reports if each.kind == "sheet"), bench.sheet)
    return load_sheet(sheet_path), bench, load_model(Path(bench.meter.model))


def _row_lines(each: Row) -> list[str]:
    verdict = "" if each.can_judge else "   CANNOT JUDGE"
    tolerance = ("at most " if each.upper_only else "") + show(each.tolerance_ohm, "Ω", digits=3)
    ratio = f"{each.ratio:.1f}" if each.ratio >= 1.0 else f"{each.ratio:.2f}"
    line = (
        f"{each.step:<22} {show(each.nominal_ohm, 'Ω'):>12} {tolerance:>16} "
        f"{show(each.expanded_ohm, 'Ω', digits=2):>12} {ratio:>6}  {each.dominating}{verdict}"
    )
    if each.can_judge:
        return [line]
    return [line, f"    what would: {_what_would(each)}"]


def _what_would(each: Row) -> str:
    """The smallest change that helps; how good a meter would have to be, where this one cannot be helped."""
    if not each.would_help.startswith("nothing"):
        return each.would_help
    good = show(each.tolerance_ohm / GOOD_RATIO, "Ω", digits=2)
    nominal = show(each.nominal_ohm, "Ω")
    return f"no range of this meter; one that knows {nominal} to {good} or better, with four wires"


def _terms(each: Row) -> list[str]:
    return [
        f"    {term.name:<22} {show(term.standard_uncertainty_ohm, 'Ω', digits=2):>12}  {term.shape.value}"
        for term in each.terms
        if term.standard_uncertainty_ohm > 0.0
    ]
