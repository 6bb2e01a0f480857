"""Which windings a spool is for, and whether its card fits them. Not for measuring one (physics/wire)."""

from __future__ import annotations

from collections.abc import Mapping

from acquire.errors import InputImpossible
from acquire.physics.wire import SpoolCard
from acquire.records import Branch, BranchKind, ChangeSpool, Sheet, WoundFrom

FITS = 0.11
"""A spool fits a winding whose wire on the sheet has as many ohms per metre within this fraction: half an
American gauge is 12 %, and spools of one gauge lie up to 9 % off the table."""


def wound_from(winding: str, spool: str, cards: Mapping[str, SpoolCard]) -> WoundFrom:
    """A winding with its spool, and what the card says where there is one."""
    card = cards.get(spool)
    if card is None:
        return WoundFrom(winding, spool)
    return WoundFrom(winding, spool, card.ohms_per_metre, card.relative_u)


def fitting(command: ChangeSpool, sheet: Sheet, cards: Mapping[str, SpoolCard]) -> list[str]:
    """Names of the windings that a spool is for: those that were said, else all whose wire is like its own.

    Raises:
        InputImpossible: no such winding, or none was said and the card fits none.
    """
    windings = {b.name: b for b in sheet.branches if b.kind is BranchKind.WINDING}
    if not command.spool.strip():
        raise InputImpossible("Which spool?", "Type what is written on it, such as .spool 36-A for P1, P2.")
    said = [name.strip() for name in command.windings.split(",") if name.strip()]
    for name in said:
        if name not in windings:
            raise InputImpossible(f"{sheet.name} has no winding {name}.", f"It has {', '.join(windings)}.")
    if said:
        return list(dict.fromkeys(said))
    card = cards.get(command.spool)
    names = [name for name, branch in windings.items() if card is not None and _off(branch, card) < FITS]
    if not names:
        why = "has no card" if card is None else f"is like no wire of {sheet.name}"
        raise InputImpossible(
            f"The spool {command.spool} {why}.",
            f"Say what is wound from it, such as .spool {command.spool} for {next(iter(windings))}.",
        )
    return names


def mismatch(spool: str, names: list[str], sheet: Sheet, cards: Mapping[str, SpoolCard]) -> str:
    """One sentence where a spool's card is another gauge than the sheet wants; else empty."""
    card = cards.get(spool)
    windings = {branch.name: branch for branch in sheet.branches}
    wrong = [name for name in names if card is not None and not _off(windings[name], card) < FITS]
    if card is None or not wrong:
        return ""
    wanted = windings[wrong[0]].ohm_per_m
    if wanted is None:
        return ""
    per_cent = 100.0 * (card.ohms_per_metre / wanted - 1.0)
    return (
        f"The card of spool {spool} has {per_cent:+.0f} % ohms per metre of what the sheet wants for "
        f"{', '.join(wrong)}: is it the right gauge?"
    )


def _off(branch: Branch, card: SpoolCard) -> float:
    """How far a card lies off the wire that the sheet names, as a fraction; 0 where it names none."""
    if branch.ohm_per_m is None:
        return 0.0
    return abs(card.ohms_per_metre / branch.ohm_per_m - 1.0)
