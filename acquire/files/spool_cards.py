"""Spool cards from a file of the shop's own: which wire was measured, and what a metre of it has.

Not for nominal wire: that needs no file (`physics/wire`).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field

from acquire.errors import InputImpossible
from acquire.files.toml_file import Faults, Name, Text, TomlTable, read_toml
from acquire.physics.wire import METALS, Metal, SpoolCard, measure_spool


class SpoolTable(TomlTable):
    """`[[spool]]`, as configs/wire/README.md describes it."""

    name: Name
    sample_m: Annotated[float, Field(strict=True, examples=["10.0"])]
    sample_ohm: Annotated[float, Field(strict=True, examples=["13.61"])]
    celsius: Annotated[float, Field(strict=True, examples=["21.5"])]
    u_ohm: Annotated[float, Field(strict=True, examples=["0.005"])]
    u_m: Annotated[float, Field(strict=True)] = 0.002
    u_kelvin: Annotated[float, Field(strict=True)] = 0.5
    metal: str = "copper"
    remark: Text = ""


@dataclass(frozen=True, slots=True)
class Spool:
    """One spool of the file.

    Attributes:
        card: measured ohms per metre with their uncertainty.
        metal: what the wire is drawn from.
    """

    card: SpoolCard
    metal: Metal


def read_spools(file: Path) -> dict[str, Spool]:
    """All spools of a file, by name.

    Raises:
        FileInvalid: it cannot be read, is no TOML, or has a fault in any spool; holds them all.
    """
    faults = Faults(read_toml(file, "file of spool cards"))
    faults.unknown_tables(("spool",), "file of spool cards")
    spools: dict[str, Spool] = {}
    for at, table in faults.several(SpoolTable, "spool"):
        if table is None:
            continue
        metal = METALS.get(table.metal)
        if metal is None:
            faults.add((*at, "metal"), "this metal is not known.", f"Known are {', '.join(METALS)}.")
        elif table.name in spools:
            faults.add((*at, "name"), f"{table.name} appears twice.", "Rename one.")
        else:
            known = table.model_dump(exclude={"name", "metal", "remark"})
            try:
                spools[table.name] = Spool(measure_spool(table.name, **known, metal=metal), metal)
            except InputImpossible as error:
                faults.add(at, error.what, error.hint)
    faults.stop_here()
    return spools
