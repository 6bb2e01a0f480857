"""From a sheet file to one compiled `Sheet`: tables one by one, then how they hang together.

All faults of a file are reported at once. A table with faults takes no part in the checks of the whole, and
a check that it would mislead is left out. Not for expected values: those follow from the circuit.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

from acquire.files.toml_file import Faults, TomlFile, read_toml
from acquire.physics.insulation import RULES
from acquire.physics.network import connected
from acquire.records import Balance, BalanceKind, Isolation, Sheet
from acquire.sheets.circuit import Circuit, meant
from acquire.sheets.language import NONE, IsolationTable
from acquire.sheets.parts import Parts
from acquire.sheets.steps import build_steps
from drivers.toml_lines import Path as KeyPath


def load_sheet(path: Path) -> Sheet:
    """Read and check one sheet file.

    Args:
        path: a TOML file as configs/README.md describes it.

    Raises:
        FileInvalid: with every fault found, each with its line.
    """
    return sheet_of(read_toml(path, "sheet"))


def sheet_of(file: TomlFile) -> Sheet:
    """Compile a sheet that has been read.

    Raises:
        FileInvalid: with every fault found, each with its line.
    """
    faults = Faults(file)
    parts = Parts(faults)
    circuit = Circuit(parts, faults)
    steps = build_steps(parts, circuit, faults)
    _check_alike(parts, faults)
    _check_isolations(parts, circuit, faults)
    faults.stop_here()
    about, face = parts.sheet, parts.connector
    return Sheet(
        name=about.name,
        about=about.about,
        content_hash=file.content_hash,
        reference_celsius=about.reference_temperature,
        pins=circuit.pins,
        core=circuit.core,
        branches=circuit.branches,
        steps=steps,
        rule=about.rule,
        maximum_risk=about.maximum_risk,
        warm_limit=about.warm_limit,
        balances=_balances(parts),
        isolations=_isolations(parts),
        bifilar=about.bifilar,
        view=face.view.value,
        latch=face.latch.value,
        rows=face.rows,
        joint_limit_ohm=about.joint_limit,
        mass_kg=about.mass,
        keep_order=about.keep_order,
    )


def _balances(parts: Parts) -> tuple[Balance, ...]:
    """Balances, and matchings, which limit how far two windings lie apart."""
    balances = [Balance(t.name, t.windings, t.limit) for _, t in parts.balances]
    matchings = [Balance(t.name, t.windings, t.limit, BalanceKind.APART) for _, t in parts.matchings]
    return (*balances, *matchings)


def _isolations(parts: Parts) -> tuple[Isolation, ...]:
    """Isolation rules, each with the table of its temperature correction."""
    tables = {table.name: table for _, table in parts.corrections}
    rules = []
    for _, t in parts.isolations:
        rule = Isolation(t.groups, t.at, t.at_least, t.reject_below, t.correction)
        if t.correction in tables:
            table = tables[t.correction]
            rule = replace(rule, factors=table.factors, factors_source=table.source)
        rules.append(rule)
    return tuple(rules)


def _check_alike(parts: Parts, faults: Faults) -> None:
    """Balances, matchings and bifilar pairs must name windings that exist, each once."""
    named: list[tuple[KeyPath, str, tuple[str, ...]]] = []
    named += [(at, table.name, table.windings) for at, table in parts.balances]
    named += [(at, table.name, table.windings) for at, table in parts.matchings]
    lists: list[tuple[KeyPath, tuple[str, ...]]] = [((*at, "windings"), names) for at, _, names in named]
    lists += [(("sheet", "bifilar", place), pair) for place, pair in enumerate(parts.sheet.bifilar)]
    windings = [table.name for _, table in parts.windings]
    for at, names in lists:
        for place, name in enumerate(names):
            if name not in windings and "winding" not in parts.faulty:
                faults.add((*at, place), f'"{name}" is no winding of this sheet.', meant(name, windings))
            if name in names[:place]:
                faults.add((*at, place), f'"{name}" is there twice.', "Name each winding once.")
    seen: set[str] = set()
    for at, name, _ in named:
        if name in seen:
            faults.add((*at, "name"), f'"{name}" is there twice.', "Name each once.")
        seen.add(name)


def _check_isolations(parts: Parts, circuit: Circuit, faults: Faults) -> None:
    known = (NONE, *RULES, *(table.name for _, table in parts.corrections))
    for at, table in parts.isolations:
        _check_groups((*at, "groups"), table, circuit, faults)
        if table.correction not in known and "correction" not in parts.faulty:
            what = f'there is no temperature rule "{table.correction}".'
            faults.add((*at, "correction"), what, meant(table.correction, known))
    names = Counter(table.name for _, table in parts.corrections)
    for at, correction in parts.corrections:
        if names[correction.name] > 1:
            faults.add((*at, "name"), f'"{correction.name}" is there twice.', "Name each once.")


def _check_groups(at: KeyPath, table: IsolationTable, circuit: Circuit, faults: Faults) -> None:
    """Groups must consist of known pins, and nothing may join one group to another."""
    count = Counter(name for group in table.groups for name in group)
    for i, group in enumerate(table.groups):
        for j, name in enumerate(group):
            circuit.place_known(name, (*at, i, j))
            if count[name] > 1:
                faults.add((*at, i, j), f'"{name}" is there twice.', "Name each pin once.")
    if not circuit.whole or any(name not in circuit.places for name in count):
        return
    for i, group in enumerate(table.groups):
        reached = frozenset().union(*(connected(circuit.conducting, name) for name in group))
        others = [name for other in table.groups[i + 1 :] for name in other if name in reached]
        if others:
            faults.add((*at, i), f'the circuit joins "{others[0]}" to this group.', "Correct the groups.")
