"""A unit's first judged visit against its latest, pair by pair: what has changed, and whether that is real.

Both values are corrected for leads and temperature, each with its own uncertainty. The difference is real
where it is larger than its own expanded uncertainty, the two taken as independent; a common part (the same
meter) makes this the cautious side. Pure. Not for whose winding it is (reports).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from acquire.page.telling import number, verdict_words
from acquire.quantity import show
from acquire.records import Verdict
from acquire.reports.visits import Visit

Plain = dict[str, Any]


def compared(visits: Sequence[Visit]) -> Plain:
    """Set the first judged visit against the latest, with a sentence for each pair and one for all.

    Args:
        visits: of one unit, oldest first.
    """
    judged = [visit for visit in visits if visit.judged]
    if len(judged) < 2:
        text = "This unit was judged once only: there is nothing yet to compare with."
        return {"pairs": [], "sentences": [text], "ours": None}
    then, now = judged[0].resistances(), judged[-1].resistances()
    pairs = [_pair(then[step].record, now[step].record) for step in now if step in then]
    real = [pair for pair in pairs if pair["real"]]
    if not pairs:
        text = "The two visits have no step in common."
    elif not real:
        text = "No pair has changed by more than the uncertainty of the two measurements."
    else:
        text = f"{len(real)} of {len(pairs)} pairs have changed by more than the uncertainty allows."
    return {"pairs": pairs, "sentences": [text], "ours": None}


def _pair(then: Verdict, now: Verdict) -> Plain:
    both = {
        "pair": [now.pin_a, now.pin_b],
        "step": now.step,
        "then": verdict_words(then),
        "now": verdict_words(now),
    }
    before_ohm, after_ohm = number(then.reference_ohm), number(now.reference_ohm)
    if before_ohm is None or after_ohm is None:
        same = before_ohm is None and after_ohm is None
        text = "open then and now" if same else ("was open" if before_ohm is None else "is open now")
        return {
            **both,
            "difference_ohm": None,
            "difference_percent": None,
            "expanded_ohm": None,
            "real": not same,
            "sentence": f"{now.step}: {text}.",
        }
    difference_ohm = after_ohm - before_ohm
    reach_ohm = math.hypot(then.expanded_ohm or 0.0, now.expanded_ohm or 0.0)
    percent = 100.0 * difference_ohm / before_ohm if before_ohm else None
    real = abs(difference_ohm) > reach_ohm
    word = "a real change" if real else "no real change"
    changed = f"{'+' if difference_ohm >= 0 else '−'}{show(abs(difference_ohm), 'Ω', reach_ohm)}"
    share = "" if percent is None else f" ({percent:+.2f} %)"
    return {
        **both,
        "difference_ohm": difference_ohm,
        "difference_percent": percent,
        "expanded_ohm": reach_ohm,
        "real": real,
        "sentence": f"{now.step}: {changed}{share}, uncertainty {show(reach_ohm, 'Ω', digits=2)}: {word}.",
    }
