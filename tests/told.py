"""An example of every notice, refusal and prompt with all its facts: the catalogue's own table. Not a test.

Beside each stands what it says; elsewhere tests ask for codes and facts.
"""

from __future__ import annotations

from acquire.records import Ask, Code, Notice, Pair, Prompt, Refusal, Refused, Severity, Why

_NEW, _OLD = "0123456789abcdef", "fedcba9876543210"


def _of(code: Code, sentence: str, **facts: object) -> tuple[Notice, str]:
    serial, step = str(facts.pop("serial", "")), str(facts.pop("step", ""))
    pair = Pair("1", "2") if facts.pop("pair", False) else None
    return Notice(Severity.WARNING, code, 0.0, serial, pair, step, facts), sentence


TOLD = [
    _of(Code.BATCH_COMPLETE, "lot 12 has its 40 units: type .finish, or continue.", batch="lot 12", units=40),
    _of(
        Code.BATCH_FIRST_UNIT,
        "The first unit of lot 12 is not what sheet and spool cards predict (94 % sure). Type .accept and "
        "why to continue, .spool and its name if another one is on, or measure the unit again.",
        batch="lot 12",
        probability=0.94,
    ),
    _of(Code.BATCH_PAUSED, "A1 belongs to no batch: lot 12 is paused.", serial="A1", batch="lot 12"),
    _of(
        Code.BATCH_SPOOL,
        "The card of spool 35-C has -21 % ohms per metre of what the sheet wants for P1 and P2: is it the "
        "right gauge?",
        spool="35-C",
        off=-0.21,
        windings=("P1", "P2"),
    ),
    _of(
        Code.BATCH_STANDING,
        "The batch lot 12 continues, wound from 36-A.",
        batch="lot 12",
        paused=False,
        spools=("36-A",),
    ),
    _of(
        Code.BATCH_STANDING,
        "The batch lot 12 is paused: .resume continues it.",
        batch="lot 12",
        paused=True,
    ),
    _of(
        Code.BENCH_LEARNT,
        "This bench's contacts creep for 2.1 s; U widened by 1.3.",
        meter="9f31",
        version=12,
        contacts=11,
        widening=1.3,
        wrong=0.25,
        expected=0.1,
        restless=-1.7,
        moved=0.2,
        creeping=2.5,
        creep_s=2.1,
    ),
    _of(
        Code.CALIBRATION_DUE,
        "The calibration of hand meter fell due today.",
        meter="hand meter",
        overdue_days=0,
    ),
    _of(Code.CHECK_ASKED, "The check standard must be measured now."),
    _of(Code.CHECK_DUE, "The check standard R1 is due.", resistor="R1"),
    _of(
        Code.CHECK_OTHER,
        "46.1 Ω is not the check standard R1 (100 Ω). If it is, hold the probes on it once more.",
        ohm=46.1,
        resistor="R1",
        certificate_ohm=100.0,
    ),
    _of(
        Code.CHECK_OUT,
        "The check standard R1 is out of control: clean the probes, zero the leads, repeat it.",
        resistor="R1",
    ),
    _of(
        Code.CHECK_OUT_OF_CONTROL,
        "The check standard R1 reads 100.3 Ω: off its certificate and it drifts from reading to reading. "
        "Zero the leads, clean the probes and measure it again. No verdicts are given until it passes.",
        resistor="R1",
        reading_ohm=100.3,
        signs=("off_certificate", "trend"),
        stops=True,
    ),
    _of(Code.CHECK_OVERRIDDEN, "The check standard was overridden: it fell", reason="it fell"),
    _of(
        Code.CLOCK_BEHIND,
        "The machine's clock is 3600 s behind the latest entry on record: set it. What was taken since is "
        "asked for again, and what is measured now gets a wrong date.",
        by_s=3600.0,
    ),
    _of(Code.CLOCK_SET_BACK, "The machine's clock was set back by 3600 s.", by_s=3600.0),
    _of(
        Code.CLOCK_SET_FORWARD,
        "The machine's clock went forward by 7200 s at once: it was set, or the machine slept. What is too "
        "old by it is asked for again.",
        by_s=7200.0,
    ),
    _of(
        Code.CSV_ROWS_GONE,
        "Rows were deleted from csv/verdicts-2026-11-30.csv: 3, from ab12-7 to ab12-40. At its end they are "
        "written again; the journal has all: `steadyohm history journal --csv NEW.csv`.",
        file="csv/verdicts-2026-11-30.csv",
        rows=3,
        first="ab12-7",
        last="ab12-40",
        folder="journal",
    ),
    _of(
        Code.COMMAND_HELP,
        "Type or scan a serial and press Enter to put a unit on the bench.\n"
        "Enter alone: the probes are on the pair.\n"
        "The unit: .undo  .again [step]  .skip REASON  .end REASON  .note TEXT\n"
        "Good units: .learn [NAME]\n"
        "The bench: .zero  .temperature 21.5 °C\n"
        "The meter: .read 20.6  .dial 2k  .check  .override REASON\n"
        "Other instruments: .result NAME = VALUE, ...\n"
        "Batches: .batch NAME, 40 units  .pause  .resume [NAME]  .finish\n"
        "Spools: .spool NAME for WINDINGS  .accept REASON\n"
        "This: .help",
    ),
    _of(Code.COMMAND_REFUSED, "A1 is on the bench already.", refusal="unit_here", serial="A1"),
    _of(Code.COMMAND_UNKNOWN, ".zer is no word known here.", said=".zer is no word known here."),
    _of(
        Code.FILES_AWAY,
        "The shared folder cannot be looked into: no such folder. The bench continues with its copies.",
        cause="no such folder",
    ),
    _of(
        Code.FILES_NOT_FETCHED,
        "The shared file a.toml and 2 more was not taken: it is half. The bench continues with its copy.",
        file="a.toml",
        others=2,
        cause="it is half",
    ),
    _of(
        Code.FILES_OLD,
        "This bench works by the sheet Plover 80 0123456789ab while fedcba987654 is the newest and the meter "
        "file hand 0123456789ab while fedcba987654 is the newest: it is taken after this unit.",
        sheet=("Plover 80", _NEW, _OLD),
        meter_file=("hand", _NEW, _OLD),
        by_itself=True,
    ),
    _of(
        Code.FILES_REFUSED,
        "The files were read again and refused; the bench continues with what it had. There is no sheet.",
        cause="There is no sheet.",
    ),
    _of(Code.FILES_SAME, "The files were read again: nothing has changed."),
    _of(
        Code.FILES_TAKEN,
        "The bench now works by other files: bench file 0123456789ab in place of fedcba987654, sheet Plover "
        "80 0123456789ab in place of fedcba987654, meter file hand 0123456789ab in place of fedcba987654, "
        "other spool cards.",
        bench_file=("", _NEW, _OLD),
        sheet=("Plover 80", _NEW, _OLD),
        meter_file=("hand", _NEW, _OLD),
        spool_cards=True,
    ),
    _of(
        Code.FILES_WAITING,
        "The files were read again (sheet Plover 80 0123456789ab in place of fedcba987654); they count from "
        "the next unit on.",
        sheet=("Plover 80", _NEW, _OLD),
    ),
    _of(
        Code.FIXTURE_UNPROVEN,
        "1–2 reads open, and nothing proves the clip on 2: look at it, then press Enter.",
        pair=True,
        pins=("2",),
    ),
    _of(
        Code.JOURNAL_GONE,
        "The journal of this folder is gone (5a5a5a5a5a5a5a5a, 812 entries); a new one was begun. Put it "
        "back while the bench is stopped, or bring it back from CSV, line and archive: `steadyohm restore`.",
        birth="5a5a5a5a5a5a5a5a",
        entries=812,
    ),
    _of(
        Code.JOURNAL_OLDER,
        "Entries 790 to 812 of the journal are missing: an older copy was put back, or its end was damaged. "
        "Numbers go on behind them; `steadyohm restore` takes them from CSV, line and archive.",
        first=790,
        last=812,
    ),
    _of(Code.JOURNAL_HALTED, "The journal cannot be written: verdicts wait, none is lost."),
    _of(
        Code.JOURNAL_SET_ASIDE,
        "The journal was damaged (no header) and is kept as journal-damaged.db; a new one was begun. "
        "Verdicts that had not gone out yet are in the file set aside: keep it. "
        "`steadyohm restore` brings the rest.",
        file="journal-damaged.db",
        cause="no header",
    ),
    _of(
        Code.JOURNAL_UNUSABLE,
        "The disk is full. Verdicts wait; none is lost.",
        cause="The disk is full.",
    ),
    _of(Code.JOURNAL_USABLE, "The journal can be written again, after 12 s.", after_s=12.0),
    _of(
        Code.LEADS_DOUBTED,
        "The leads read 0.800 Ω after 0.200 Ω: clean the tips and hold them together once more. It counts "
        "when it is the same again.",
        before_ohm=0.2,
        ohm=0.8,
    ),
    _of(Code.LEADS_IMPLAUSIBLE, "3.2 Ω is too much for leads: hold the probe tips firmly together.", ohm=3.2),
    _of(
        Code.LEADS_MOVED,
        "The leads have changed from 0.200 to 0.450 Ω: low resistances measured since the last zero are "
        "doubtful.",
        before_ohm=0.2,
        ohm=0.45,
    ),
    _of(Code.LEADS_ASKED, "The leads must be zeroed now."),
    _of(Code.LEADS_NONE, "The leads have not been zeroed: low ohms cannot be judged well."),
    _of(Code.LEADS_OLD, "The lead zero is old."),
    _of(Code.METER_BACK, "The meter is back."),
    _of(Code.METER_BATTERY, "The meter's battery is low: its readings drift, change it."),
    _of(Code.METER_DIAL, "The dial is on 2 kΩ, as you say.", full_ohm=2e3),
    _of(
        Code.METER_FROZEN,
        "The display has shown the same value for 60 s: is HOLD on?",
        cause="The display has shown the same value for 60 s: is HOLD on?",
    ),
    _of(Code.METER_FUNCTION, "The meter is on voltage dc: set it to ohms.", quantity="voltage_dc"),
    _of(Code.METER_HOLD, "The meter shows HOLD: switch HOLD off; held values do not count."),
    _of(
        Code.METER_LOSSY,
        "3 % of what comes from the meter is damaged: look at cable, plugs and adapter, or set a slower "
        "rate.",
        share=0.03,
    ),
    _of(Code.METER_LOST, "The meter gives no readings: it hung up.", cause="it hung up."),
    _of(Code.METER_MAXIMUM, "The meter shows its maximum: switch that off, old values do not count."),
    _of(Code.METER_MINIMUM, "The meter shows its minimum: switch that off, old values do not count."),
    _of(
        Code.METER_RANGE,
        "The meter is on its 2 kΩ range: turn it to 200 Ω, or it reads less surely than it could.",
        full_ohm=2e3,
        finest_ohm=200.0,
    ),
    _of(
        Code.METER_RANGE_LOW,
        "The meter is on its 1 kΩ range, where an overload does not show that the pair is open: turn it to 2 "
        "MΩ.",
        full_ohm=1e3,
        turn_ohm=2e6,
    ),
    _of(Code.METER_REFUSED, "It has no four wires.", cause="It has no four wires."),
    _of(Code.METER_RELATIVE, "The meter shows relative values: switch that off."),
    _of(Code.METER_SILENT, "The meter has been silent for some seconds."),
    _of(Code.METER_SILENT, "The meter has been silent for 12 s.", for_s=12.0),
    _of(Code.METER_TURN, "Set the dial to ohms.", turn="Set the dial to ohms."),
    _of(
        Code.METER_UNREAD,
        "Nothing that comes from the meter has been a reading for 6 s. Last came “204,4;” (32 30 34 2c 34 "
        "3b): it has 2 fields instead of 1.",
        for_s=6.0,
        text="204,4;",
        hex="32 30 34 2c 34 3b",
        cause="it has 2 fields instead of 1",
    ),
    _of(
        Code.METER_UNSETTLED,
        "204.4 Ω has not settled for 20 s: it moves by 1.8 Ω. Hold still, press harder, clean tips and "
        "pins; a large winding takes its time.",
        for_s=20.0,
        why="moves",
        ohm=204.4,
        spread_ohm=1.8,
    ),
    _of(
        Code.METER_UNSETTLED,
        "204.4 Ω has not settled for 20 s: the contact breaks again and again (1.8 Ω between the "
        "values). Press harder, clean tips and pins.",
        for_s=20.0,
        why="breaks",
        ohm=204.4,
        spread_ohm=1.8,
    ),
    _of(
        Code.METER_UNSETTLED,
        "204.4 Ω has not settled for 20 s: the meter changes its range again and again (1.8 Ω between "
        "the values). Set one range on it.",
        for_s=20.0,
        why="ranges",
        ohm=204.4,
        spread_ohm=1.8,
    ),
    _of(
        Code.METER_UNSETTLED,
        "204.4 Ω has not settled for 70 s: too few readings have come (1.8 Ω between them). Set the "
        "meter to convert faster.",
        for_s=70.0,
        why="few",
        ohm=204.4,
        spread_ohm=1.8,
    ),
    _of(
        Code.METER_UNSETTLED,
        "204.4 Ω has not settled for 20 s: many readings carry no number (1.8 Ω between those that do). "
        "Look at its display and cable.",
        for_s=20.0,
        why="no_numbers",
        ohm=204.4,
        spread_ohm=1.8,
    ),
    _of(
        Code.METER_UNUSABLE,
        "The meter has shown no resistance for 6 s, only resistance without a number: “NAN” (4e 41 4e). If "
        "that is how it shows an overload, say so with overload_words in [meter.options].",
        for_s=6.0,
        why="no_number",
        text="NAN",
        hex="4e 41 4e",
        quantity="resistance",
        wanted="resistance",
    ),
    _of(
        Code.METER_UNUSABLE,
        "The meter has sent resistance for 6 s where resistance 4w is wanted: “2.04” (32 2e 30 34). Set it "
        "to that; if it has no four wires, leave four_wire_below out of [meter].",
        for_s=6.0,
        why="other_quantity",
        text="2.04",
        hex="32 2e 30 34",
        quantity="resistance",
        wanted="resistance_4w",
    ),
    _of(
        Code.METER_UNSTATED,
        "The meter file hand states no accuracy for 202.6 Ω on the range in use, so there is no verdict: "
        "change the range or add it to the file.",
        model="hand",
        ohm=202.57,
    ),
    _of(
        Code.METER_UNSTATED,
        "The meter file hand states no accuracy for the check standard R1.",
        model="hand",
        resistor="R1",
    ),
    _of(Code.NOTE, "spool ran out", note="spool ran out"),
    _of(Code.ORDER_TAKEN, "Ordered over MQTT: zero leads.", way="mqtt", order="zero_leads"),
    _of(Code.OUTLET_BACK, "mqtt works again, after 75 s.", outlet="mqtt", after_s=75.0),
    _of(Code.OUTLET_FAILING, "mqtt waits: no broker.", outlet="mqtt", cause="no broker."),
    _of(Code.OPEN_ANCHORED, "to core: the clip is proven by a continuity.", step="to core"),
    _of(Code.PHOTO_KEPT, "A photo is kept under its SHA-256 5e5e.", sha256="5e5e"),
    _of(Code.PAGE_MUTE, "This machine has no voice: install espeak-ng, or let the browser speak."),
    _of(
        Code.PAIR_OTHER,
        "That reads like 1–3 (slow charge and fast charge): move to 1–2. To measure 1–3 again after all, "
        "type .again (or press its key).",
        pair=True,
        fit="other_pair",
        ohm=248.7,
        reads_like=("1–3",),
        reads_through=("slow charge", "fast charge"),
        last=("1", "3"),
    ),
    _of(
        Code.PAIR_UNCLEAR,
        "46.00 Ω may be a bad 1–2 or 2–3: make sure that the probes are on 1–2 and touch again.",
        pair=True,
        fit="ambiguous",
        ohm=46.0,
        reads_like=("2–3",),
        reads_through=(),
    ),
    _of(Code.PART_RESTED, "A1 has rested: it can be measured again.", serial="A1"),
    _of(Code.PART_WARM, "A1 and 7 more are still warm. A1 can be measured next.", serial="A1", more=7),
    _of(Code.PART_WARM, "A1 is still warm. It can be measured when it has rested.", serial="A1"),
    _of(
        Code.PROBES_NOT_LIFTED,
        "The probes have not left what they measured before: lift them, then touch this unit.",
    ),
    _of(Code.RESULT_HELP, "surge: typed in.\nWrite .result", guidance=("surge: typed in.", "Write .result")),
    _of(Code.SCAN_TAKEN_BACK, "The scan of B-7 is taken back.", next="B-7"),
    _of(Code.SCANNER_BACK, "The scanner is back."),
    _of(
        Code.SCANNER_LOST,
        "The scanner gives no codes: it hung up. Serials can be typed meanwhile.",
        cause="it hung up.",
    ),
    _of(
        Code.SCANNER_REFUSED,
        "That scan is not taken: it is no code of this job. Scan it again.",
        cause="it is no code of this job",
    ),
    _of(
        Code.SELF_CHECK_DUE,
        "Before verdicts, the meter must pass its self-check: probes together, probes apart, then the "
        "resistor of 470 Ω.",
        meter="meter",
        resistor_ohm=470.0,
    ),
    _of(
        Code.SELF_CHECK_FAILED,
        "Self-check, short: It reads 12 Ω. If this is the right contact, the driver does not fit this meter: "
        "try another, or another profile.",
        contact="short",
        cause="It reads 12 Ω.",
        waiting=False,
    ),
    _of(
        Code.SELF_CHECK_PASSED,
        "The meter has passed its self-check: short 0.3 Ω, open beyond range, resistor 472 Ω (mark abc).",
        meter="meter",
        mark="abc",
        short_ohm=0.3,
        open_ohm=None,
        resistor_ohm=472.0,
    ),
    _of(
        Code.SERIAL_DOUBTFUL,
        "skip bent reads like a command: type .skip for that, or the same once more if it is a serial.",
        serial="skip bent",
        unlike="word",
        pattern="",
    ),
    _of(
        Code.SERIAL_DOUBTFUL,
        "B-7 is no serial of this bench (A[0-9]+): scan it once more if it is one.",
        serial="B-7",
        unlike="pattern",
        pattern="A[0-9]+",
    ),
    _of(Code.STEP_AGAIN, "trigger is measured again.", step="trigger"),
    _of(Code.STEP_MOVED, "trigger has moved under the probes: it is measured again.", step="trigger"),
    _of(Code.STEP_SKIPPED, "trigger was skipped: pin bent", step="trigger", reason="pin bent"),
    _of(
        Code.STEP_TOUCHED_AGAIN,
        "1–2 measured again: the latest value counts, both are kept.",
        pair=True,
    ),
    _of(
        Code.STUDY_HELP,
        "Enter: you have the probes and begin. A part's label: measure that one next. .again [label]: the "
        "last one did not go well, measure it again.  .zero  .temperature 21.5 °C  .note TEXT  .help  "
        "Ctrl-C: stop; the same command continues it later.",
    ),
    _of(
        Code.STUDY_TOO_SOON,
        "That was too soon after the part before: put part K on the bench.",
        part="K",
    ),
    _of(Code.STUDY_TURN, "It is ann's turn: press Enter before the first part.", operator="ann"),
    _of(
        Code.TEMPERATURE_APART,
        "thermometer reads 22.5 °C and thermometer-2 26 °C: neither is used until they agree (1 so far). See "
        "which is wrong, and put both near the units.",
        celsius=22.5,
        source="thermometer",
        beside="thermometer-2",
        other_celsius=26.0,
        doubted=1,
    ),
    _of(
        Code.TEMPERATURE_IMPOSSIBLE,
        "thermometer reads 150 °C, outside the -20 to 60 °C of this place: not used (1 so far). Check the "
        "sensor and its line, or state coldest and warmest in [temperature].",
        celsius=150.0,
        source="thermometer",
        doubted=1,
        lower=-20.0,
        upper=60.0,
    ),
    _of(
        Code.TEMPERATURE_JUMPED,
        "thermometer reads 2.5 °C after 22.5 °C: not used until it stays there (1 so far). Check the "
        "sensor and its line.",
        celsius=2.5,
        source="thermometer",
        doubted=1,
        before=22.5,
    ),
    _of(
        Code.TEMPERATURE_MISSING,
        "There is no fresh temperature, so there are no verdicts: check the thermometer or type one in.",
    ),
    _of(
        Code.TEMPERATURE_OLD,
        "The temperature is too old, so there are no verdicts: check the thermometer or type one in.",
    ),
    _of(Code.READING_TYPED, "0.44k: 440 Ω, in steps of 10 Ω.", typed="0.44k", ohm=440.0, resolution_ohm=10.0),
    _of(Code.READING_TYPED, "OL 2k: overload on the 2 kΩ range.", typed="OL 2k", full_ohm=2e3),
    _of(Code.TEMPERATURE_TYPED, "Temperature typed in: 21.5 °C.", celsius=21.5),
    _of(Code.THERMOMETER_BACK, "The thermometer is back."),
    _of(Code.THERMOMETER_LOST, "The thermometer gives no readings: it hung up.", cause="it hung up."),
    _of(Code.THERMOMETER_REFUSED, "It has no such range.", cause="It has no such range."),
    _of(Code.THERMOMETER_TURN, "Set the dial to °C.", turn="Set the dial to °C."),
    _of(
        Code.UNIT_AGAIN,
        "A1 is measured again, attempt 2; its first result stays.",
        serial="A1",
        attempt=2,
    ),
    _of(
        Code.UNIT_DROPPED,
        "A1 was interrupted, but its sheet has changed since: start it again.",
        serial="A1",
    ),
    _of(Code.STEP_UNDONE, "trigger: the last word or key for it is taken back.", step="trigger"),
    _of(
        Code.SHEET_LEARNT,
        "A sheet learnt from 5 good units is in teal-of-5.toml: read its questions.",
        units=5,
        file="teal-of-5.toml",
    ),
    _of(Code.UNIT_GOOD, "A1 is recorded as a good unit.", serial="A1"),
    _of(Code.UNIT_REOPENED, "A1 is back on the bench as it was.", serial="A1"),
    _of(
        Code.UNIT_UNFINISHED,
        "A1 is half measured (2 of 6 steps). Scan A2 once more to end it early, or continue with it.",
        serial="A1",
        done=2,
        total=6,
        next="A2",
    ),
    _of(
        Code.VALUE_UNTAKEN,
        "46.12 Ω has been steady for 8 s and is not taken: no unit is on the bench. Scan or type its serial.",
        for_s=8.0,
        why="no_unit",
        ohm=46.12,
    ),
    _of(
        Code.VALUE_UNTAKEN,
        "46.12 Ω has been steady for 8 s and is not taken: the meter was set anew under the "
        "probes. Lift them and touch again.",
        for_s=8.0,
        why="function",
        ohm=46.12,
    ),
    _of(
        Code.VALUE_UNTAKEN,
        "46.12 Ω has been steady for 8 s and is not taken: the relays are on another "
        "pair. Wait, or press Enter.",
        for_s=8.0,
        why="fixture",
        ohm=46.12,
    ),
    _of(Code.UNIT_RESUMED, "A1 was interrupted: it continues where it stopped.", serial="A1"),
]
"""Each notice, and each warning of the page."""

_LOOK = "Hold both probes on it, look at the meter, and press again."

REFUSED = {
    Refused(
        Refusal.BATCH_FINISHED, batch="lot 12"
    ): "The batch lot 12 is finished already. Type .resume and its "
    "name to add units to it, or give the new one another name.",
    Refused(Refusal.BATCH_NAMELESS): "A batch needs a name. Type it behind the word, such as .batch lot 12.",
    Refused(
        Refusal.BATCH_NOT_RUNNING, batch="lot 12", state="paused"
    ): "The batch lot 12 is paused. Type .resume lot 12 to continue it.",
    Refused(
        Refusal.BATCH_OF_OTHERS, serial="A1", batch="lot 11", wanted="lot 12"
    ): "A1 belongs to the batch lot "
    "11, not to lot 12. Look at the serial; to measure it again, type .resume lot 11, or .pause to measure "
    "it outside any batch.",
    Refused(
        Refusal.BATCH_OTHER_SHEET, batch="lot 12", sheet="Plover 80", here="Tern 9"
    ): "The batch lot 12 is of Plover 80, and the bench has Tern 9. Change the sheet, or take another batch.",
    Refused(Refusal.BATCH_RUNNING, batch="lot 12"): "The batch lot 12 is running. Scan the next unit.",
    Refused(
        Refusal.BATCH_STOPPED, batch="lot 12", first="A1"
    ): "The batch lot 12 is paused: the first unit, A1, "
    "was not accepted. Type .accept and why to continue, or .spool and the name of the spool that is on.",
    Refused(
        Refusal.BATCH_TAKEN, batch="lot 12"
    ): "The batch lot 12 is running already. Type .resume and its name "
    "to add units to it, or give the new one another name.",
    Refused(
        Refusal.BATCH_UNKNOWN, batch="lot 9"
    ): "There is no batch lot 9. Type .batch and its name to begin it.",
    Refused(
        Refusal.CALIBRATION_DUE, meter="hand", overdue_days=2
    ): "The calibration of hand fell due 2 days ago. "
    'Have it calibrated, or set overdue = "warn" in the bench file.',
    Refused(Refusal.CHECK_ABSENT): "This bench has no check standard. Add a [check] table to its file.",
    Refused(Refusal.CHECK_CALM): "The bench is not stopped by its check standard.",
    Refused(Refusal.CHECK_NO_REASON): "A stopped bench continues only with a reason. Say why it may.",
    Refused(Refusal.DONE, serial="A1"): "All steps of A1 are done. Take the next unit.",
    Refused(Refusal.JOURNAL): "The journal cannot be written, so nothing is done.",
    Refused(Refusal.KEY_SEES_VALUE): "The meter reads a value, so the pair is not open. Hold still.",
    Refused(Refusal.KEY_TOO_SOON): f"That was too soon after the pair was asked for. {_LOOK}",
    Refused(
        Refusal.KEY_UNWITNESSED
    ): "The meter shows no overload now, so nothing proves that the pair is open. " + _LOOK,
    Refused(Refusal.NO_BATCH_PAUSED): "No batch is paused. Type .batch and a name to begin one.",
    Refused(Refusal.NO_BATCH_RUNNING): "No batch is running. Type .batch and a name to begin one.",
    Refused(Refusal.NO_DOUBT): "No first unit is waiting for approval. Scan the next unit.",
    Refused(Refusal.NO_PAIR_ASKED): "No pair is asked for now. Do what is asked for first.",
    Refused(Refusal.NO_UNIT): "There is no unit on the bench. Scan or type its serial first.",
    Refused(
        Refusal.NO_UNIT_YET
    ): "No unit was on the bench yet, so whose result is it? Scan its serial first.",
    Refused(Refusal.NOTHING_MEASURED): "Nothing was measured yet. Touch the pair that is asked for.",
    Refused(Refusal.NOTHING_TO_LEARN): (
        "There is no unit to learn from. Measure a good one to its end, at the temperature of the room, and "
        "type .learn before the next."
    ),
    Refused(Refusal.NOTHING_TO_UNDO): (
        "There is nothing to take back. Only a scan, a word or a key since the last verdict can be; touch a "
        "pair again to measure it again."
    ),
    Refused(Refusal.RANGE_ABSENT, full_ohm=5e3, lowest_ohm=200.0, highest_ohm=20e6): (
        "The meter file has no range of 5 kΩ, only from 200 Ω to 20 MΩ. Look at the dial once more."
    ),
    Refused(
        Refusal.RANGE_LOW, full_ohm=1e3, turn_ohm=2e6
    ): "The meter is on its 1 kΩ range, where an overload "
    f"does not show that the pair is open: turn it to 2 MΩ. {_LOOK}",
    Refused(Refusal.RANGE_UNTOLD, turn_ohm=2e6): (
        "The meter does not tell which range its overload is on, so it does not show that the pair is open. "
        f"Turn the dial to 2 MΩ and type .dial 2M. {_LOOK}"
    ),
    Refused(Refusal.READING_BY_METER): (
        "This bench reads its meter by itself. Touch the pair that is asked for."
    ),
    Refused(Refusal.READING_MILLI_OR_MEGA, typed="0.5m"): (
        '"0.5m" may be milliohms or megohms. Type M for megohms, or the ohms in full.'
    ),
    Refused(Refusal.READING_NONE, typed="4k7"): (
        '"4k7" is no reading in ohms. Type what the display shows, such as 441, 20.6, 0.44k or OL.'
    ),
    Refused(Refusal.READING_NOT_SHOWN, typed="441.3", model="hand-2000", ohm=441.3, resolution_ohm=0.1): (
        '"441.3" has more digits than the display of hand-2000: it shows no 441.3 Ω in steps of 0.1 Ω. Type '
        "what the display shows, or name the meter's own file in the bench file."
    ),
    Refused(Refusal.READING_ONE_OR_OVER, typed="1"): (
        '"1" may be one ohm, or the lone 1 by which many displays show an overload. Type OL, or 1.0 as the '
        "display shows it."
    ),
    Refused(Refusal.READING_POINT_OR_THOUSAND, typed="1,234", low_ohm=1.234, high_ohm=1234.0): (
        '"1,234" may be 1.234 or 1234 Ω. Type a point for the decimals, or no comma.'
    ),
    Refused(Refusal.SKIP_NO_REASON): "A step is skipped only with a reason. Say why it cannot be measured.",
    Refused(
        Refusal.SPOOL_NAMELESS
    ): "Which spool? Type what is written on it, such as .spool 36-A for P1, P2.",
    Refused(
        Refusal.SPOOL_NO_CARD, spool="24-K", winding="P1"
    ): "The spool 24-K has no card. Say what is wound from it, such as .spool 24-K for P1.",
    Refused(
        Refusal.SPOOL_UNLIKE, spool="24-K", winding="P1", sheet="Fathom 7"
    ): "The spool 24-K is like no wire of Fathom 7. Say what is wound from it, such as .spool 24-K for P1.",
    Refused(
        Refusal.STEP_UNKNOWN, step="x", steps=("a", "b", "c")
    ): 'There is no step "x". The steps are a, b and c.',
    Refused(Refusal.STUDY_DONE): "The study is done.",
    Refused(Refusal.STUDY_NO_PLACE): "That has no place in a study. Type .help for what has.",
    Refused(Refusal.STUDY_NOT_WAITING): "Nothing waits for a key. Do what is asked for.",
    Refused(Refusal.STUDY_NOTHING_TAKEN): "Nothing was measured yet that could be measured again.",
    Refused(
        Refusal.STUDY_OTHER_PART, part="K", operator="ann", parts=("L", "M")
    ): "K is not waiting for ann now. These are: L M.",
    Refused(
        Refusal.TEMPERATURE_IMPOSSIBLE, celsius=75.0, lower=-20.0, upper=60.0
    ): "75 °C is outside the -20 to 60 °C of this place. Look at the thermometer again, or state coldest and "
    "warmest in [temperature].",
    Refused(
        Refusal.TEMPERATURE_JUMPED, celsius=2.5, before=22.5
    ): "2.5 °C is far from the 22.5 °C known until now. Look at the thermometer again, and type it once more "
    "if it is so.",
    Refused(Refusal.TEMPERATURE_UNSURE): "A temperature needs its uncertainty.",
    Refused(Refusal.UNIT_HERE, serial="A1"): "A1 is on the bench already.",
    Refused(
        Refusal.WINDING_UNKNOWN, sheet="Fathom 7", winding="S9", windings=("P1", "S1")
    ): "Fathom 7 has no winding S9. It has P1 and S1.",
}
"""Each refusal."""

_PAIR = Pair("1", "2")
_STEP = (_PAIR, "slow charge", 1, 4)
_OPEN = {"open": True, "core": "core", "opened": "2", "last": "3"}

ASKED = [
    (Prompt(Ask.START_UNIT), "Scan or type the serial of the next unit."),
    (
        Prompt(Ask.START_UNIT, why=Why.COUNTED, facts={"batch": "lot 12", "count": 2, "expected": 3}),
        "Scan or type the serial of the next unit; lot 12 has 2 of 3.",
    ),
    (
        Prompt(Ask.START_UNIT, why=Why.DOUBT, facts={"first": "A1"}),
        "A1 is in doubt: type .accept and why, or .spool, or measure it again.",
    ),
    (Prompt(Ask.START_UNIT, "A1", why=Why.DONE), "A1 is done: take the next unit."),
    (
        Prompt(Ask.START_UNIT, why=Why.CLIP_FIRST),
        "Scan or type the serial of the next unit: the leads are zeroed once it is in the fixture.",
    ),
    (Prompt(Ask.SHORT_PROBES, "A1"), "Hold the probes together, to zero the leads."),
    (Prompt(Ask.SHORT_PROBES, "A1", why=Why.FIXTURE), "The fixture zeroes its leads."),
    (
        Prompt(Ask.SHORT_PROBES, why=Why.STUDY, facts={"operator": "ann"}),
        "ann: hold the probes together, to zero the leads.",
    ),
    (Prompt(Ask.SHORT_PROBES, why=Why.SELF_CHECK), "Self-check: Hold the probes together."),
    (Prompt(Ask.LIFT, why=Why.SELF_CHECK), "Self-check: Hold the probes apart."),
    (
        Prompt(Ask.CHECK_RESISTOR, why=Why.SELF_CHECK, facts={"resistor_ohm": 470.0}),
        "Self-check: Hold the probes to the resistor of 470 Ω.",
    ),
    (
        Prompt(Ask.LIFT, why=Why.SELF_CHECK_PASSED),
        "Self-check passed: take the probes off the resistor.",
    ),
    (
        Prompt(Ask.CHECK_RESISTOR, facts={"resistor": "R1"}),
        "Hold the probes on the check standard R1.",
    ),
    (
        Prompt(Ask.CHECK_RESISTOR, why=Why.REFERENCE, facts={"resistor": "R470"}),
        "Hold the probes on the reference R470.",
    ),
    (
        Prompt(Ask.CHECK_RESISTOR, why=Why.BLOCKED, facts={"resistor": "R1"}),
        (
            "The bench is stopped by its check standard. Clean the probes, zero the leads (.zero) and hold "
            "them on R1 again; or .override REASON."
        ),
    ),
    (
        Prompt(Ask.CLIP_ON, "A1", why=Why.FIXTURE),
        "Clip A1 into the fixture, then press Enter or the pedal.",
    ),
    (Prompt(Ask.TOUCH, "A1", *_STEP, Why.FIXTURE), "The fixture measures 1–2 (slow charge)."),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.FIXTURE, 1),
        "The fixture measures 1–2 (slow charge) once more.",
    ),
    (
        Prompt(Ask.WAIT, why=Why.STUDY, facts={"round": 2, "operator": "ann"}),
        "Round 2: ann takes the probes and presses Enter.",
    ),
    (Prompt(Ask.WAIT, why=Why.DONE), "The study is done."),
    (
        Prompt(Ask.TOUCH, "K", *_STEP, Why.STUDY, facts={"operator": "ann", "part": "K"}),
        "ann: part K, touch 1–2 (slow charge).",
    ),
    (Prompt(Ask.TOUCH, "A1", *_STEP), "Touch 1–2 (slow charge)."),
    (Prompt(Ask.TOUCH, "A1", *_STEP, Why.FREE), "Touch 1–2 (slow charge), or any pair still open."),
    (
        Prompt(Ask.TOUCH, "A1", *_STEP, facts={"after": ("2", "3")}),
        "2–3 was measured again. Touch 1–2 (slow charge).",
    ),
    (
        Prompt(Ask.TOUCH, "A1", *_STEP, Why.SILENT),
        "Nothing felt on 1–2: hold both probes on it and press Enter or the pedal.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.LOOKS_LIKE),
        "Touch 1–2 (slow charge): the last value reads like another pair.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.FAILED, 1),
        "Touch 1–2 (slow charge) once more: the value did not pass.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.DISAGREE, 2),
        "Touch 1–2 (slow charge) a third time: no two values agree yet.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.PASSED_AFTER_FAIL, 1),
        "Touch 1–2 (slow charge) once more: it did not pass first, and passes now.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.SET_UP, 1),
        "Touch 1–2 (slow charge) once more: the meter is set for it now.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.INCONSISTENT, 3),
        "Touch 1–2 (slow charge) a fourth time, to be sure: it is inconsistent with the other values.",
    ),
    (
        Prompt(Ask.TOUCH, "A1", *_STEP, facts={"open": True}),
        "Touch 1–2 (slow charge), which must be open, and press Enter or the pedal.",
    ),
    (
        Prompt(Ask.TOUCH, "A1", *_STEP, facts={"first": "6", **_OPEN}),
        "Clip on core: touch 6, then 2 for two seconds, then 3; or press Enter while on 2.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.FAILED, 1, _OPEN),
        "1–2 once more: the value did not pass. Now touch 2 for two seconds, then 3; the clip stays on core.",
    ),
]
"""Each prompt."""
