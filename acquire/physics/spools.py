"""Spool cards from a file of the shop's own: which wire was measured, and what a metre of it has.

Takes the file's text and says all its faults at once, each with its line; whoever calls reads the file. Not
for nominal wire: that needs no file (`wire`).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from acquire.errors import Fault, FileInvalid, InputImpossible
from acquire.physics.wire import METALS, Metal, SpoolCard, measure_spool

_NEEDED = ("name", "sample_m", "sample_ohm", "celsius", "u_ohm")
_ALLOWED = (*_NEEDED, "u_m", "u_kelvin", "metal", "remark")


@dataclass(frozen=True, slots=True)
class Spool:
    """One spool of the file.

    Attributes:
        card: measured ohms per metre with their uncertainty.
        metal: what the wire is drawn from.
        remark: as written.
    """

    card: SpoolCard
    metal: Metal
    remark: str = ""


def read_spools(text: str, file: Path) -> dict[str, Spool]:
    """All spools of a file, by name.

    Args:
        text: contents of a TOML file as configs/wire/README.md describes it.
        file: its path, for the messages only; nothing is opened.

    Raises:
        FileInvalid: no TOML, or any fault in any spool; holds them all.
    """
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileInvalid([Fault(file, 0, "", f"is no valid TOML: {error}.", "Correct it.")]) from error
    lines = [n for n, line in enumerate(text.splitlines(), 1) if re.match(r"\s*\[\[\s*spool\s*\]\]", line)]
    faults = [
        Fault(file, 0, key, "is not known here.", "Only [[spool]] tables belong in this file.")
        for key in tree
        if key != "spool"
    ]
    spools: dict[str, Spool] = {}
    for index, table in enumerate(_tables(tree)):
        line = lines[index] if index < len(lines) else 0
        found = _spool(table, file, line)
        if isinstance(found, Fault):
            faults.append(found)
        elif found.card.spool in spools:
            faults.append(Fault(file, line, "name", f"{found.card.spool} is there twice.", "Rename one."))
        else:
            spools[found.card.spool] = found
    if faults:
        raise FileInvalid(faults)
    return spools


def _tables(tree: Mapping[str, object]) -> list[Mapping[str, object]]:
    tables = tree.get("spool", [])
    return [table for table in tables if isinstance(table, Mapping)] if isinstance(tables, list) else []


def _spool(table: Mapping[str, object], file: Path, line: int) -> Spool | Fault:
    for key in _NEEDED:
        if key not in table:
            return Fault(file, line, key, "is missing.", "Every spool needs it.")
    for key, value in table.items():
        if key not in _ALLOWED:
            return Fault(file, line, key, "is no key of a spool.", f"Known are {', '.join(_ALLOWED)}.")
        text_wanted = key in ("name", "metal", "remark")
        if text_wanted != isinstance(value, str) or isinstance(value, bool):
            kind = "a text in quotation marks" if text_wanted else "a number"
            return Fault(file, line, key, f"must be {kind}, not {value!r}.", "Correct it.")
    metal = METALS.get(str(table.get("metal", "copper")))
    if metal is None:
        return Fault(file, line, "metal", "is not known.", f"Known are {', '.join(METALS)}.")
    numbers = {key: float(str(value)) for key, value in table.items() if not isinstance(value, str)}
    try:
        card = measure_spool(str(table["name"]), **numbers, metal=metal)
    except InputImpossible as error:
        return Fault(file, line, "", error.what, error.hint)
    return Spool(card, metal, str(table.get("remark", "")))
