"""Why a command was not carried out, and what to do instead. Not for lines that mean nothing (keyboard)."""

from __future__ import annotations

from acquire.quantity import show
from acquire.records.codes import Refusal
from acquire.words.saying import Facts, Saying, joined, overdue, say


def refused(facts: Facts) -> str:
    """The sentence of a refusal.

    Args:
        facts: `refusal` is its code; the rest as whoever refused gave them.
    """
    return say(REFUSALS[Refusal(facts["refusal"])], facts, str(facts["refusal"]))


def range_low(facts: Facts) -> str:
    """That an overload on a range too low for it shows no open pair, and what to do."""
    full = show(facts["full_ohm"], "Ω", digits=1)
    told = f"The meter is on its {full} range, where an overload does not show that the pair is open:"
    if "turn_ohm" not in facts:
        return f"{told} that takes {show(facts['least_ohm'], 'Ω', digits=1)} or more."
    return f"{told} turn it to {show(facts['turn_ohm'], 'Ω', digits=1)}."


def _absent(facts: Facts) -> str:
    """That somebody names a range that the meter has not."""
    asked, low, high = (show(facts[n], "Ω", digits=1) for n in ("full_ohm", "lowest_ohm", "highest_ohm"))
    return f"The meter file has no range of {asked}, only from {low} to {high}. Look at the dial once more."


def _untold(facts: Facts) -> str:
    """That nobody knows what an overload is beyond, and how to say it."""
    told = (
        "The meter does not tell which range its overload is on, so it does not show that the pair is open."
    )
    if "turn_ohm" not in facts:
        return (
            f"{told} No range of it goes up to {show(facts['least_ohm'], 'Ω', digits=1)}: type .skip and why."
        )
    turn = show(facts["turn_ohm"], "Ω", digits=1)
    short = turn.replace(" ", "").removesuffix("Ω")
    return f"{told} Turn the dial to {turn} and type .dial {short}. {_LOOK}"


def _stated(facts: Facts, name: str) -> str:
    """A number that somebody typed, with its unit."""
    unit = {"ohm": "Ω"}.get(facts["unit"], facts["unit"])
    return show(facts[name], unit, digits=3) if unit else f"{facts[name]:.3g}"


_LOOK = "Hold both probes on it, look at the meter, and press again."
_ACCEPT = "Type .accept and why to continue, or .spool and the name of the spool that is on."

REFUSALS: dict[Refusal, Saying] = {
    Refusal.BATCH_FINISHED: "The batch {batch} is finished already. Type .resume and its name to add units "
    "to it, or give the new one another name.",
    Refusal.BATCH_NAMELESS: "A batch needs a name. Type it after the command, such as .batch lot 12.",
    Refusal.BATCH_NOT_RUNNING: "The batch {batch} is {state}. Type .resume {batch} to continue it.",
    Refusal.BATCH_OF_OTHERS: "{serial} belongs to the batch {batch}, not to {wanted}. Check the serial; to "
    "measure it again, type .resume {batch}, or .pause to measure it outside any batch.",
    Refusal.BATCH_OTHER_SHEET: "The batch {batch} is of {sheet}, and the bench has {here}. Change the sheet, "
    "or take another batch.",
    Refusal.BATCH_RUNNING: "The batch {batch} is running. Scan the next unit.",
    Refusal.BATCH_STOPPED: "The batch {batch} is paused: the first unit, {first}, was not accepted. "
    + _ACCEPT,
    Refusal.BATCH_TAKEN: "The batch {batch} is running already. Type .resume and its name to add units to "
    "it, or give the new one another name.",
    Refusal.BATCH_UNKNOWN: "There is no batch {batch}. Type .batch and its name to begin it.",
    Refusal.CALIBRATION_DUE: lambda facts: (
        f'{overdue(facts)} Have it calibrated, or set overdue = "warn" in the bench file.'
    ),
    Refusal.CHECK_ABSENT: "This bench has no check standard. Add a [check] table to its file.",
    Refusal.CHECK_CALM: "The bench is not stopped by its check standard.",
    Refusal.CHECK_NO_REASON: "A stopped bench continues only with a reason. Say why it may.",
    Refusal.DONE: "All steps of {serial} are done. Take the next unit.",
    Refusal.JOURNAL: "The journal cannot be written, so nothing is done.",
    Refusal.KEY_SEES_VALUE: "The meter reads a value, so the pair is not open. Hold still.",
    Refusal.KEY_TOO_SOON: f"That was too soon after the pair was asked for. {_LOOK}",
    Refusal.KEY_UNWITNESSED: f"The meter shows no overload now, so nothing proves that the pair is open. "
    f"{_LOOK}",
    Refusal.NO_BATCH_PAUSED: "No batch is paused. Type .batch and a name to begin one.",
    Refusal.NO_BATCH_RUNNING: "No batch is running. Type .batch and a name to begin one.",
    Refusal.NO_DOUBT: "No first unit is waiting for approval. Scan the next unit.",
    Refusal.NO_PAIR_ASKED: "No pair is asked for now. Do what is asked for first.",
    Refusal.NO_UNIT: "There is no unit on the bench. Scan or type its serial first.",
    Refusal.NO_UNIT_YET: "No unit has been on the bench yet, so the result belongs to none. Scan its serial "
    "first.",
    Refusal.NOTHING_MEASURED: "Nothing has been measured yet. Touch the pair that is asked for.",
    Refusal.NOTHING_TO_LEARN: "There is no unit to learn from. Measure a good one to its end, at the "
    "temperature of the room, and type .learn before the next.",
    Refusal.NOTHING_TO_UNDO: "There is nothing to take back. Only a scan, a command or a key since the "
    "last verdict can be taken back; touch a pair again to measure it again.",
    Refusal.RANGE_LOW: lambda facts: f"{range_low(facts)} {_LOOK}",
    Refusal.RANGE_ABSENT: _absent,
    Refusal.RANGE_UNTOLD: _untold,
    Refusal.READING_BY_METER: "This bench reads its meter by itself. Touch the pair that is asked for.",
    Refusal.READING_MILLI_OR_MEGA: '"{typed}" may be milliohms or megohms. Type M for megohms, or the ohms '
    "in full.",
    Refusal.READING_NONE: '"{typed}" is no reading in ohms. Type what the display shows, such as 441, 20.6, '
    "0.44k or OL.",
    Refusal.READING_NOT_SHOWN: '"{typed}" has more digits than the display of {model}: it shows no '
    "{ohm:.6g} Ω in steps of {resolution_ohm:g} Ω. Type what the display shows, or name the meter's own "
    "file in the bench file.",
    Refusal.READING_ONE_OR_OVER: '"{typed}" may be one ohm, or the lone 1 by which many displays show an '
    "overload. Type OL, or 1.0 as the display shows it.",
    Refusal.READING_POINT_OR_THOUSAND: '"{typed}" may be {low_ohm:g} or {high_ohm:g} Ω. Type a point for the '
    "decimals, or no comma.",
    Refusal.RESULT_DOUBTED: lambda facts: (
        f"{_stated(facts, 'value')} is far from {_stated(facts, 'before')}, which bench and sheet make "
        "likely. Look at the instrument again, and type the line once more if it is so."
    ),
    Refusal.RESULT_IMPOSSIBLE: lambda facts: (
        f"{_stated(facts, 'value')} cannot be: instruments show from {_stated(facts, 'lower')} to "
        f"{_stated(facts, 'upper')}. Look again, and mind the prefix of the unit."
    ),
    Refusal.SKIP_NO_REASON: "A step is skipped only with a reason. Say why it cannot be measured.",
    Refusal.SPOOL_NAMELESS: "Which spool? Type what is written on it, such as .spool 36-A for P1, P2.",
    Refusal.SPOOL_NO_CARD: "The spool {spool} has no card. Say what is wound from it, such as .spool {spool} "
    "for {winding}.",
    Refusal.SPOOL_UNLIKE: "The spool {spool} matches no wire of {sheet}. Say what is wound from it, such as "
    ".spool {spool} for {winding}.",
    Refusal.STEP_UNKNOWN: lambda facts: (
        f'There is no step "{facts["step"]}". The steps are {joined(facts["steps"])}.'
    ),
    Refusal.STUDY_DONE: "The study is done.",
    Refusal.STUDY_NO_PLACE: "That cannot be used in a study. Type .help for what can.",
    Refusal.STUDY_NOT_WAITING: "Nothing waits for a key. Do what is asked for.",
    Refusal.STUDY_NOTHING_TAKEN: "Nothing has been measured yet that could be measured again.",
    Refusal.STUDY_OTHER_PART: lambda facts: (
        f"{facts['part']} is not waiting for {facts['operator']} now. These are: {' '.join(facts['parts'])}."
    ),
    Refusal.TEMPERATURE_IMPOSSIBLE: "{celsius:g} °C is outside the {lower:g} to {upper:g} °C of this place. "
    "Look at the thermometer again, or state coldest and warmest in [temperature].",
    Refusal.TEMPERATURE_JUMPED: "{celsius:g} °C is far from the {before:g} °C known until now. Look at the "
    "thermometer again, and type it once more if it is so.",
    Refusal.TEMPERATURE_UNSURE: "A temperature needs its uncertainty.",
    Refusal.UNIT_HERE: "{serial} is on the bench already.",
    Refusal.WINDING_UNKNOWN: lambda facts: (
        f"{facts['sheet']} has no winding {facts['winding']}. It has {joined(facts['windings'])}."
    ),
}
"""Each refusal, with what to do."""
