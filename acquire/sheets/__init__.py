"""Sheets: what is known of a unit type, from a TOML file that a shop writes once per type."""

from __future__ import annotations

from acquire.sheets.load import load_sheet, sheet_of

__all__ = ["load_sheet", "sheet_of"]
