"""A study's work: whose turn, which part, leads first, wrong pairs named, slips undone, values never told."""

from dataclasses import replace

import pytest

from acquire.conditions import Conditions, Temperature
from acquire.heart.standstill import BytesUnread
from acquire.records import (
    Ask,
    Circumstances,
    Code,
    ConfirmOpen,
    GiveUpUnit,
    LeadZero,
    MeasureAgain,
    Note,
    Notice,
    Prompt,
    Purpose,
    Refusal,
    Settled,
    StartUnit,
    TypeTemperature,
    Why,
    ZeroLeads,
)
from acquire.sheets import load_sheet
from acquire.study.record import plan_of
from acquire.study.work import Finished, MeasurementTaken, StudyWork, TakenBack
from acquire.words.notices import said
from drivers.models import load_model
from tests.pure_bench import CONFIGS, shown

TRUE = {"1": 202.0, "2": 203.5, "3": 201.0}


class Bench:
    """A study of the slow charge with ideal hands and a meter without noise to speak of."""

    def __init__(self, step="slow charge", operators=("ann", "bo"), trials=2, taken=(), temperature=True):
        sheet = load_sheet(CONFIGS / "sheets" / "plover-80.toml")
        sheet = replace(sheet, steps=tuple(s for s in sheet.steps if s.name == step))
        model = load_model(CONFIGS / "meters" / "bench-6-digit.toml")
        self.now_s, self.conversion = 100.0, 0
        air = Temperature(20.0, 0.2, self.now_s) if temperature else None
        self.plan = plan_of(list(TRUE), operators, trials, 4)
        self.work = StudyWork(
            Circumstances("bench-1", Purpose.FINAL, sheet, "meter", model.name, "m", "b", "test"),
            model,
            Conditions(temperature=air, temperature_max_age_s=1e9),
            self.plan,
            set(taken),
            four_wire_below_ohm=10.0,
        )
        self.happened = []
        self.tick()

    def tick(self):
        self.happened += self.work.tick(self.now_s, self.now_s)

    def read(self, ohm):
        self.now_s += 0.1
        self.conversion += 1
        new = self.work.feed(shown(self.work.wanted, ohm, self.conversion, self.now_s))
        self.happened += new
        return new

    def hold(self, ohm, seconds=3.0, air=10):
        """Touch, hold, lift; gives everything that happened."""
        new = []
        for _ in range(round(seconds * 10)):
            new += self.read(ohm)
        for _ in range(air):
            new += self.read(None)
        return new

    def command(self, command):
        new = self.work.command(command, self.now_s)
        self.happened += new
        return new

    @property
    def prompt(self):
        return self.of(Prompt)[-1]

    def of(self, kind):
        return [each for each in self.happened if isinstance(each, kind)]

    def here(self):
        """The operator takes the probes and zeroes the leads."""
        self.command(ConfirmOpen())
        if self.prompt.ask is Ask.SHORT_PROBES:
            self.hold(0.0)

    def touch(self, off=0.0, **how):
        """Touch the part that is asked for."""
        return self.hold(TRUE[self.plan.name_of(self.prompt.serial)] + off, **how)

    def ohms(self):
        return {each.turn.number: each.measurement.reference_ohm for each in self.of(MeasurementTaken)}


def notices(happened):
    return [each for each in happened if isinstance(each, Notice)]


def refusal(happened):
    (notice,) = notices(happened)
    return notice.facts["refusal"]


def test_a_whole_study_is_measured_in_the_order_of_the_plan():
    bench = Bench()
    while not bench.of(Finished):
        if bench.prompt.ask is Ask.WAIT:
            bench.here()
        bench.touch()
    assert [each.turn for each in bench.of(MeasurementTaken)] == list(bench.plan.turns)
    for turn in bench.plan.turns:
        assert bench.ohms()[turn.number] == pytest.approx(TRUE[bench.plan.name_of(turn.label)], abs=0.01)
    assert len(bench.of(LeadZero)) == 4
    assert bench.prompt.why is Why.DONE


def test_no_value_at_rest_comes_out():
    """Else people measure until it suits."""
    bench = Bench()
    bench.here()
    bench.touch()
    assert not bench.of(Settled)
    texts = [said(each) for each in notices(bench.happened)]
    assert not any("202." in text or "203." in text or "201." in text for text in texts)


def test_nothing_is_taken_before_the_operator_has_pressed_enter():
    bench = Bench()
    first = bench.plan.turns[0].operator
    assert (bench.prompt.ask, bench.prompt.facts["round"]) == (Ask.WAIT, 1)
    assert bench.prompt.facts["operator"] == first
    told = notices(bench.hold(202.0))
    assert [(each.code, each.facts["operator"]) for each in told] == [("study.turn", first)]
    assert not bench.of(MeasurementTaken)


def test_the_next_operator_must_say_that_the_probes_are_handed_over():
    bench = Bench()
    bench.here()
    for _ in TRUE:
        bench.touch()
    assert len(bench.of(MeasurementTaken)) == 3
    assert bench.prompt.ask is Ask.WAIT
    bench.hold(202.0)
    assert len(bench.of(MeasurementTaken)) == 3
    bench.here()
    bench.touch()
    assert len(bench.of(MeasurementTaken)) == 4


def test_leads_are_zeroed_by_each_operator_but_not_with_four_wires():
    bench = Bench(step="lighting")
    bench.here()
    assert bench.prompt.ask is Ask.TOUCH
    assert not bench.of(LeadZero)


def test_leads_that_read_otherwise_in_other_hands_are_no_warning():
    bench = Bench()
    bench.here()
    for _ in TRUE:
        bench.touch()
    bench.command(ConfirmOpen())
    new = bench.hold(0.4)
    assert [each for each in new if isinstance(each, LeadZero)]
    assert notices(new) == []


def test_a_wrong_pair_is_named_and_not_taken():
    bench = Bench()
    bench.here()
    told = notices(bench.hold(248.69))
    assert told[0].code == "pair.other"
    assert not bench.of(MeasurementTaken)
    bench.touch()
    assert len(bench.of(MeasurementTaken)) == 1


def test_a_part_beyond_its_limits_is_a_part_like_any_other():
    """A study wants parts from all over the tolerance, and a bit beyond; nothing is asked for twice."""
    bench = Bench()
    bench.here()
    bench.touch(off=-20.0)
    assert len(bench.of(MeasurementTaken)) == 1


def test_the_same_part_touched_again_at_once_is_not_the_next_one():
    bench = Bench()
    bench.here()
    bench.touch(air=5)
    told = notices(bench.touch())
    assert [(each.code, each.facts) for each in told] == [("study.too_soon", {"part": bench.prompt.serial})]
    assert len(bench.of(MeasurementTaken)) == 1
    bench.touch()
    assert len(bench.of(MeasurementTaken)) == 2


def test_a_held_contact_is_taken_once():
    bench = Bench()
    bench.here()
    bench.touch(seconds=20.0)
    assert len(bench.of(MeasurementTaken)) == 1


def test_a_value_that_moves_on_under_the_same_touch_is_revised():
    bench = Bench()
    bench.here()
    turn = bench.work.turn
    ohm = TRUE[bench.plan.name_of(turn.label)]
    for _ in range(25):
        bench.read(ohm + 1.5)
    for _ in range(60):
        bench.read(ohm)
    assert [each.revised for each in bench.of(MeasurementTaken)] == [False, True]
    assert bench.ohms()[turn.number] == pytest.approx(ohm, abs=0.01)
    assert bench.of(MeasurementTaken)[1].turn == turn


def test_a_label_picks_the_part_that_is_measured_next():
    bench = Bench()
    bench.here()
    third = bench.plan.turns[2]
    bench.command(StartUnit(third.label.lower()))
    assert bench.prompt.serial == third.label
    bench.touch()
    assert bench.of(MeasurementTaken)[0].turn == third
    assert bench.prompt.serial == bench.plan.turns[0].label


def test_a_label_that_does_not_wait_is_refused():
    bench = Bench()
    bench.here()
    bench.touch()
    done = bench.of(MeasurementTaken)[0].turn
    assert refusal(bench.command(StartUnit(done.label))) == Refusal.STUDY_OTHER_PART
    assert refusal(bench.command(StartUnit("zz"))) == Refusal.STUDY_OTHER_PART


def test_the_last_one_can_be_taken_back_and_is_asked_for_again():
    bench = Bench()
    bench.here()
    bench.touch(off=1.0)
    first = bench.of(MeasurementTaken)[0].turn
    assert bench.command(MeasureAgain(None))[0] == TakenBack(first)
    assert bench.prompt.serial == first.label
    bench.touch()
    assert bench.ohms()[first.number] == pytest.approx(TRUE[bench.plan.name_of(first.label)], abs=0.01)
    assert bench.prompt.serial == bench.plan.turns[1].label


def test_the_last_of_a_round_can_be_taken_back_by_the_same_hands():
    bench = Bench()
    bench.here()
    for _ in TRUE:
        bench.touch()
    assert bench.prompt.ask is Ask.WAIT
    bench.command(MeasureAgain(None))
    assert bench.prompt.ask is Ask.TOUCH
    assert bench.prompt.facts["operator"] == bench.plan.turns[2].operator
    bench.touch()
    assert bench.prompt.ask is Ask.WAIT


def test_an_earlier_one_of_the_round_can_be_taken_back_by_its_label():
    bench = Bench()
    bench.here()
    bench.touch()
    bench.touch()
    first = bench.of(MeasurementTaken)[0].turn
    bench.command(MeasureAgain(first.label.lower()))
    assert bench.prompt.serial == first.label


def test_nothing_can_be_taken_back_before_anything_was_measured():
    bench = Bench()
    assert refusal(bench.command(MeasureAgain(None))) == Refusal.STUDY_NOTHING_TAKEN
    assert notices(bench.command(MeasureAgain("QQ")))


def test_a_study_goes_on_behind_what_is_measured():
    bench = Bench(taken=(1, 2, 4))
    assert bench.work.turn.number == 3
    assert (bench.prompt.steps_done, bench.prompt.steps_total) == (3, 12)
    bench.here()
    bench.touch()
    assert bench.of(MeasurementTaken)[0].turn.number == 3


def test_a_finished_study_asks_for_nothing():
    bench = Bench(taken=range(1, 13))
    assert bench.prompt.why is Why.DONE
    assert bench.hold(202.0)[-1:] != [Finished()]
    for command in (ConfirmOpen(), StartUnit("AC")):
        assert notices(bench.command(command))


def test_without_a_temperature_values_wait_and_a_typed_one_helps():
    bench = Bench(temperature=False)
    bench.here()
    assert notices(bench.touch())[0].code == "temperature.missing"
    assert not bench.of(MeasurementTaken)
    bench.command(TypeTemperature(21.0, 0.5))
    bench.touch()
    assert len(bench.of(MeasurementTaken)) == 1


def test_leads_can_be_zeroed_at_any_time():
    bench = Bench()
    bench.here()
    bench.command(ZeroLeads())
    assert bench.prompt.ask is Ask.SHORT_PROBES
    bench.hold(0.0)
    assert len(bench.of(LeadZero)) == 2
    assert bench.prompt.ask is Ask.TOUCH


def test_remarks_are_shown_and_what_has_no_place_is_refused():
    bench = Bench()
    assert notices(bench.command(Note("a draught")))[0].facts == {"note": "a draught"}
    assert refusal(bench.command(GiveUpUnit("tired"))) == Refusal.STUDY_NO_PLACE
    bench.here()
    assert refusal(bench.command(ConfirmOpen())) == Refusal.STUDY_NOT_WAITING


def test_a_lost_link_voids_what_was_settling():
    bench = Bench()
    bench.here()
    for _ in range(5):
        bench.read(202.0)
    bench.work.link_lost()
    for _ in range(5):
        bench.read(None)
    assert not bench.of(MeasurementTaken)
    bench.touch()
    assert len(bench.of(MeasurementTaken)) == 1


def test_one_operator_is_asked_for_in_each_round():
    bench = Bench(operators=("ann",))
    bench.here()
    for _ in TRUE:
        bench.touch()
    assert (bench.prompt.ask, bench.prompt.facts["round"]) == (Ask.WAIT, 2)
    assert bench.prompt.facts["operator"] == "ann"


# ---------------------------------------------------------------------- never silent


def watched(bench, seconds, each):
    """Time passes, with ticks; `each` is called every tenth of a second. Gives the notices."""
    before = len(bench.happened)
    for number in range(round(seconds * 10)):
        each(number)
        if number % 3 == 0:
            bench.tick()
    return [event for event in bench.happened[before:] if isinstance(event, Notice)]


def test_a_study_says_why_nothing_happens_and_shows_no_value():
    """Bytes that are no reading; a contact that never comes to rest; a meter that falls silent."""
    bench = Bench()
    bench.command(ConfirmOpen())
    bench.hold(0.1, 3.0)

    def garbled(_number):
        bench.now_s += 0.1
        bench.work.told_of_meter(BytesUnread(b"2.0E+02,+0", "2 fields instead of 1", bench.now_s))

    (unread,) = watched(bench, 7.0, garbled)
    assert (unread.code, unread.facts["text"]) == (Code.METER_UNREAD, "2.0E+02,+0")

    told = watched(bench, 30.0, lambda number: bench.read(150.0 + number))
    (unsettled,) = [notice for notice in told if notice.code is Code.METER_UNSETTLED]
    assert "ohm" not in unsettled.facts
    assert said(unsettled).startswith("The contact has not settled for 20 s: it moves by")

    def silence(_number):
        bench.now_s += 0.1

    bench.hold(None, 1.0)
    assert [notice.code for notice in watched(bench, 20.0, silence)] == [Code.METER_SILENT]


def test_a_value_in_doubt_is_no_measurement():
    """A contact that crept until the probes left: its U does for a verdict; the next touch is taken."""
    bench = Bench()
    bench.here()
    for place in range(45):
        bench.read(TRUE[bench.plan.name_of(bench.prompt.serial)] + 0.9 * 0.98**place)
    for _ in range(10):
        bench.read(None)
    assert not bench.of(MeasurementTaken)
    bench.touch()
    assert len(bench.of(MeasurementTaken)) == 1
