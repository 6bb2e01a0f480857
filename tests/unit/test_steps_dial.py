"""A dial left on the wrong range costs a prompt, and never a verdict: every position, every kind of fault.

The peer is the obedient person of `tests.hand_bench`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise, product
from pathlib import Path

import pytest

from acquire.choices import FAILING
from acquire.pipeline import Pipeline
from acquire.records import (
    ConfirmOpen,
    Judged,
    LeadZero,
    Notice,
    Outcome,
    Purpose,
    StartUnit,
    StateRange,
    ZeroLeads,
)
from acquire.records.codes import Refusal, Why
from acquire.sheets import load_sheet
from acquire.steps.dial import in_fewest_turns, reaching
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import expected_ohm
from acquire.words.prompts import asked
from drivers.models import load_model
from drivers.reading import Flag, Quantity, Ranging, Reading
from tests.hand_bench import LEAD_OHM, RANGES, Bench

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
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

SHORT = {(RANGES[0], False), (RANGES[-1], False), (RANGES[1], True)}
DIALS = [
    pytest.param(*each, marks=() if each in SHORT else pytest.mark.long)
    for each in product(RANGES, (False, True))
]
"""Where the dial stands, and whether frames name its range: without, overloads tell least."""


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    """Two windings that no one range of the meter serves, and a core."""
    path = tmp_path_factory.mktemp("sheet") / "teal.toml"
    path.write_text(SHEET, encoding="utf-8")
    return load_sheet(path)


@pytest.mark.parametrize(("position", "frames"), DIALS)
@pytest.mark.parametrize("turned_back", [True, False])
def test_no_dial_position_fails_a_good_unit(sheet, position, turned_back, frames):
    """Two units in a row: the second finds the dial where the first has left it."""
    bench = Bench(sheet, position, frames, position if turned_back else None)
    for serial in ("A1", "A2"):
        assert bench.measure(GOOD, serial).outcome is Outcome.PASS
    assert {judged.verdict.outcome for judged in bench.of(Judged)} == {Outcome.PASS}


@pytest.mark.parametrize(("position", "frames"), DIALS)
@pytest.mark.parametrize("fault", FAULTS)
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


def test_nobody_is_asked_for_a_key_while_the_dial_is_turned(sheet):
    """Probes off, five seconds at the dial: only then begins the time in which a touch should be felt."""
    bench = Bench(sheet, 200.0)
    bench.command(StartUnit("A1"))
    bench.hold(0.0, 5)
    bench.hold(None, 2)
    bench.hold(20.6, 5)
    bench.hold(None, 5)
    assert bench.prompt.facts["turn_ohm"] == 2000.0
    bench.dial = 2000.0
    bench.hold(None, 2.5)
    assert (bench.prompt.why, "turn_ohm" in bench.prompt.facts) == (Why.NONE, False)
    bench.hold(None, 1.5)
    assert bench.prompt.why is Why.SILENT


def test_of_a_meter_that_a_person_reads_off_nothing_is_felt(sheet):
    """However long nobody types: no touch is missed, and no key is asked for."""
    bench = Bench(sheet, 200.0)
    bench.command(StartUnit("A1"))
    bench.hold(0.0, 5)
    typed = replace(bench.reading(None), flags=frozenset({Flag.TYPED}))
    bench.events += bench.heart.feed(typed)
    bench.events += bench.heart.tick(bench.now_s + 20.0, bench.now_s + 20.0)
    assert bench.prompt.why is Why.NONE


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


def test_steps_come_in_the_order_that_turns_the_dial_least():
    """By range, the finest first, since the leads are zeroed there; as listed where the sheet says so."""
    sheet = load_sheet(CONFIGS / "sheets" / "plover-80.toml")
    meter = load_model(CONFIGS / "meters" / "hand-2000.toml")
    table, ranges = PairTable(sheet), meter.ranges_of(Quantity.RESISTANCE)

    def turns(steps):
        held = [
            reaching(
                ranges, expected_ohm(table, step, Purpose.FINAL, Quantity.RESISTANCE, meter)
            ).full_scale_si
            for step in steps
        ]
        return sum(a != b for a, b in pairwise(held))

    asked = in_fewest_turns(sheet, Purpose.FINAL, meter)
    assert turns(sheet.steps) == 3
    assert turns(asked.steps) == 1
    assert [step.name for step in asked.steps][-2:] == ["slow charge", "both charge windings"]
    assert {*asked.steps} == {*sheet.steps}
    assert in_fewest_turns(replace(sheet, keep_order=True), Purpose.FINAL, meter).steps == sheet.steps
