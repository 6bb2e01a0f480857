"""How long ago something was, and what has fallen due. Not for how a moment is written (reports)."""

from __future__ import annotations

from acquire.quantity import counted
from acquire.words.saying import Facts


def overdue(facts: Facts) -> str:
    """That a meter's calibration fell due, and how long ago."""
    days = facts["overdue_days"]
    ago = f"{counted(days, 'day')} ago" if days else "today"
    return f"The calibration of {facts['meter']} fell due {ago}."
