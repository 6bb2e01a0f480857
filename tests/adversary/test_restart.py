"""A power cut changes nothing: what was asked, owed, typed and found goes on as if it had not been.

Each test is one line of "Seen" in issue 15: the same unit with a kill -9, and, where that tells, without one.
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from tests.adversary.benches import at, judged, read_again, scan, sound
from tests.adversary.record import is_held
from tests.waiting import wait_until

CHECK = '[check]\nresistor = "R1"\nvalue = "100 ohm"\nuncertainty = "20 mohm"\naction = "stop"\n'


def again(bench):
    """Killed and started again."""
    bench.kill()
    bench.start()


@pytest.mark.long
@pytest.mark.parametrize("ending", ["kill", "stop"])
def test_the_next_unit_is_asked_for_after_every_start(tmp_path, ending):
    """A bench that has measured a unit before asks for the next one, as a new bench does."""
    with at(tmp_path, "linnet") as (bench, hands):
        assert hands.measure(sound(hands, "A-1"))
        getattr(bench, ending)()
        bench.start()
        assert bench.until_asked("start_unit"), bench.ask
        assert hands.measure(sound(hands, "A-2"))


def test_the_lead_zero_that_was_asked_for_is_asked_for_again(tmp_path):
    """Killed at that request on a bench whose check standard stops it: both duties are still owed."""
    with at(tmp_path, "corrie", tables=CHECK, lead_ohm=0.4) as (bench, hands):
        unit = sound(hands)
        hands.place(unit)
        bench.type(unit.serial)
        wait_until(lambda: bench.journal.entries("unit_started"))
        assert bench.until_asked("short_probes")
        again(bench)
        assert hands.go_on(unit.serial), bench.ask
        kinds = [entry.kind for entry in bench.journal.entries("lead_zero", "check_standard", "verdict")]
        before = kinds[: kinds.index("verdict")]
        assert {"lead_zero", "check_standard"} <= set(before), f"judged without: {before}"
        for verdict in bench.journal.verdicts(unit.serial):
            assert verdict["lead_ohm"] == pytest.approx(0.4, abs=0.05)


def test_a_typed_temperature_lives_on_with_its_age(tmp_path):
    """35 degrees typed in; the bench file says 22: after a power cut it is 35 still, typed when it was."""
    with at(tmp_path, "linnet") as (bench, hands):
        bench.type(".temperature 35 °C")
        bench.type(".temperature 35 °C")  # 13 K from the bench file's: said once more, it is meant
        unit = sound(hands, room_celsius=35.0)
        scan(bench, hands, unit)
        judged(bench, hands, 1)
        again(bench)
        assert hands.go_on(unit.serial), bench.ask
        told = bench.journal.entries("verdict", serial=unit.serial)
        assert {entry.payload["winding_celsius"] for entry in told} == {35.0}
        typed = {round(entry.evidence["temperature_utc_s"], 3) for entry in told if entry.evidence}
        assert len(typed) == 1, "typed once, and that is its age"


@pytest.mark.long
@pytest.mark.parametrize("killed_after", [None, 1, 3, 6])
def test_a_unit_that_cools_is_held_with_a_restart_as_without(tmp_path, killed_after):
    """25 K warm and cooling by more than 2 K while it is measured."""
    with at(tmp_path, "plover") as (bench, hands):
        unit = sound(hands, kelvin=25.0)
        scan(bench, hands, unit)
        if killed_after:
            judged(bench, hands, killed_after)
            again(bench)
        result = hands.go_on(unit.serial)
        assert result, bench.ask
        assert is_held(result), result["outcome"]


@pytest.mark.long
def test_a_stator_killed_before_its_last_touch_gets_its_result(tmp_path):
    """Only the repetition of the first pair is missing."""
    with at(tmp_path, "quern") as (bench, hands):
        unit = sound(hands)
        scan(bench, hands, unit)
        judged(bench, hands, 6)
        assert bench.until_asked(("touch", "touch_again"), ("U", "V"))
        again(bench)
        result = hands.go_on(unit.serial)
        assert result, bench.ask
        assert result["outcome"] == "pass"


@pytest.mark.long
def test_the_warm_check_asks_for_the_pair_that_was_measured_first(tmp_path):
    """The longest time between two looks tells most; after a restart as well."""
    with at(tmp_path, "plover") as (bench, hands):
        unit = sound(hands)
        scan(bench, hands, unit)
        judged(bench, hands, 3)
        again(bench)
        assert hands.go_on(unit.serial), bench.ask
        touched = [frozenset((v["pin_a"], v["pin_b"])) for v in bench.journal.verdicts(unit.serial)]
        assert touched == [*(frozenset(pair) for _, pair, _ in hands.sheet.pairs), frozenset("12")]


@pytest.mark.long
def test_what_windings_have_in_common_is_known_as_well_after_a_restart(tmp_path):
    """The uncertainty of a balance does not grow by a power cut."""
    reach = {}
    for killed in (False, True):
        with at(tmp_path / str(killed), "quern") as (bench, hands):
            unit = sound(hands)
            scan(bench, hands, unit)
            if killed:
                judged(bench, hands, 3)
                again(bench)
            result = hands.go_on(unit.serial)
            assert result, bench.ask
            [balance] = result["balances"]
            reach[killed] = balance["expanded_deviation"]
    assert reach[True] == pytest.approx(reach[False], rel=0.3)


@pytest.mark.long
def test_a_batch_that_is_complete_is_told_so_once(tmp_path):
    """Two units, a restart in the second."""
    with at(tmp_path, "linnet") as (bench, hands):
        bench.type(".batch lot 7, 2 units")
        assert hands.measure(sound(hands, "A-1"))
        unit = sound(hands, "A-2")
        scan(bench, hands, unit)
        judged(bench, hands, 1, "A-2")
        again(bench)
        assert hands.go_on("A-2"), bench.ask
        time.sleep(0.5)
        assert bench.journal.codes().count("batch.complete") == 1


@pytest.mark.long
def test_attempts_are_numbered_on(tmp_path):
    """A value that fails is asked for once more; after a restart the second one is the second."""
    with at(tmp_path, "linnet") as (bench, hands):
        unit = sound(hands, scaled={"inner": 0.85})
        scan(bench, hands, unit)
        judged(bench, hands, 1)
        again(bench)
        judged(bench, hands, 2)
        told = bench.journal.verdicts(unit.serial)
        assert [(v["step"], v["attempt"]) for v in told[:2]] == [("inner", 1), ("inner", 2)]
        assert [v["counts"] for v in told[:2]] == [False, True]


@pytest.mark.long
def test_a_unit_that_began_under_another_purpose_does_not_go_on(tmp_path):
    """Incoming limits for one half and final ones for the other prove nothing: it ends as files changed."""
    with at(tmp_path, "linnet", purpose="incoming") as (bench, hands):
        unit = sound(hands)
        scan(bench, hands, unit)
        judged(bench, hands, 1)
        bench.kill()
        bench.write(purpose="final")
        bench.start()
        read_again(bench)
        bench.until_asked("start_unit")
        assert bench.ask[0] == "start_unit", "it goes on"
        result = bench.journal.result(unit.serial)
        assert result, "it has no end on record"
        assert (result["outcome"], result["ending"]) == (None, "files_changed")
        assert {v["purpose"] for v in bench.journal.verdicts(unit.serial)} == {"incoming"}


@pytest.mark.long
@pytest.mark.parametrize("file", ["bench", "meter"])
def test_a_unit_that_began_under_other_files_does_not_go_on(tmp_path, file):
    """The same of the bench file's limits of rest, and of the meter's accuracy."""
    with at(tmp_path, "linnet") as (bench, hands):
        own = bench.folder / "meter.toml"
        named = bench.file.read_text(encoding="utf-8").split('model = "')[1].split('"')[0]
        text = Path(named).read_text(encoding="utf-8")
        own.write_text(text, encoding="utf-8")
        bench.kill()
        bench.file.write_text(
            bench.file.read_text(encoding="utf-8").replace(named, str(own)), encoding="utf-8"
        )
        bench.start()
        unit = sound(hands)
        scan(bench, hands, unit)
        judged(bench, hands, 1)
        bench.kill()
        if file == "meter":
            own.write_text(
                text.replace("percent_of_reading = 0.01\n", "percent_of_reading = 0.5\n"), encoding="utf-8"
            )
        else:
            old = bench.file.read_text(encoding="utf-8")
            bench.file.write_text(
                old.replace('uncertainty = "1.00 K"', 'uncertainty = "0.10 K"'), encoding="utf-8"
            )
        bench.start()
        read_again(bench)
        bench.until_asked("start_unit")
        assert bench.ask[0] == "start_unit", "it goes on"
        assert bench.journal.result(unit.serial)["ending"] == "files_changed"


@pytest.mark.long
def test_what_was_skipped_stays_skipped(tmp_path):
    """A step left out before a power cut is not asked for after it, whatever the reason's words are."""
    with at(tmp_path, "linnet") as (bench, hands):
        unit = sound(hands)
        scan(bench, hands, unit)
        judged(bench, hands, 1)
        bench.type(".skip outer is left out: again")
        assert bench.until_asked(("touch", "touch_again"), ("1", "3"))
        again(bench)
        assert bench.until_asked(("touch", "touch_again"), ("1", "3")), bench.ask
        assert hands.go_on(unit.serial), bench.ask


@pytest.mark.long
def test_a_step_asked_for_again_is_asked_for_again(tmp_path):
    """`.again` before a power cut holds after it."""
    with at(tmp_path, "linnet") as (bench, hands):
        unit = sound(hands)
        scan(bench, hands, unit)
        judged(bench, hands, 2)
        hands.lift()
        bench.type(".again inner")
        assert bench.until_asked(("touch", "touch_again"), ("1", "2"))
        again(bench)
        assert bench.until_asked(("touch", "touch_again"), ("1", "2")), bench.ask
        assert hands.go_on(unit.serial), bench.ask
        told = [v["attempt"] for v in bench.journal.verdicts(unit.serial) if v["step"] == "inner"]
        assert told == sorted(set(told))
        assert len(told) >= 2


@pytest.mark.long
def test_an_open_pair_half_confirmed_is_not_confirmed_by_a_restart(tmp_path):
    """One key press before the power cut and one after it are two; the unit fails by the same entries."""
    told = {}
    for killed in (False, True):
        with at(tmp_path / str(killed), "linnet") as (bench, hands):
            unit = sound(hands)
            unit.values["inner"] = float("inf")
            scan(bench, hands, unit)
            hands.touch(bench.ask[1])
            time.sleep(0.6)
            bench.type("")
            bench.until_judged(1)
            if killed:
                again(bench)
            result = hands.go_on(unit.serial)
            assert result, bench.ask
            told[killed] = [
                (v["step"], v["outcome"], v["counts"], v["attempt"]) for v in bench.journal.verdicts()
            ]
            assert result["outcome"] == "fail"
    assert told[True] == told[False]
