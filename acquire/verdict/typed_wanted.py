"""What a sheet asks for besides ohms: its names, its limits, and what to mind.

Not for reading or judging what is typed (typed_line, typed).
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.errors import InputImpossible
from acquire.physics.insulation import CAUTIONS, REFERENCE_CELSIUS
from acquire.quantity import show
from acquire.records import (
    BranchKind,
    Isolation,
    Limits,
    Purpose,
    Sheet,
    Step,
    StepKind,
)
from acquire.steps.pairs import PairTable, branch_limits
from acquire.verdict.typed_line import HOW

NONE = "none"
"""Name of the temperature rule that corrects nothing."""

WIDE = frozenset({Purpose.INCOMING, Purpose.RETURNED})
"""Purposes whose units are held against the lower of two limits."""


def isolation_named(sheet: Sheet, name: str) -> Isolation | None:
    """The isolation rule that a name means: in full, or "insulation" alone where there is one, or numbered.

    Raises:
        InputImpossible: "insulation" could mean several; lists them.
    """
    word, _, number = name.partition(" ")
    rules = sheet.isolations
    for rule in rules:
        if name.replace(" ", "").lower() == rule.name.replace(" ", "").lower():
            return rule
    if word.lower() != "insulation" or not rules:
        return None
    if not number and len(rules) == 1:
        return rules[0]
    if number.isdigit() and 1 <= int(number) <= len(rules):
        return rules[int(number) - 1]
    listed = "; ".join(f"insulation {place}: {rule.name}" for place, rule in enumerate(rules, start=1))
    raise InputImpossible(f'"{name}" is no insulation of this sheet.', f"It has {listed}.")


def step_named(sheet: Sheet, name: str) -> Step | None:
    """The typed step of this name."""
    return next((s for s in sheet.steps if s.kind is StepKind.TYPED and s.name.lower() == name.lower()), None)


@dataclass(frozen=True, slots=True)
class AskedOhms:
    """What the sheet says of a winding or step whose ohms somebody types.

    Attributes:
        id: of `Untested`, where no step measures it.
        limits: at the reference temperature.
        material: of most of its ohms.
    """

    name: str
    id: str
    limits: Limits
    material: str


def ohms_named(sheet: Sheet, name: str, purpose: Purpose) -> AskedOhms | None:
    """The step that reads a resistance, or else the winding or strap, of this name; None: there is none."""
    table, wanted = PairTable(sheet), name.lower()
    for step in sheet.steps:
        if step.conducts and step.name.lower() == wanted:
            limits, material = table.limits_for(step, purpose), table.material(step.pair)
            return AskedOhms(step.name, step.id, limits, material)
    for branch in sheet.branches:
        if branch.kind in (BranchKind.WINDING, BranchKind.STRAP) and branch.name.lower() == wanted:
            limits = branch_limits(branch, purpose)
            return AskedOhms(branch.name, f"branch:{branch.name}", limits, branch.material)
    return None


def guidance(sheet: Sheet, purpose: Purpose) -> tuple[str, ...]:
    """What can be typed for this sheet, how, and what to mind while measuring it."""
    lines = []
    for place, rule in enumerate(sheet.isolations, start=1):
        name = "insulation" if len(sheet.isolations) == 1 else f"insulation {place}"
        volts = "" if rule.volts is None else f" at {rule.volts:g} V"
        limit = show(least_ohm(rule, purpose), "Ω", digits=3)
        at = f" at {REFERENCE_CELSIUS:g} °C by rule {rule.correction}" if rule.correction != NONE else ""
        lines.append(f"{name} ({rule.name}){volts}: at least {limit}{at}.")
    lines += [f"{step.name}: typed in." for step in sheet.steps if step.kind is StepKind.TYPED]
    if sheet.isolations:
        lines += CAUTIONS
    return (*lines, f"Write .result {HOW}")


def least_ohm(rule: Isolation, purpose: Purpose) -> float:
    """The limit that applies: the lower one for units that come in or back, where there is one."""
    if purpose in WIDE and rule.reject_below_ohm is not None:
        return rule.reject_below_ohm
    return rule.at_least_ohm
