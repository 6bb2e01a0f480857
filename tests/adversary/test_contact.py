"""The rule of contact: no value counts for another pair, unit or duty until open probes were seen.

Probes that never move are a lie detector: whatever happens to link, meter or daemon, the next pair is not
judged. Each test ends with a touch as it should be, so that none passes because the bench stands still.
"""

from __future__ import annotations

import time

import pytest

from tests.adversary.benches import NOTHING_S, at, judged, long_form, read_again, scan, sound, steps_of
from tests.adversary.campaign import foreign_steps

ALIKE = """
[sheet]
name = "Alike"

[connector]
rows = [["1", "2", "3", "4"]]

[[winding]]
name = "one"
between = ["1", "2"]
resistance = "{one} ohm"
acceptance = "20 %"

[[winding]]
name = "two"
between = ["3", "4"]
resistance = "{two} ohm"
acceptance = "20 %"

[[step]]
name = "one"
pair = ["1", "2"]
wires = 2

[[step]]
name = "two"
pair = ["3", "4"]
wires = {wires}
"""


def cut(bench):
    """The link is gone for two seconds."""
    bench.instrument.drop(2.0)
    time.sleep(2.0)


def silence(bench):
    """The meter answers nothing for four seconds."""
    bench.instrument.hush(4.0)
    time.sleep(4.0)


def kill(bench):
    """The daemon is killed and started again."""
    bench.kill()
    bench.start()


def power(bench):
    """The meter is switched off and on."""
    bench.instrument.off()
    time.sleep(1.0)
    bench.instrument.on()


ACCIDENTS = [kill, *map(long_form, (cut, silence, power))]
between = pytest.mark.parametrize(
    "accident",
    [kill, None, cut, silence],
    ids=lambda deed: deed.__name__ if deed else "none",
)


def nothing_comes(bench, accident, verdicts):
    """After an accident with probes that lie still, no further verdict is on record."""
    accident(bench)
    read_again(bench)
    time.sleep(NOTHING_S)
    told = bench.journal.verdicts()
    assert steps_of(told) == steps_of(verdicts), f"judged from a touch of another pair: {steps_of(told)}"


@pytest.mark.parametrize("accident", ACCIDENTS, ids=lambda deed: deed.__name__)
@pytest.mark.parametrize("sheet", ["skerry", long_form("quern")])
def test_another_pair_is_not_judged_from_a_touch_that_lies_still(tmp_path, sheet, accident):
    """U–V touched once; V–W reads alike and must be touched by itself."""
    with at(tmp_path, sheet) as (bench, hands):
        scan(bench, hands, sound(hands))
        before = judged(bench, hands, 1)
        nothing_comes(bench, accident, before)
        told = [{verdict["pin_a"], verdict["pin_b"]} for verdict in judged(bench, hands, 2)]
        assert told == [set(pair) for _, pair, _ in hands.sheet.pairs[:2]]


@pytest.mark.long
def test_matched_secondaries_are_each_touched(tmp_path):
    """Fathom's S2 is not judged from S1's value, or their matching is perfect without being measured."""
    with at(tmp_path, "fathom") as (bench, hands):
        scan(bench, hands, sound(hands))
        before = judged(bench, hands, 3)
        nothing_comes(bench, cut, before)


@pytest.mark.long
@between
def test_the_next_unit_is_not_judged_from_a_touch_that_ended_the_one_before(tmp_path, accident):
    """The last touch of a unit says nothing of the next one, scanned while the probes lie there."""
    with at(tmp_path, "skerry") as (bench, hands):
        scan(bench, hands, sound(hands, "A-1"))
        judged(bench, hands, 4)
        assert bench.until_asked("start_unit")
        if accident:
            accident(bench)
            read_again(bench)
        bench.type("A-2")
        assert bench.until_asked(("touch", "short_probes"))
        time.sleep(NOTHING_S)
        assert bench.journal.verdicts("A-2") == []
        assert len(judged(bench, hands, 1, "A-2")) == 1


@pytest.mark.long
@between
def test_a_pair_touched_is_no_lead_zero(tmp_path, accident):
    """A zero asked for while the probes lie on a strap is not taken from the strap."""
    with at(tmp_path, "plover") as (bench, hands):
        scan(bench, hands, sound(hands))
        judged(bench, hands, 6)  # the last one is the earth strap: milliohms, as a short would read
        zeros = len(bench.journal.entries("lead_zero"))
        bench.type(".zero")
        assert bench.until_asked("short_probes")
        if accident:
            accident(bench)
            read_again(bench)
        time.sleep(NOTHING_S)
        assert len(bench.journal.entries("lead_zero")) == zeros, "zeroed on the strap"


@pytest.mark.long
@between
def test_the_known_resistor_is_no_winding(tmp_path, accident):
    """A resistor that reads like the first pair, still held after its check, is not that pair."""
    tables = '[check]\nresistor = "R1"\nvalue = "18.8 ohm"\nuncertainty = "20 mohm"\naction = "warn"\n'
    with at(tmp_path, "skerry", tables=tables) as (bench, hands):
        bench.probes.standard_ohm = 18.8
        unit = sound(hands)
        hands.place(unit)
        bench.type(unit.serial)
        held = None
        for _ in range(4):
            assert bench.until_asked(("short_probes", "check_resistor", "touch"))
            held = {"short_probes": "short", "check_resistor": "standard"}.get(bench.ask[0])
            if held is None:
                break
            hands.lift()
            hands.touch(held)
            kind = bench.ask[0]
            bench.ear.until(lambda state, kind=kind: (state.get("ask") or {}).get("kind") != kind)
        assert bench.probes.touch.on == "standard"
        if accident:
            accident(bench)
            read_again(bench)
        time.sleep(NOTHING_S)
        assert bench.journal.verdicts() == []
        assert len(judged(bench, hands, 1)) == 1


@pytest.mark.long
@pytest.mark.parametrize(
    ("one", "two", "wires"), [long_form("96", "104", 2), ("47", "47", 4)], ids=["range", "function"]
)
def test_a_meter_set_anew_has_lifted_nothing(tmp_path, one, two, wires):
    """The next step wants another range, or four wires; probes that have not moved say nothing of it."""
    file = tmp_path / "alike.toml"
    file.write_text(ALIKE.format(one=one, two=two, wires=wires), encoding="utf-8")
    with at(tmp_path, file, meter="") as (bench, hands):
        scan(bench, hands, sound(hands, scaled={"one": 1.04, "two": 0.96} if one != two else None))
        judged(bench, hands, 1)
        assert bench.until_asked(("touch", "touch_again"), ("3", "4"))
        read_again(bench)
        time.sleep(NOTHING_S)
        assert steps_of(bench.journal.verdicts()) == ["one"]
        assert steps_of(judged(bench, hands, 2)) == ["one", "two"]


@pytest.mark.long
@pytest.mark.parametrize("air_s", [0.0, 0.03])
def test_probes_that_slide_to_the_next_pair_revise_no_verdict_of_the_one_before(tmp_path, air_s):
    """V–W reads 3 % less than U–V, and no open probes are seen between: U–V keeps its own value."""
    with at(tmp_path, "skerry") as (bench, hands):
        unit = sound(hands, scaled={"phase W": 0.97})
        scan(bench, hands, unit)
        judged(bench, hands, 1)
        assert bench.until_asked(("touch", "touch_again"))
        hands.lift(air_s)
        hands.touch(bench.ask[1])
        time.sleep(NOTHING_S)
        assert foreign_steps(bench.journal, unit.serial, bench.probes.log)[0] == ()


@pytest.mark.long
@pytest.mark.parametrize("on", ["short", ("U", "V")], ids=["short", "pair"])
def test_whoever_holds_probes_that_do_not_count_is_told_to_lift_them(tmp_path, on):
    """Down before the bench was started, and held: soon a request or notice says what to do."""
    with at(tmp_path, "skerry") as (bench, hands):
        unit = sound(hands)
        if on != "short":
            scan(bench, hands, unit)
        bench.kill()
        hands.place(unit)
        hands.touch(on)
        bench.start()
        if on == "short":
            bench.type(unit.serial)
        before = bench.journal.count()

        def told(state):
            notes = [note["code"] for note in state.get("notes") or ()]
            kind = (state.get("ask") or {}).get("kind")
            return (
                kind == "lift"
                or "probes.not_lifted" in notes
                or bench.journal.count() > before + (on == "short")
            )

        assert bench.ear.until(told, within_s=8.0), bench.ask
        hands.lift(0.4)
        if bench.ask[0] != "start_unit":
            assert hands.go_on(unit.serial), bench.ask


@pytest.mark.long
def test_a_hurried_hand_that_shows_no_open_probes_is_asked_again(tmp_path):
    """Probes that move within one conversion: a pair is judged by its own value, or not at all."""
    with at(tmp_path, "linnet") as (bench, hands):
        unit = sound(hands)
        scan(bench, hands, unit)
        judged(bench, hands, 1)
        assert bench.until_asked(("touch", "touch_again"), ("2", "3"))
        hands.touch(("2", "3"))  # without any air
        time.sleep(NOTHING_S)
        for verdict in bench.journal.verdicts()[1:]:
            truth_ohm = unit.reference_ohm((verdict["pin_a"], verdict["pin_b"]))
            assert abs(verdict["reference_ohm"] - truth_ohm) < 0.01 * truth_ohm
