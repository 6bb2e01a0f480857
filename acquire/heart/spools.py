"""Which windings a spool is for, and whether its card fits them. Not for measuring one (physics/wire)."""

from __future__ import annotations

from collections.abc import Mapping

from acquire.physics.wire import SpoolCard
from acquire.records import Branch, BranchKind, ChangeSpool, Fact, Refusal, Refused, Sheet, WoundFrom

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
        Refused: no such winding, or none was said and the card fits none.
    """
    windings = {b.name: b for b in sheet.branches if b.kind is BranchKind.WINDING}
    if not command.spool.strip():
        raise Refused(Refusal.SPOOL_NAMELESS)
    said = [name.strip() for name in command.windings.split(",") if name.strip()]
    for name in said:
        if name not in windings:
            known = tuple(windings)
            raise Refused(Refusal.WINDING_UNKNOWN, sheet=sheet.name, winding=name, windings=known)
    if said:
        return list(dict.fromkeys(said))
    card = cards.get(command.spool)
    names = [name for name, branch in windings.items() if card is not None and _off(branch, card) < FITS]
    if not names:
        first = next(iter(windings))
        if card is None:
            raise Refused(Refusal.SPOOL_NO_CARD, spool=command.spool, winding=first)
        raise Refused(Refusal.SPOOL_UNLIKE, spool=command.spool, winding=first, sheet=sheet.name)
    return names


def mismatch(spool: str, names: list[str], sheet: Sheet, cards: Mapping[str, SpoolCard]) -> dict[str, Fact]:
    """By how much a spool's card is another gauge than the sheet wants, a fraction; empty where it is not."""
    card = cards.get(spool)
    windings = {branch.name: branch for branch in sheet.branches}
    wrong = [name for name in names if card is not None and not _off(windings[name], card) < FITS]
    wanted = windings[wrong[0]].ohm_per_m if wrong else None
    if card is None or wanted is None:
        return {}
    return {"spool": spool, "off": card.ohms_per_metre / wanted - 1.0, "windings": tuple(wrong)}


def _off(branch: Branch, card: SpoolCard) -> float:
    """How far a card lies off the wire that the sheet names, as a fraction; 0 where it names none."""
    if branch.ohm_per_m is None:
        return 0.0
    return abs(card.ohms_per_metre / branch.ohm_per_m - 1.0)
