"""What each notice says: one table from code to sentence. Not for prompts, verdicts and results.

A sentence names the facts of its notice in braces; `serial`, `pair` and `step` are among them. The table of
docs/record.md is written from examples of all of them (`python -m tests.record_page`).
"""

from __future__ import annotations

from acquire.quantity import counted, show
from acquire.records import Fit, Notice
from acquire.records.codes import Code
from acquire.words.refusals import range_low, refused
from acquire.words.saying import HELP, STUDY_HELP, Facts, Saying, joined, overdue, pins, say, sureness
from acquire.words.settling import learnt
from acquire.words.verdicts import reads_like

WAYS = {"mqtt": "over MQTT", "page": "on the page"}
"""How an order came in."""

SHOWN_HASH = 12
"""Digits of a file's hash that are told."""


def said(notice: Notice) -> str:
    """The sentence of a notice."""
    facts = notice.facts
    if "said" in facts:
        return str(facts["said"])
    own = {"serial": notice.serial, "pair": notice.pair, "step": notice.step}
    return say(NOTICES[notice.code], {**own, **facts}, notice.code.value)


def _first_unit(facts: Facts) -> str:
    return (
        f"The first unit of {facts['batch']} is not what sheet and spool cards predict "
        f"({sureness(facts['probability'])} sure). Type .accept and why to continue, .spool "
        "and its name if another one is on, or measure the unit again."
    )


def _standing(facts: Facts) -> str:
    if facts["paused"]:
        return f"The batch {facts['batch']} is paused: .resume continues it."
    spools = joined(facts["spools"])
    return f"The batch {facts['batch']} continues{f', wound from {spools}' if spools else ''}."


_SIGNS = {
    "off_certificate": "off its certificate",
    "beyond_limits": "outside its own limits",
    "jump": "it has jumped since it was last measured",
    "run": "always on one side of its mean",
    "trend": "it drifts from reading to reading",
}
"""What speaks against a bench by its check standard."""


def _out_of_control(facts: Facts) -> str:
    signs = joined(_SIGNS[sign] for sign in facts["signs"])
    then = " No verdicts are given until it passes." if facts["stops"] else ""
    return (
        f"The check standard {facts['resistor']} reads {facts['reading_ohm']:.6g} Ω: {signs}. Zero the "
        f"leads, clean the probes and measure it again.{then}"
    )


def _changed(facts: Facts) -> str:
    """Which files are others now, with their hashes."""
    told = [
        f"{what}{f' {name}' if name else ''} {new[:SHOWN_HASH]} in place of {old[:SHOWN_HASH]}"
        for what in ("bench file", "sheet", "meter file")
        for name, new, old in [facts.get(what.replace(" ", "_"), ("", "", ""))]
        if new
    ]
    return ", ".join([*told, *(["other spool cards"] if facts.get("spool_cards") else [])])


def _older(facts: Facts) -> str:
    told = [
        f"the {what} {name} {here[:SHOWN_HASH]} while {newest[:SHOWN_HASH]} is the newest"
        for what in ("sheet", "meter file")
        for name, here, newest in [facts.get(what.replace(" ", "_"), ("", "", ""))]
        if name
    ]
    automatic = "it is taken after this unit"
    how = (
        automatic
        if facts.get("automatic", facts.get("by_itself"))
        else "send SIGHUP or start the bench again"
    )
    return f"This bench uses {joined(told)}: {how}."


def _not_fetched(facts: Facts) -> str:
    more = f" and {facts['others']} more" if facts["others"] else ""
    told = f"The shared file {facts['file']}{more} was not taken: {facts['cause']}."
    return f"{told} The bench continues with its copy."


def _range(facts: Facts) -> str:
    full, finest = (show(facts[name], "Ω", digits=1) for name in ("full_ohm", "finest_ohm"))
    return f"The meter is on its {full} range: turn it to {finest} for a smaller uncertainty."


def _typed_reading(facts: Facts) -> str:
    """What somebody has typed, as it was understood."""
    if "ohm" not in facts:
        beyond = f" on the {show(facts['full_ohm'], 'Ω', digits=1)} range" if "full_ohm" in facts else ""
        return f"{facts['typed']}: overload{beyond}."
    ohm, count = facts["ohm"], facts["resolution_ohm"]
    return (
        f"{facts['typed']}: {show(ohm, 'Ω', resolution_si=count)}, in steps of {show(count, 'Ω', digits=1)}."
    )


def _unstated(facts: Facts) -> str:
    told = f"The meter file {facts['model']} states no accuracy for"
    if facts.get("resistor"):
        return f"{told} the check standard {facts['resistor']}."
    return (
        f"{told} {facts['ohm']:.4g} Ω on the range in use, so there is no verdict: change the range or add "
        "it to the file."
    )


def _silent(facts: Facts) -> str:
    lasts = f"{facts['for_s']:.0f} s" if "for_s" in facts else "some seconds"
    return f"The meter has been silent for {lasts}."


def _unusable(facts: Facts) -> str:
    wanted, sent = (str(facts[name]).replace("_", " ") for name in ("wanted", "quantity"))
    last = f"“{facts['text']}” ({facts['hex']})"
    if facts["why"] == "no_number":
        return (
            f"The meter has shown no {wanted} for {facts['for_s']:.0f} s, only {sent} without a number: "
            f"{last}. If that is how it shows an overload, say so with overload_words in [meter.options]."
        )
    return (
        f"The meter has sent {sent} for {facts['for_s']:.0f} s where {wanted} is wanted: {last}. Set it to "
        "that; if it has no four wires, leave four_wire_below out of [meter]."
    )


_UNSETTLED = {
    "moves": "it moves by {}. Hold still, press harder, clean tips and pins; a large winding takes its time",
    "short": "touches were too short (it moved by {}). Hold on until the value is steady, and press harder",
    "breaks": "the contact breaks again and again ({} between the values). Press harder, clean tips and pins",
    "ranges": "the meter changes its range again and again ({} between the values). Set one range on it",
    "no_numbers": "many readings carry no number ({} between those that do). Look at its display and cable",
    "few": "too few readings have come ({} between them). Set the meter to convert faster",
}
"""Why a contact has not come to rest, and what helps."""


def _unsettled(facts: Facts) -> str:
    why = _UNSETTLED[facts["why"]].format(show(facts["spread_ohm"], "Ω", digits=2))
    what = show(facts["ohm"], "Ω", digits=4) if "ohm" in facts else "The contact"  # a study shows no value
    return f"{what} has not settled for {facts['for_s']:.0f} s: {why}."


_UNTAKEN = {
    "no_unit": "no unit is on the bench. Scan or type its serial",
    "function": "the meter was set anew under the probes. Lift them and touch again",
    "fixture": "the relays are on another pair. Wait, or press Enter",
}
"""Why a value at rest is not taken, and what helps."""


def _untaken(facts: Facts) -> str:
    steady = (
        f"{show(facts['ohm'], 'Ω', digits=4)} has been steady for {facts['for_s']:.0f} s and is not taken"
    )
    return f"{steady}: {_UNTAKEN[facts['why']]}."


def _another_pair(facts: Facts) -> str:
    last, fit = facts.get("last"), Fit(facts["fit"])
    hint = reads_like(fit, facts["ohm"], pins(facts["pair"]), facts["reads_like"], facts["reads_through"])
    offer = f" To measure {pins(last)} again after all, type .again (or press its key)." if last else ""
    return f"{hint}{offer}"


def _spool(facts: Facts) -> str:
    return (
        f"The card of spool {facts['spool']} has {100.0 * facts['off']:+.0f} % ohms per metre of what the "
        f"sheet wants for {joined(facts['windings'])}: is it the right gauge?"
    )


def _self_check_failed(facts: Facts) -> str:
    wrong = (
        "If this is the right contact, the driver does not fit this meter: try another, or another profile."
    )
    return f"Self-check, {facts['contact']}: {facts['cause']}{'' if facts['waiting'] else f' {wrong}'}"


def _self_check_passed(facts: Facts) -> str:
    ohms = {contact: facts[f"{contact}_ohm"] for contact in ("short", "open", "resistor")}
    read = (f"{contact} {'beyond range' if ohm is None else f'{ohm:g} Ω'}" for contact, ohm in ohms.items())
    return f"The {facts['meter']} has passed its self-check: {', '.join(read)} (mark {facts['mark']})."


def _doubtful(facts: Facts) -> str:
    serial = facts["serial"]
    if facts["unlike"] == "word":
        word = serial.split()[0]
        return (
            f"{serial} reads like a command: type .{word} for that, or the same once more if it is a serial."
        )
    return f"{serial} is no serial of this bench ({facts['pattern']}): scan it once more if it is one."


NOTICES: dict[Code, Saying] = {
    Code.BATCH_COMPLETE: lambda facts: (
        f"{facts['batch']} has its {counted(facts['units'], 'unit')}: type .finish, or continue."
    ),
    Code.BATCH_FIRST_UNIT: _first_unit,
    Code.BATCH_PAUSED: "{serial} belongs to no batch: {batch} is paused.",
    Code.BATCH_SPOOL: _spool,
    Code.BATCH_STANDING: _standing,
    Code.BENCH_LEARNT: learnt,
    Code.CALIBRATION_DUE: overdue,
    Code.CHECK_ASKED: "The check standard must be measured now.",
    Code.CHECK_DUE: "The check standard {resistor} is due.",
    Code.CHECK_OTHER: "{ohm:.5g} Ω is not the check standard {resistor} ({certificate_ohm:.5g} Ω). If it is, "
    "hold the probes on it once more.",
    Code.CHECK_OUT: "The check standard {resistor} is out of control: clean the probes, zero the leads, "
    "repeat it.",
    Code.CHECK_OUT_OF_CONTROL: _out_of_control,
    Code.CHECK_OVERRIDDEN: "The check standard was overridden: {reason}",
    Code.CLOCK_BEHIND: "The machine's clock is {by_s:.0f} s behind the latest entry on record: set it. "
    "What was taken since is asked for again, and what is measured now gets a wrong date.",
    Code.CLOCK_SET_BACK: "The machine's clock was set back by {by_s:.0f} s.",
    Code.CLOCK_SET_FORWARD: "The machine's clock was set forward by {by_s:.0f} s. What has become too old "
    "is asked for again.",
    Code.COMMAND_HELP: HELP,
    Code.COMMAND_REFUSED: refused,
    Code.COMMAND_UNKNOWN: "{said}",
    Code.CSV_ROWS_GONE: "Rows were deleted from {file}: {rows}, {first} to {last}. Those at its end are "
    "written again; the journal has all: `steadyohm history {folder} --csv NEW.csv`.",
    Code.FILES_AWAY: "The shared folder cannot be read: {cause}. The bench continues with its copies.",
    Code.FILES_NOT_FETCHED: _not_fetched,
    Code.FILES_OLD: _older,
    Code.FILES_REFUSED: "The files were read again and refused; the bench continues with what it had. "
    "{cause}",
    Code.FILES_SAME: "The files were read again: nothing has changed.",
    Code.FILES_TAKEN: lambda facts: f"The bench now uses other files: {_changed(facts)}.",
    Code.FILES_WAITING: lambda facts: (
        f"The files were read again ({_changed(facts)}); they count from the next unit on."
    ),
    Code.FIXTURE_UNPROVEN: lambda facts: (
        f"{pins(facts['pair'])} reads open, and nothing proves the clip on {joined(facts['pins'])}: look at "
        "it, then press Enter."
    ),
    Code.JOURNAL_GONE: "The journal of this folder is gone ({birth}, {entries} entries); a new one was "
    "begun. Put it back while the bench is stopped, or bring it back from CSV, line and archive: "
    "`steadyohm restore`.",
    Code.JOURNAL_OLDER: "Entries {first} to {last} of the journal are missing: an older copy was put back, "
    "or its end was damaged. Numbering continues after them; `steadyohm restore` takes them from CSV, "
    "line and archive.",
    Code.JOURNAL_HALTED: "The journal cannot be written: verdicts wait, none is lost.",
    Code.JOURNAL_QUARANTINED: "The journal was damaged ({cause}) and is kept as {file}; a new one was begun. "
    "Verdicts that had not gone out yet are in the file set aside: keep it. `steadyohm restore` brings the "
    "rest.",
    Code.JOURNAL_UNUSABLE: "{cause} Verdicts wait; none is lost.",
    Code.JOURNAL_USABLE: "The journal can be written again, after {after_s:.0f} s.",
    Code.LEADS_ASKED: "The leads must be zeroed now.",
    Code.LEADS_DOUBTED: "The leads read {ohm:.3f} Ω after {before_ohm:.3f} Ω: clean the tips and hold them "
    "together once more. It counts when it is the same again.",
    Code.LEADS_IMPLAUSIBLE: "{ohm:.4g} Ω is too much for leads: hold the probe tips firmly together.",
    Code.LEADS_MOVED: "The leads have changed from {before_ohm:.3f} to {ohm:.3f} Ω: low resistances measured "
    "since the last zero are doubtful.",
    Code.LEADS_NONE: "The leads have not been zeroed: low ohms cannot be judged well.",
    Code.LEADS_OLD: "The lead zero is old.",
    Code.METER_BACK: "The meter is back.",
    Code.METER_BATTERY: "The meter's battery is low: its readings drift; replace it.",
    Code.METER_DIAL: lambda facts: f"The dial is taken to be on {show(facts['full_ohm'], 'Ω', digits=1)}.",
    Code.METER_FROZEN: "{cause}",
    Code.METER_FUNCTION: lambda facts: (
        f"The meter is on {facts['quantity'].replace('_', ' ')}: set it to ohms."
    ),
    Code.METER_HOLD: "The meter shows HOLD: switch HOLD off; held values do not count.",
    Code.METER_LOSSY: lambda facts: (
        f"{100 * facts['share']:.0f} % of what comes from the meter is damaged: look at cable, plugs and "
        "adapter, or set a slower rate."
    ),
    Code.METER_LOST: "The meter gives no readings: {cause}",
    Code.METER_MAXIMUM: "The meter shows its maximum: switch that off, old values do not count.",
    Code.METER_MINIMUM: "The meter shows its minimum: switch that off, old values do not count.",
    Code.METER_RANGE: _range,
    Code.METER_RANGE_LOW: range_low,
    Code.METER_REFUSED: "{cause}",
    Code.METER_RELATIVE: "The meter shows relative values: switch that off.",
    Code.METER_SILENT: _silent,
    Code.METER_TURN: "{turn}",
    Code.METER_UNREAD: (
        "Nothing that comes from the meter has been a reading for {for_s:.0f} s. Last came “{text}” ({hex}): "
        "{cause}."
    ),
    Code.METER_UNSETTLED: _unsettled,
    Code.METER_UNSTATED: _unstated,
    Code.METER_UNUSABLE: _unusable,
    Code.READING_TYPED: _typed_reading,
    Code.NOTE: "{note}",
    Code.OPEN_ANCHORED: "{step}: the clip is proven by a continuity.",
    Code.ORDER_TAKEN: lambda facts: f"Command {WAYS[facts['way']]}: {facts['order'].replace('_', ' ')}.",
    Code.OUTLET_BACK: "{outlet} works again, after {after_s:.0f} s.",
    Code.OUTLET_FAILING: "{outlet} waits: {cause}",
    Code.PHOTO_KEPT: "A photo is kept under its SHA-256 {sha256}.",
    Code.PAGE_MUTE: "This machine has no voice: install espeak-ng, or let the browser speak.",
    Code.PAIR_OTHER: _another_pair,
    Code.PAIR_UNCLEAR: _another_pair,
    Code.PART_RESTED: lambda facts: (
        f"{facts['serial']} and {facts['more']} more have rested: they can be measured again."
        if facts.get("more")
        else f"{facts['serial']} has rested: it can be measured again."
    ),
    Code.PART_WARM: lambda facts: (
        f"{facts['serial']} and {facts['more']} more are still warm. {facts['serial']} can be measured next."
        if facts.get("more")
        else f"{facts['serial']} is still warm. It can be measured when it has rested."
    ),
    Code.PROBES_NOT_LIFTED: "The probes have not left what they measured before: lift them, then touch this "
    "unit.",
    Code.RESULT_HELP: lambda facts: "\n".join(facts["guidance"]),
    Code.SCAN_TAKEN_BACK: "The scan of {next} is taken back.",
    Code.SCANNER_BACK: "The scanner is back.",
    Code.SCANNER_LOST: "The scanner gives no codes: {cause} Serials can be typed meanwhile.",
    Code.SCANNER_REFUSED: "That scan is not taken: {cause}. Scan it again.",
    Code.SELF_CHECK_DUE: "Before verdicts, the {meter} must pass its self-check: probes together, probes "
    "apart, then the resistor of {resistor_ohm:g} Ω.",
    Code.SELF_CHECK_FAILED: _self_check_failed,
    Code.SELF_CHECK_PASSED: _self_check_passed,
    Code.SERIAL_DOUBTFUL: _doubtful,
    Code.SHEET_LEARNT: lambda facts: (
        f"A sheet learnt from {counted(facts['units'], 'good unit')} is in {facts['file']}: read its "
        "questions."
    ),
    Code.STEP_AGAIN: "{step} is measured again.",
    Code.STEP_MOVED: "{step} has moved under the probes: it is measured again. If you had gone on to the "
    "next pair, lift for longer between two pairs.",
    Code.STEP_SKIPPED: "{step} was skipped: {reason}",
    Code.STEP_TOUCHED_AGAIN: lambda facts: (
        f"{pins(facts['pair'])} measured again: the latest value counts, both are kept."
    ),
    Code.STEP_UNDONE: "{step}: the last word or key for it is taken back.",
    Code.STUDY_HELP: STUDY_HELP,
    Code.STUDY_TOO_SOON: "That was too soon after the part before: put part {part} on the bench.",
    Code.STUDY_TURN: "It is {operator}'s turn: press Enter before the first part.",
    Code.TEMPERATURE_APART: "{source} reads {celsius:g} °C and {beside} {other_celsius:g} °C: neither is "
    "used until they agree ({doubted} so far). See which is wrong, and put both near the units.",
    Code.TEMPERATURE_IMPOSSIBLE: "{source} reads {celsius:g} °C, outside the {lower:g} to {upper:g} °C of "
    "this place: not used ({doubted} so far). Check the sensor and its line, or state coldest and warmest "
    "in [temperature].",
    Code.TEMPERATURE_JUMPED: "{source} reads {celsius:g} °C after {before:g} °C: not used until it "
    "stays there ({doubted} so far). Check the sensor and its line.",
    Code.TEMPERATURE_MISSING: "There is no fresh temperature, so there are no verdicts: check the "
    "thermometer or type one in.",
    Code.TEMPERATURE_OLD: "The temperature is too old, so there are no verdicts: check the "
    "thermometer or type one in.",
    Code.TEMPERATURE_TYPED: "Temperature typed in: {celsius:g} °C.",
    Code.THERMOMETER_BACK: "The thermometer is back.",
    Code.THERMOMETER_LOST: "The thermometer gives no readings: {cause}",
    Code.THERMOMETER_REFUSED: "{cause}",
    Code.THERMOMETER_TURN: "{turn}",
    Code.UNIT_AGAIN: "{serial} is measured again, attempt {attempt}; its first result stays.",
    Code.UNIT_DROPPED: "{serial} was interrupted, but its sheet has changed since: start it again.",
    Code.UNIT_GOOD: "{serial} is recorded as a good unit.",
    Code.UNIT_REOPENED: "{serial} is back on the bench as it was.",
    Code.UNIT_RESUMED: "{serial} was interrupted: it continues where it stopped.",
    Code.UNIT_UNFINISHED: "{serial} is half measured ({done} of {total} steps). Scan {next} once more to "
    "end it early, or continue with it.",
    Code.VALUE_UNTAKEN: _untaken,
}
"""Each notice, and each warning of the page."""
