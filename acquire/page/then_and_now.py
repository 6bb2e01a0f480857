"""A returned serial for the history screen: then and now, pair by pair, as the reports compare them.

Not for the comparison itself nor for its odds (reports.returned).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from acquire.errors import InputImpossible
from acquire.journal.question import Record
from acquire.page.telling import verdict_words
from acquire.reports.returned import Change, Returned, returned
from acquire.reports.returned_pages import changed_sentence, notes, ours_sentence
from acquire.reports.visits import Visit

Plain = dict[str, Any]

REAL = {True: "changed", False: "no change proven", None: "cannot be told"}


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
    by_id = {each.id: verdict_words(each.record) for visit in visits for each in visit.verdicts}
    return {
        "pairs": [_pair(change, by_id) for change in found.changes],
        "sentences": [changed_sentence(found), *notes(found)],
        "ours": _ours(found),
    }


def _ours(found: Returned) -> Plain:
    odds = found.ours.odds
    return {"probability": None if odds is None else odds.this_unit, "sentence": ours_sentence(found)}


def _pair(change: Change, by_id: dict[str, Plain]) -> Plain:
    before_ohm, after_ohm = change.then.ohm, change.now.ohm
    share, reach = change.change, change.expanded_change
    told = REAL[change.real]
    if share is not None and reach is not None:
        told = f"{100.0 * share:+.2f} ± {100.0 * reach:.2f} %: {told}"
    return {
        "pair": [change.pin_a, change.pin_b],
        "step": change.step,
        "then": by_id.get(change.then.id),
        "now": by_id.get(change.now.id),
        "difference_ohm": None if before_ohm is None or after_ohm is None else after_ohm - before_ohm,
        "difference_percent": None if share is None else 100.0 * share,
        "expanded_ohm": None if reach is None or before_ohm is None else reach * before_ohm,
        "real": change.real,
        "sentence": f"{told}.",
    }
