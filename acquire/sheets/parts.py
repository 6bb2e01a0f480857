"""The tables of a sheet file, checked one by one. Not for how they hang together."""

from __future__ import annotations

from collections.abc import Iterator

from acquire.files.toml_file import Faults, Model
from acquire.sheets.language import (
    TABLES,
    BalanceTable,
    ConnectorTable,
    CorrectionTable,
    DiodeTable,
    IsolationTable,
    MatchingTable,
    PinTable,
    SheetTable,
    StepTable,
    StrapTable,
    WindingTable,
)
from drivers.toml_lines import Path as KeyPath

CIRCUIT = ("connector", "pin", "winding", "strap", "diode")
"""The sorts of tables that the circuit is built of."""

BranchTable = WindingTable | StrapTable | DiodeTable


class Parts:
    """What a sheet file holds. Tables with faults are noted and left out.

    Attributes:
        sheet: defaults stand in for a faulty or missing table.
        connector: likewise.
        pins, windings, straps, diodes, balances, matchings, isolations, corrections, steps: (where it stands,
            table), in the order of the file.
        faulty: sorts of tables of which at least one has faults.
    """

    def __init__(self, faults: Faults) -> None:
        """Read everything from the file that `faults` belongs to."""
        self.faulty: set[str] = set()
        self._faults = faults
        self._tree = faults.file.tree
        faults.unknown_tables(TABLES, "sheet")
        if "sheet" not in self._tree:
            faults.add((), "there is no [sheet] table.", 'Add one with name = "…".')
        self.sheet = self._one(SheetTable, "sheet") or SheetTable(name="?")
        self.connector = self._one(ConnectorTable, "connector") or ConnectorTable()
        self.pins = self._many(PinTable, "pin")
        self.windings = self._many(WindingTable, "winding")
        self.straps = self._many(StrapTable, "strap")
        self.diodes = self._many(DiodeTable, "diode")
        self.balances = self._many(BalanceTable, "balance")
        self.matchings = self._many(MatchingTable, "matching")
        self.isolations = self._many(IsolationTable, "isolation")
        self.corrections = self._many(CorrectionTable, "correction")
        self.steps = self._many(StepTable, "step")

    @property
    def circuit_is_whole(self) -> bool:
        """Whether every table that the circuit is built of is in order."""
        return self.faulty.isdisjoint(CIRCUIT)

    def branches(self) -> Iterator[tuple[KeyPath, BranchTable]]:
        """Windings, straps and diodes, each with its place."""
        yield from self.windings
        yield from self.straps
        yield from self.diodes

    def raw(self, *sorts: str) -> Iterator[object]:
        """Tables as they stand in the file, and whatever else stands in their place."""
        for sort in sorts:
            given = self._tree.get(sort, [])
            yield from given if isinstance(given, list) else [given]

    def _one(self, model: type[Model], sort: str) -> Model | None:
        """A table that stands once; None where it is missing or faulty."""
        if sort not in self._tree:
            return None
        if isinstance(self._tree[sort], list):
            self._refuse(sort, "this table may stand once only.", f"Write [{sort}], not [[{sort}]].")
            return None
        table = self._faults.check(model, self._tree[sort], (sort,))
        if table is None:
            self.faulty.add(sort)
        return table

    def _many(self, model: type[Model], sort: str) -> list[tuple[KeyPath, Model]]:
        """Tables that stand as often as needed, those without faults."""
        found = self._faults.several(model, sort)
        if any(table is None for _, table in found):
            self.faulty.add(sort)
        return [(at, table) for at, table in found if table is not None]

    def _refuse(self, sort: str, what: str, remedy: str) -> None:
        self._faults.add((sort,), what, remedy)
        self.faulty.add(sort)
