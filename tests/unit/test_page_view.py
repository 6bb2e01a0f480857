"""The bench as a page shows it, event by event: what a person would see at each moment."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from acquire.page.backend import About, Facts
from acquire.page.telling import batch_words
from acquire.page.view import BenchView
from acquire.records import (
    Approach,
    Ask,
    Code,
    Contact,
    Ending,
    Judged,
    LiftOff,
    Notice,
    Outcome,
    Pair,
    Prompt,
    Purpose,
    Settled,
    Severity,
    UnitStarted,
    Why,
)
from acquire.steps.pairs import PairTable
from drivers.reading import Flag, Kind, Quantity, Reading
from tests.known_records import BATCH, EVIDENCE, NOON_S, RESULT, STARTED, VERDICT, ZERO
from tests.known_sheets import PLOVER

SERIAL = "PL80-0001"
FIRST = PLOVER.steps[0]
OHM = Quantity.RESISTANCE


def reading(value_si, at_s, *, quantity=OHM, flags=frozenset(), kind=None):
    kind = kind or (Kind.OVERLOAD if value_si is None else Kind.VALUE)
    return Reading("meter", quantity, kind, value_si, at_s, NOON_S + at_s, round(at_s * 1000), flags=flags)


def settled(value_si, at_s):
    return Settled("meter", OHM, value_si, 0.0, 9.0, 0.0, 0.0, 0.0, 9, None, None, at_s - 1.0, at_s, NOON_S)


def verdict(step=FIRST, **changes):
    known = {"serial": SERIAL, "step": step.name, "pin_a": step.pair.a, "pin_b": step.pair.b}
    return Judged(replace(VERDICT, **{"counts": True, **known, **changes}), EVIDENCE)


def prompt(step=FIRST, ask=Ask.TOUCH, done=0, why=Why.NONE):
    return Prompt(ask, SERIAL, step.pair, step.name, done, len(PLOVER.steps), why)


def told_all(view):
    """Whoever looks knows everything so far."""
    view.take_changes()
    view.hush()


@pytest.fixture
def view():
    """A view of a bench with a sheet, before anything has happened."""
    made = BenchView(About("bench-1", Purpose.FINAL, "meter", "me", "steadyohm 1"))
    made.on(PairTable(PLOVER))
    told_all(made)
    return made


def at_a_unit(view):
    view.show(UnitStarted("bench-1", SERIAL, PLOVER.name, "h", Purpose.FINAL, "", "me", NOON_S))
    view.show(prompt())
    told_all(view)


def cues(view):
    return [(cue.sound.value, cue.say) for cue in view.take_cues()]


def test_every_key_is_there_before_anything_is_known():
    state = BenchView(About("x", Purpose.FINAL, "", "", "s")).state()
    assert (state["face"], state["unit"], state["phase"]) == (None, None, "idle")
    assert json.loads(json.dumps(state, allow_nan=False)) == state


def test_the_face_and_circuit_are_the_sheets(view):
    state = view.state()
    assert state["face"]["rows"] == [list(row) for row in PLOVER.rows]
    assert {branch["name"] for branch in state["circuit"]["branches"]} == {b.name for b in PLOVER.branches}


def test_a_touch_goes_through_its_phases(view):
    """Touch, settling with a trace, at rest, verdict, touch the next."""
    at_a_unit(view)
    assert view.state()["phase"] == "touch"
    view.see(reading(201.0, 10.0), OHM)
    view.show(Contact("meter", 10.0, NOON_S))
    assert view.state()["phase"] == "settling"
    assert cues(view) == [("contact", "")]
    view.see(reading(202.0, 10.1), OHM)
    view.show(Approach("meter", OHM, 202.0, 10.0, 10.1, NOON_S))
    assert view.state()["rest"] == {"share": 0.5, "word": "still moving"}
    assert view.take_points() == {"new": True, "points": [[0.0, 201.0], [0.1, 202.0]]}
    view.show(settled(202.4, 11.0))
    assert (view.state()["phase"], view.state()["rest"]["word"]) == ("settled", "settled")
    view.show(verdict())
    view.show(prompt(PLOVER.steps[1], done=1))
    assert view.state()["phase"] == "verdict"
    assert cues(view) == [("pass", "Pass."), ("", "2 and 3.")]
    view.show(LiftOff("meter", 12.0, NOON_S))
    state = view.state()
    assert (state["phase"], state["rest"]) == ("verdict", None)
    assert state["verdict"]["pair"] == ["1", "2"]  # it stays to be read
    view.show(Contact("meter", 12.5, NOON_S, goes_on=True))
    assert view.state()["phase"] == "verdict"
    view.show(prompt(PLOVER.steps[1], done=1, why=Why.SILENT))
    assert view.state()["phase"] == "lift"
    view.show(LiftOff("meter", 13.0, NOON_S))
    view.show(Contact("meter", 14.0, NOON_S))
    assert view.state()["phase"] == "settling"
    said = "No contact was found on 2 and 3. Hold both probes on it and press."
    assert cues(view) == [("nothing_felt", said), ("contact", "")]
    assert [step["state"] for step in state["unit"]["steps"][:2]] == ["done", "asked"]


def test_a_value_is_called_at_rest_only_once_it_has_settled(view):
    """However still it lies before: else the word stands for seconds and no verdict follows it."""
    at_a_unit(view)
    view.show(Contact("meter", 10.0, NOON_S))
    view.show(Approach("meter", OHM, 202.0, 0.5, 10.1, NOON_S))
    assert view.state()["rest"]["word"] == "nearly settled"
    view.show(settled(202.4, 11.0))
    assert view.state()["rest"]["word"] == "settled"


def test_a_verdict_that_is_made_surer_by_lingering_hands_is_told_once(view):
    """The value is shown anew; a sound comes only where the verdict becomes another."""
    at_a_unit(view)
    view.show(verdict())
    view.take_cues()
    view.show(verdict(revision=1, reference_ohm=202.72))
    assert view.state()["verdict"]["reference_ohm"] == 202.72
    assert cues(view) == []
    view.show(verdict(revision=2, outcome=Outcome.FAIL))
    assert [sound for sound, _ in cues(view)] == ["fail"]


def test_a_wrong_pair_is_named_and_nothing_judged(view):
    at_a_unit(view)
    view.show(Contact("meter", 10.0, NOON_S))
    view.take_cues()
    view.show(
        Notice(
            Severity.WARNING, Code.PAIR_UNCLEAR, NOON_S, SERIAL, Pair("1", "2"), facts={"said": "Not clear."}
        )
    )
    view.show(prompt(ask=Ask.TOUCH_AGAIN))
    state = view.state()
    assert (state["phase"], state["hint"], state["verdict"]) == ("other_pair", "Not clear.", None)
    assert cues(view) == [("wrong_pair", "Not clear. 1 and 2 again.")]  # said once, not twice
    view.show(LiftOff("meter", 11.0, NOON_S))
    assert view.state()["phase"] == "touch"


def test_a_turn_of_the_dial_is_shown_and_heard_on_its_own(view):
    """Its range stands big; once it is turned the pair is called out, though it is the same."""
    at_a_unit(view)
    view.take_cues()
    view.show(replace(prompt(), facts={"turn_ohm": 2000.0}))
    assert view.state()["ask"]["turn"] == "2 kΩ"
    assert cues(view) == [("turn", "Dial to 2 kohm. 1 and 2.")]
    view.show(prompt())
    assert view.state()["ask"]["turn"] == ""
    assert cues(view) == [("", "1 and 2.")]


def test_a_pair_measured_again_by_touch_is_shown_and_said(view):
    """Its verdict appears and says that it is a repetition; the asked pair is called out again."""
    at_a_unit(view)
    view.show(verdict())
    second = prompt(PLOVER.steps[1], done=1)
    view.show(second)
    view.show(Contact("meter", 10.0, NOON_S))
    view.take_cues()
    view.show(
        Notice(
            Severity.INFO,
            Code.STEP_AGAIN,
            NOON_S,
            SERIAL,
            Pair("1", "2"),
            facts={"said": "1–2 measured again."},
        )
    )
    view.show(verdict(attempt=2))
    view.show(replace(second, facts={"after": ("1", "2")}))
    state = view.state()
    assert (state["phase"], state["verdict"]["attempt"]) == ("verdict", 2)
    assert (state["verdict"]["pair"], state["verdict"]["hint"]) == (["1", "2"], "1–2 measured again.")
    assert cues(view) == [("pass", "1 and 2 measured again. Pass."), ("", "2 and 3.")]
    assert [step["state"] for step in state["unit"]["steps"][:2]] == ["done", "asked"]
    view.show(verdict(PLOVER.steps[1]))
    assert view.state()["verdict"]["hint"] == ""
    assert cues(view) == [("pass", "Pass.")]


def test_a_contact_under_another_setting_is_no_touch(view):
    """The meter was set anew, the probes have not left: lift, and no sound."""
    at_a_unit(view)
    view.show(LiftOff("meter", 12.0, NOON_S))
    view.show(Contact("meter", 12.0, NOON_S, goes_on=True))
    assert view.state()["phase"] == "lift"
    assert cues(view) == []


def test_a_failing_value_is_asked_for_again(view):
    at_a_unit(view)
    view.show(verdict(outcome=Outcome.FAIL, counts=False, reference_ohm=150.0))
    view.show(prompt(ask=Ask.TOUCH_AGAIN))
    step = view.state()["unit"]["steps"][0]
    assert (step["state"], step["outcome"], step["word"]) == ("again", None, "once more")
    assert cues(view) == [("not_yet", "Not passed."), ("", "1 and 2 again.")]


def test_a_result_stays_until_the_next_unit(view):
    at_a_unit(view)
    view.show(replace(RESULT, serial=SERIAL, outcome=Outcome.FAIL))
    view.show(Prompt(Ask.START_UNIT))
    state = view.state()
    assert (state["phase"], state["result"]["outcome"]) == ("ended", "fail")
    assert state["result"]["diagnosis"][0]["sentence"]
    assert state["unit"]["ended"]
    view.show(replace(STARTED, serial="PL80-0002"))
    assert (view.state()["result"], view.state()["verdict"]) == (None, None)


def test_a_batch_is_counted_by_the_latest_judged_result_of_each_unit():
    """A unit that was judged is not unjudged by being given up."""
    results = [
        replace(RESULT, serial=serial, outcome=outcome)
        for serial, outcome in (
            ("a", Outcome.FAIL),
            ("b", Outcome.PASS),
            ("a", Outcome.PASS),
            ("a", None),
            ("c", None),
        )
    ]
    batch = batch_words(BATCH.batch, BATCH, results)
    assert (batch["name"], batch["expected"]) == (BATCH.batch, BATCH.expected)
    assert [batch[each] for each in ("measured", "passed", "failed", "held")] == [3, 2, 0, 1]
    assert batch_words("of units alone", None, [])["state"] == ""


def test_a_lost_meter_is_seen_and_comes_back(view):
    at_a_unit(view)
    view.show(Contact("meter", 10.0, NOON_S))
    view.show(Notice(Severity.STOP, Code.METER_LOST, NOON_S, facts={"said": "The meter gives no readings."}))
    state = view.state()
    assert (state["phase"], state["link"]["ok"]) == ("lost", False)
    assert [w["code"] for w in state["warnings"]] == ["meter.lost"]
    view.see(reading(None, 20.0), OHM)
    state = view.state()
    assert (state["phase"], state["link"]["ok"], state["warnings"]) == ("touch", True, [])


def test_what_stops_the_bench_is_heard_once(view):
    at_a_unit(view)
    for _ in range(3):
        view.show(Notice(Severity.STOP, Code.JOURNAL_UNUSABLE, NOON_S, facts={"said": "The disk is full."}))
    assert view.state()["phase"] == "stopped"
    assert cues(view).count(("attention", "Stop.")) == 1
    view.show(
        Notice(Severity.WARNING, Code.JOURNAL_USABLE, NOON_S, facts={"said": "It can be written again."})
    )
    assert view.state()["phase"] == "touch"


def test_volts_and_hold_on_the_meter_warn_until_they_are_gone(view):
    at_a_unit(view)
    view.see(reading(1.5, 1.0, quantity=Quantity.VOLTAGE_DC, flags=frozenset({Flag.HOLD})), OHM)
    assert {w["code"] for w in view.state()["warnings"]} == {"meter.function", "meter.hold"}
    assert view.state()["reading"]["text"] == "1.500 V"
    view.see(reading(1.5, 2.0), OHM)
    assert view.state()["warnings"] == []


def test_an_idle_bench_changes_nothing(view):
    """Open probes, second after second: nothing to send, so nothing is."""
    view.know(Facts(NOON_S))
    view.see(reading(None, 0.0), OHM)
    told_all(view)
    for second in range(1, 60):
        view.see(reading(None, float(second)), OHM)
        view.know(Facts(NOON_S + second))
    assert view.take_changes().keys() <= {"reading"}
    assert not view.cues
    assert not view.moving


def test_probes_that_still_lie_on_a_duty_that_is_done_are_to_be_lifted(view):
    """They do not read the first pair of the unit, though that is asked for."""
    at_a_unit(view)
    view.show(Prompt(Ask.SHORT_PROBES))
    view.see(reading(0.1, 1.0), OHM)
    view.show(Contact("meter", 1.0, NOON_S))
    view.show(settled(0.1, 2.0))
    view.show(ZERO)
    view.show(prompt())
    assert view.state()["phase"] == "lift"
    view.show(LiftOff("meter", 3.0, NOON_S))
    assert view.state()["phase"] == "touch"


def test_a_held_unit_keeps_no_red_cross(view):
    """Warm copper reads high: nothing has failed before it is measured cold."""
    at_a_unit(view)
    view.show(verdict(outcome=Outcome.FAIL))
    view.show(verdict(PLOVER.steps[1]))
    view.show(replace(RESULT, serial=SERIAL, outcome=None, ending=Ending.WARM, wait_s=600.0))
    first, second, *_ = view.state()["unit"]["steps"]
    assert (first["state"], first["outcome"], first["word"]) == ("held", None, "held")
    assert (second["state"], second["outcome"]) == ("done", "pass")


def test_a_unit_that_is_resumed_has_its_verdicts(view):
    started = UnitStarted("bench-1", SERIAL, PLOVER.name, "h", Purpose.FINAL, "", "me", NOON_S)
    view.resume([started, verdict().verdict])
    view.show(prompt(PLOVER.steps[1], done=1))
    state = view.state()
    assert [step["state"] for step in state["unit"]["steps"][:2]] == ["done", "asked"]
    assert state["verdict"]["step"] == FIRST.name


def test_another_sheet_is_another_face(view):
    view.on(PairTable(replace(PLOVER, latch="left")))
    assert view.changes["face"]["latch"] == "left"


def test_hostile_texts_stay_data(view):
    """They come out as they went in, and as JSON."""
    bad = '<img src=x onerror="alert(1)">\u2028\ud800'
    view.show(UnitStarted("bench-1", bad, PLOVER.name, "h", Purpose.FINAL, "", bad, NOON_S))
    view.show(Notice(Severity.WARNING, Code.NOTE, NOON_S, bad, facts={"note": bad}))
    assert view.state()["unit"]["serial"] == bad
    assert json.loads(json.dumps(view.state()))["notes"][0]["text"] == bad


def test_a_unit_that_comes_back_brings_its_steps(view):
    """After a scan taken for another unit by slip, and after giving up."""
    at_a_unit(view)
    view.show(verdict())
    before = view.state()["unit"]["steps"]
    view.show(UnitStarted("bench-1", "B", PLOVER.name, "h", Purpose.FINAL, "", "me", NOON_S))
    assert view.state()["unit"]["serial"] == "B"
    view.show(Notice(Severity.INFO, Code.UNIT_REOPENED, NOON_S, SERIAL))
    unit = view.state()["unit"]
    assert (unit["serial"], unit["steps"], unit["ended"]) == (SERIAL, before, False)


def test_a_scan_that_waits_for_a_yes_stands_as_a_question(view):
    at_a_unit(view)
    facts = {"next": "B", "done": 1, "total": 4}
    view.asks(Notice(Severity.WARNING, Code.UNIT_UNFINISHED, NOON_S, SERIAL, facts=facts), undoable=True)
    state = view.state()
    assert (state["question"]["next"], state["question"]["here"]) == ("B", SERIAL)
    assert state["undoable"]
    view.asks(None, undoable=False)
    assert view.state()["question"] is None
