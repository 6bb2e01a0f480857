"""The `[fixture]` table of a bench file: what hangs together, and faults by line."""

from dataclasses import replace

import pytest

from acquire.bench.fixture_setup import FixtureUnfit, sheet_for
from acquire.errors import FileInvalid
from acquire.files.duty_tables import Pairs
from acquire.files.settings import load_bench
from acquire.records import Pin
from acquire.sheets import load_sheet
from tests.whole_bench import bench_file

HIGH = "{ 1 = 101, 2 = 102, 3 = 103, 4 = 104, 5 = 105, 6 = 106, CORE = 107 }"
LOW = "{ 1 = 201, 2 = 202, 3 = 203, 4 = 204, 5 = 205, 6 = 206, CORE = 207 }"


def bench_with(folder, text):
    table = f"[fixture]\n{text}\n\n[temperature]"
    return load_bench(bench_file(folder, meter="tcp:127.0.0.1:9", changes=[("[temperature]", table)]))


def test_a_fixture_is_read_with_its_defaults(tmp_path):
    """Every pair, a card in the meter, one contact a pin."""
    fixture = bench_with(tmp_path, f"high = {HIGH}\nlow = {LOW}").fixture
    assert (fixture.high["CORE"], fixture.low["1"]) == (107, 201)
    assert (fixture.pairs, fixture.link, fixture.separate_contacts) == (Pairs.ALL, None, False)
    assert fixture.card_options == {}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"high = {HIGH}\nlow = {{ 1 = 201, 2 = 202 }}", "every bus must reach the same pins"),
        (f"high = {HIGH}\nlow = {HIGH}", "a channel is given twice"),
        (f"high = {HIGH}\nlow = {LOW}\nsense_low = {LOW}", "every bus must reach the same pins"),
        (f'high = {HIGH}\nlow = {LOW}\nzero_pin = "9"', "no channel is given for 9"),
        (f'high = {HIGH}\nlow = {LOW}\nstandard = ["1", "S2"]', "no channel is given for S2"),
        (f"high = {HIGH}\nlow = {LOW}\nstrong_current = true", "0.1 A in a winding must end"),
        (
            f'high = {HIGH}\nlow = {LOW}\nlink = "tcp:127.0.0.1:9"\ncurrent_off = "ABOR"',
            "must share its link",
        ),
        ("high = { 1 = 101 }\nlow = { 1 = 201 }", "high"),
        ('high = { 1 = "101", 2 = 102 }\nlow = { 1 = 201, 2 = 202 }', "high"),
        (f"high = {HIGH}\nlow = {LOW}\nspeed = 3", "speed"),
        (f"high = {HIGH}\nlow = {LOW}\noptions = {{ wait = 3 }}", "wait"),
        (f'high = {HIGH}\nlow = {LOW}\noptions = {{ close = "ROUT:CLOS" }}', "no place for"),
    ],
)
def test_what_does_not_hang_together_is_said_with_its_line(tmp_path, text, said):
    """Before anything is opened."""
    with pytest.raises(FileInvalid) as caught:
        bench_with(tmp_path, text)
    assert said in str(caught.value)
    assert all(fault.line for fault in caught.value.faults)


def test_currents_go_to_the_card(tmp_path):
    """With what it is told of its dialect."""
    text = (
        f'high = {HIGH}\nlow = {LOW}\nstrong_current = true\ncurrent_off = "ABOR"\ndischarge = "2 s"\n'
        "options = { settle_s = 0.05 }"
    )
    assert bench_with(tmp_path, text).fixture.card_options == {
        "current_off": "ABOR",
        "discharge_s": 2.0,
        "settle_s": 0.05,
    }


def test_a_sheet_with_a_pin_that_no_relay_reaches_is_refused(tmp_path):
    """By its name."""
    bench = bench_with(tmp_path, "high = { 1 = 101, 2 = 102 }\nlow = { 1 = 201, 2 = 202 }")
    with pytest.raises(FixtureUnfit, match="no channel for 3"):
        sheet_for(bench, load_sheet(bench.sheet))


def test_the_sheets_own_steps_can_be_all(tmp_path):
    """For a shop that wants no more than hands would measure."""
    bench = bench_with(tmp_path, f'high = {HIGH}\nlow = {LOW}\npairs = "sheet"')
    sheet = load_sheet(bench.sheet)
    assert sheet_for(bench, sheet) == sheet
    bench = bench_with(tmp_path, f"high = {HIGH}\nlow = {LOW}")
    assert len(sheet_for(bench, sheet).steps) == 21


def test_every_pair_of_very_many_pins_is_refused_before_it_fills_the_memory(tmp_path):
    """The core is one of them; the sheet's own steps are still measured."""
    channels = ", ".join(f"{pin} = {{0}}{pin:02}" for pin in range(1, 22))
    text = f"high = {{{{ {channels} }}}}".format(1) + f"\nlow = {{{{ {channels} }}}}".format(2)
    own = bench_with(tmp_path, f'{text}\npairs = "sheet"')
    sheet = load_sheet(own.sheet)
    wide = replace(sheet, pins=tuple(Pin(str(pin)) for pin in range(1, 22)), steps=sheet.steps[:1])
    assert sheet_for(own, wide) == wide
    with pytest.raises(
        FixtureUnfit, match=r"has 22 pins; every pair is measured of 20 at most\. Write pairs"
    ):
        sheet_for(bench_with(tmp_path, text), wide)
