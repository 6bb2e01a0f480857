"""Whether a unit's result says something: what a question by a piece of a diagnosis means in every store."""

from __future__ import annotations

from typing import Any

from acquire.journal.plain import from_plain
from acquire.journal.upgrade import upgraded
from acquire.records import UnitResult
from acquire.words.units import findings_words


def explains(payload: dict[str, Any], text: str) -> bool:
    """Whether the most likely explanation or a finding of a result contains a text.

    Args:
        payload: of a unit's result, of any age; what is none says nothing.
        text: folded.
    """
    try:
        result = from_plain("unit_result", upgraded("unit_result", payload))
    except (ValueError, TypeError, AttributeError):
        return False
    assert isinstance(result, UnitResult)  # noqa: S101  (read as one)
    said = [*findings_words(result), *(each.sentence for each in result.hypotheses[:1])]
    said += [each.fault for each in result.hypotheses[:1]]
    return any(text in each.casefold() for each in said)
