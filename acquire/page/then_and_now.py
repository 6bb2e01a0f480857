"""A returned serial for the history screen: then and now, pair by pair, as the reports compare them.

Not for the comparison itself nor for its odds (reports.returned).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from acquire.errors import InputImpossible
from acquire.journal.question import Record
from acquire.page.telling import verdict_words
from acquire.reports.returned import REAL, Change, Finding, Returned, returned
from acquire.reports.returned_document import FINDINGS, change_text, changed_sentence, notes, ours_sentence
from acquire.reports.visits import Visit

Plain = dict[str, Any]


def compared(record: Record, serial: str, visits: Sequence[Visit]) -> Plain:
    """The two visits that matter side by side, with sentences; without a second one, why there is nothing.

    Args:
        record: of the bench.
        serial: of the unit.
        visits: all of its visits.

    Raises:
        JournalUnusable: the record cannot be read.
    """
    try:
        found = returned(record, serial)
    except InputImpossible as error:
        return {"pairs": [], "sentences": [" ".join(str(error).split())], "ours": None}
    by_id = {each.id: verdict_words(each.verdict) for visit in visits for each in visit.values}
    return {
        "pairs": [_pair(change, by_id) for change in found.changes],
        "sentences": [changed_sentence(found), *notes(found)],
        "ours": _ours(found),
    }


def _ours(found: Returned) -> Plain:
    odds = found.ours.odds
    return {"probability": None if odds is None else odds.this_unit, "sentence": ours_sentence(found)}


def _pair(change: Change, by_id: dict[str, Plain]) -> Plain:
    told = FINDINGS[change.finding]
    if change.change_ohm is not None and change.expanded_ohm is not None:
        told = f"{change_text(change)}: {told}"
    return {
        "pair": [change.now.pin_a, change.now.pin_b],
        "step": change.step,
        "then": by_id.get(change.then.id),
        "now": by_id.get(change.now.id),
        "difference_ohm": change.change_ohm,
        "difference_percent": None if change.fraction is None else 100.0 * change.fraction,
        "expanded_ohm": change.expanded_ohm,
        "finding": change.finding.value,
        "real": None if change.finding is Finding.UNTOLD else change.finding in REAL,
        "sentence": f"{told}.",
    }
