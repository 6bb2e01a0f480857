"""Words and standing sentences of a batch's report: purposes, what was done, how to read it."""

from __future__ import annotations

from acquire.records import BatchEvent, Purpose

PURPOSES = {
    Purpose.INCOMING: "incoming units",
    Purpose.WINDING: "test while winding",
    Purpose.FINAL: "final test",
    Purpose.RETURNED: "returned units",
}

DEEDS = {
    BatchEvent.OPENED: "begun",
    BatchEvent.PAUSED: "paused",
    BatchEvent.RESUMED: "resumed",
    BatchEvent.SPOOL_CHANGED: "spool",
    BatchEvent.FIRST_UNIT: "first unit",
    BatchEvent.ACCEPTED: "accepted",
    BatchEvent.FINISHED: "finished",
    BatchEvent.MADE_WAY: "paused",
}

ASKED = {"step": "measured", "rule": "rule over windings", "typed": "typed in"}

LEGEND = (
    "Black lines: limits of the sheet. Grey: nominal. Dashed: limits of the chart itself, three sigma from "
    "the moving ranges. Thick: its centre, or the level between two changes. Cross: failed "
    "here; hollow diamond: the unit failed for another reason; ring: beyond the limits of its level. At the "
    "right the histogram of the values, and the uncertainty of the measurement itself (±U, 95 %)."
)

STRIP_KEY = (
    "Numbers in the order in which they came. ✖: failed at first. Dashed: passed near a limit. ?: cannot be "
    "judged. ◌: no result. Dot: came more than once. Bar at the left: another spool from here on."
)

CAUTION = (
    "A pass in ohms does not exclude faults between turns or a winding the wrong way round: direct current "
    "shows neither."
)

HOW_COUNTED = (
    "Yields, charts and capability take each unit's first visit that ended with a result, and in it the "
    "last verdict of each step that counted; later visits show in the list of units only. Passed is "
    "what passed, near a limit or not; what the meter cannot judge did not pass."
)

HOW_SURE = (
    "Shares have Wilson's interval, indices that of chi-square and of Bissell, at {:.0f} %. Cp and Cpk come "
    "from neighbours (moving ranges), Pp and Ppk from all values."
)

HOW_CALLED = (
    "Run rules: beyond a limit; two of three beyond two sigma; four of five beyond one sigma; nine in a row "
    "on one side. Of points in control about one in a hundred signals."
)
