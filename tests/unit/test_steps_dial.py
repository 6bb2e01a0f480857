"""A dial left on the wrong range costs a prompt, and never a verdict: every position, every kind of fault.

The peer is an obedient operator with a meter of 2000 counts whose range is turned by hand. He touches what is
asked for, presses Enter where he is told to or nothing happens, and turns the dial only when told, or turns
it back each time, as somebody does who uses the meter for other things between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import pytest

from acquire.conditions import Conditions, Temperature
from acquire.files.statements import ModelStatements
from acquire.pipeline import Pipeline
from acquire.records import (
    Ask,
    Circumstances,
    Code,
    ConfirmOpen,
    Judged,
    LeadZero,
    Notice,
    Outcome,
    Prompt,
    Purpose,
    StartUnit,
    StateRange,
    UnitResult,
    ZeroLeads,
)
from acquire.records.codes import Refusal, Why
from acquire.records.words import FAILING
from acquire.sheets import load_sheet
from acquire.words.prompts import asked
from drivers.models import load_model
from drivers.reading import Flag, Kind, Origin, Quantity, Ranging, Reading
from tests.pure_bench import CONFIGS

MODEL = load_model(CONFIGS / "meters" / "hand-2000.toml")
RANGES = [each.full_scale_si for each in MODEL.ranges_of(Quantity.RESISTANCE)]
LEAD_OHM = 0.2
SHEET = """
[sheet]
name = "Teal 3"
reference_temperature = "20 °C"

[connector]
rows = [["1", "2", "3"]]
core = "CORE"

[[winding]]
name = "low"
between = ["1", "2"]
resistance = "20.6 ohm"
acceptance = "15 %"

[[winding]]
name = "high"
between = ["2", "3"]
resistance = "441 ohm"
acceptance = "15 %"

[[step]]
name = "low"
pair = ["1", "2"]

[[step]]
name = "high"
pair = ["2", "3"]

[[step]]
name = "to core"
pair = ["1", "CORE"]
kind = "open"
open_above = "1 Mohm"
"""
GOOD = {("1", "2"): 20.6, ("2", "3"): 441.0, ("1", "CORE"): math.inf}
FAULTS = {
    "low open": {("1", "2"): math.inf},
    "low shorted": {("1", "2"): 9.0},
    "low joint": {("1", "2"): 900.0},
    "high open": {("2", "3"): math.inf},
    "high shorted": {("2", "3"): 150.0},
    "high touching": {("2", "3"): 0.0},
    "high joint": {("2", "3"): 5000.0},
    "ground": {("1", "CORE"): 0.3},
    "ground 900": {("1", "CORE"): 900.0},
    "ground 5k": {("1", "CORE"): 5000.0},
    "ground 150k": {("1", "CORE"): 150e3},
}


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    """Two windings that no one range of the meter serves, and a core."""
    path = tmp_path_factory.mktemp("sheet") / "teal.toml"
    path.write_text(SHEET, encoding="utf-8")
    return load_sheet(path)


@dataclass
class Bench:
    """A heart, a dial, and a person.

    Attributes:
        dial: full scale that it is on.
        frames: True where each frame names its range; else only the digits do, and an overload has none.
        back_to: where somebody turns the dial before each touch; None for nobody.
    """

    sheet: object
    dial: float
    frames: bool = True
    back_to: float | None = None
    now_s: float = 100.0
    conversion: int = 0
    events: list = field(default_factory=list)

    def __post_init__(self):
        place = Circumstances("b", Purpose.FINAL, self.sheet, "meter", MODEL.name, "m", "b", "test")
        conditions = Conditions(
            temperature=Temperature(20.0, 0.2, self.now_s), temperature_oldest_s=1e9, lead_wanted=True
        )
        self.heart = Pipeline(place, ModelStatements(MODEL), conditions, ranging=Ranging.DIAL)
        self.hold(None, 1.0)

    def hold(self, ohm, seconds):
        """The probes lie on something for a time; None is the air. Three conversions a second."""
        new = []
        for _ in range(round(3 * seconds)):
            self.now_s += 1 / 3
            self.conversion += 1
            new += self.heart.feed(self.reading(ohm))
            new += self.heart.tick(self.now_s, self.now_s)
        self.events += new
        return new

    def reading(self, ohm):
        full = self.dial
        count = full / 2000
        lies = math.inf if ohm is None else ohm + LEAD_OHM
        over = lies >= full
        shown = 0.0 if over else round(lies / count) * count
        told = self.frames
        return Reading(
            "meter",
            Quantity.RESISTANCE,
            Kind.OVERLOAD if over else Kind.VALUE,
            None if over else shown,
            self.now_s,
            self.now_s,
            self.conversion,
            full if told else None,
            count if told or not over else None,
            Origin.READ_BACK if told else Origin.UNKNOWN,
        )

    def command(self, command):
        new = self.heart.command(command, self.now_s, self.now_s)
        self.events += new
        return new

    @property
    def prompt(self):
        return self.of(Prompt)[-1]

    def of(self, kind):
        return [event for event in self.events if isinstance(event, kind)]

    def measure(self, values, serial="A1"):
        """One unit from serial to result."""
        self.command(StartUnit(serial))
        for _ in range(60):
            if self.prompt.ask is Ask.START_UNIT:
                return self.of(UnitResult)[-1]
            self.obey(values)
        raise AssertionError(asked(self.prompt))

    def obey(self, values):
        """Do what the prompt says, once."""
        if self.back_to is not None:
            self.dial = self.back_to
        self.turn(self.prompt.facts)
        if self.prompt.ask is Ask.SHORT_PROBES:
            self.hold(0.0, 4)
            self.turn(self.prompt.facts)
            self.hold(0.0, 4)
            self.hold(None, 2)
            return
        ohm = values[tuple(self.prompt.pair)]
        judged = len(self.of(Judged))
        for _ in range(2):
            self.hold(ohm, 5)
            if len(self.of(Judged)) == judged:
                self.turn(self.prompt.facts)
        for _ in range(2):  # as asked, twice
            if len(self.of(Judged)) == judged and ohm + LEAD_OHM >= self.dial:
                self.press(ohm)
        self.hold(None, 2)

    def press(self, ohm):
        for event in self.command(ConfirmOpen()):
            if isinstance(event, Notice) and event.code is Code.COMMAND_REFUSED and self.turn(event.facts):
                if event.facts["refusal"] == Refusal.RANGE_UNTOLD:
                    self.command(StateRange(self.dial))
                self.hold(ohm, 2)
        self.hold(ohm, 1)

    def turn(self, facts):
        """Turn the dial if told to, to a position that it has."""
        if "turn_ohm" not in facts:
            return False
        assert facts["turn_ohm"] in RANGES
        self.dial = facts["turn_ohm"]
        return True


@pytest.mark.parametrize("frames", [True, False])
@pytest.mark.parametrize("turned_back", [True, False])
@pytest.mark.parametrize("position", RANGES)
def test_no_dial_position_fails_a_good_unit(sheet, position, turned_back, frames):
    """Two units in a row: the second finds the dial where the first has left it."""
    bench = Bench(sheet, position, frames, position if turned_back else None)
    for serial in ("A1", "A2"):
        assert bench.measure(GOOD, serial).outcome is Outcome.PASS
    assert {judged.verdict.outcome for judged in bench.of(Judged)} == {Outcome.PASS}


@pytest.mark.parametrize("frames", [True, False])
@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("position", RANGES)
def test_no_dial_position_passes_a_bad_unit(sheet, position, fault, frames):
    """The step with the fault fails, and no other does, wherever the dial stood before each touch."""
    bench = Bench(sheet, position, frames, position)
    bad = {**GOOD, **FAULTS[fault]}
    result = bench.measure(bad)
    assert result.outcome in FAILING
    failed = {j.verdict.step for j in bench.of(Judged) if j.verdict.outcome is not Outcome.PASS}
    assert failed - {"warm check"} == {"to core" if fault.startswith("ground") else fault.split()[0]}


def test_the_prompt_names_a_range_that_the_dial_has(sheet):
    """After 20.6 ohm on 200 ohm, 441 ohm want the 2 kilohm range, in so many words."""
    bench = Bench(sheet, 200.0)
    bench.command(StartUnit("A1"))
    bench.hold(0.0, 5)
    bench.hold(None, 2)
    bench.hold(20.6, 5)
    bench.hold(None, 2)
    assert bench.prompt.facts["turn_ohm"] == 2000.0
    assert asked(bench.prompt) == "Turn the dial to 2 kΩ. Touch 2–3 (high)."
    bench.hold(441.0, 20)  # overload, and no word of Enter
    assert bench.prompt.why is not Why.SILENT
    assert len(bench.of(Judged)) == 1


def test_leads_are_not_zeroed_on_a_range_that_cannot_resolve_them(sheet):
    """The zero waits until the dial is on the range whose count shows leads."""
    bench = Bench(sheet, 2000.0)
    bench.command(ZeroLeads())
    bench.hold(0.0, 6)
    assert not bench.of(LeadZero)
    assert bench.prompt.facts["turn_ohm"] == 200.0
    bench.dial = 200.0
    bench.hold(0.0, 6)
    (zero,) = bench.of(LeadZero)
    assert zero.value_ohm == pytest.approx(LEAD_OHM, abs=0.05)


def test_where_an_overload_does_not_tell_its_range_somebody_must(sheet):
    """Enter, twice, on a dial of unknown range proves nothing; a word for where it stands does."""
    bench = Bench(sheet, 200.0, frames=False)
    bench.command(StartUnit("A1"))
    bench.hold(0.0, 5)
    bench.hold(None, 2)
    bench.hold(math.inf, 15)
    for _ in range(2):
        (notice, *_) = bench.command(ConfirmOpen())
        assert notice.facts["refusal"] == Refusal.RANGE_UNTOLD
        assert notice.facts["turn_ohm"] == 200.0
        bench.hold(math.inf, 1)
    assert not bench.of(Judged)
    bench.command(StateRange(200.0))
    bench.hold(math.inf, 2)
    bench.command(ConfirmOpen())
    assert [j.verdict.outcome for j in bench.of(Judged)] == [Outcome.FAIL]


def test_a_word_for_a_range_that_the_meter_has_not_is_refused(sheet):
    """The ranges that there are come with it."""
    bench = Bench(sheet, 200.0)
    bench.command(StartUnit("A1"))
    (notice,) = [e for e in bench.command(StateRange(5e3)) if isinstance(e, Notice)]
    assert notice.facts["refusal"] == Refusal.RANGE_ABSENT
    assert (notice.facts["lowest_ohm"], notice.facts["highest_ohm"]) == (200.0, 20e6)


def test_a_meter_that_ranges_by_itself_is_told_to_turn_nothing(sheet):
    """Its overload is on its top range; only where its frames show that a hand took over is it a dial."""
    bench = Bench(sheet, 200.0)
    bench.heart = Pipeline(bench.heart.place, bench.heart.meter, bench.heart.conditions, ranging=Ranging.AUTO)
    bench.command(StartUnit("A1"))
    bench.hold(0.0, 5)
    bench.hold(None, 2)
    bench.hold(20.6, 5)
    bench.hold(None, 2)
    assert "turn_ohm" not in bench.prompt.facts
    reading = bench.reading(None)
    by_hand = Reading(
        *[getattr(reading, name) for name in reading.__slots__][:10],
        flags_visible=frozenset({Flag.AUTO_RANGE}),
    )
    bench.events += bench.heart.feed(by_hand)
    assert bench.prompt.facts["turn_ohm"] == 2000.0
