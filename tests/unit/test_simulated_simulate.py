"""Bench files for simulated instruments: they load, and say of the simulation what it really is."""

import os

import pytest

from acquire.errors import InputImpossible
from acquire.files.settings import load_bench
from acquire.records import Purpose
from acquire.simulated.simulate import Simulated, become_simulation, simulated, with_page
from drivers.models import load_model
from drivers.reading import Ranging
from sim.switch_card import BusCard
from tests.known_units import UNIT_TYPES

METERS = ("bench-6-digit", "bench-50000", "hand-2000", "hand-4000", "hand-6000", "hand-20000")
WHERE = "tcp:127.0.0.1:9", "tcp:127.0.0.1:8"


def loaded(folder, text):
    file = folder / "bench.toml"
    file.write_text(text, encoding="utf-8")
    return load_bench(file)


@pytest.mark.parametrize("sheet", UNIT_TYPES)
@pytest.mark.parametrize("meter", METERS)
def test_any_sheet_and_any_meter_file_make_a_bench_file_that_loads(tmp_path, sheet, meter):
    """With a page; a hand meter's dial is turned, and of an ohm it says no more than continuous."""
    put = simulated(sheet, meter)
    bench = loaded(tmp_path, with_page(put.bench_text(*WHERE)))
    assert (bench.page is not None, bench.fixture) == (True, None)
    assert put.settable == (meter == "bench-6-digit")
    assert bench.low_ohms == ("tolerance" if put.settable else "continuity")
    assert (load_model(bench.meter.model).ranging is Ranging.DIAL) == (meter in ("hand-2000", "hand-20000"))


def test_a_sheet_of_ones_own_is_judged_as_wound_here_where_it_knows_no_wider_limits(tmp_path):
    """As the transformer is, which this shop winds itself."""
    own = tmp_path / "own.toml"
    own.write_text(
        '[sheet]\nname = "Own 1"\n[connector]\nrows = [["1", "2"]]\n[[winding]]\nname = "w"\n'
        'between = ["1", "2"]\nresistance = "441 ohm"\nacceptance = "5 %"\n',
        encoding="utf-8",
    )
    for sheet, purpose in (
        (str(own), Purpose.FINAL),
        ("fathom-7", Purpose.FINAL),
        ("quern-12", Purpose.INCOMING),
    ):
        put = simulated(sheet, "hand-2000")
        assert loaded(tmp_path, put.bench_text(*WHERE)).purpose is purpose


@pytest.mark.parametrize(
    ("sheet", "meter"), [("nowhere", "hand-2000"), ("./no.toml", "hand-2000"), ("plover-80", "x")]
)
def test_a_file_that_is_not_there_is_said_in_a_sentence(sheet, meter):
    """And what there is instead."""
    with pytest.raises(InputImpossible, match="There is no"):
        simulated(sheet, meter)


def test_a_pipe_that_nobody_reads_does_not_hold_up_the_start(tmp_path):
    """It is refused, like anything else that is no file."""
    pipe = tmp_path / "bench.toml"
    os.mkfifo(pipe)
    with pytest.raises(InputImpossible, match="is no file"):
        become_simulation(simulated("plover-80", "hand-2000"), pipe, faults=[], pace="quick", port=0, seed=1)


@pytest.mark.parametrize("sheet", UNIT_TYPES)
def test_a_fixture_is_wired_as_the_simulations_card_is(tmp_path, sheet):
    """Channel by channel, for every unit: the two sides share no code."""
    put: Simulated = simulated(sheet, "bench-6-digit")
    fixture = loaded(tmp_path, put.with_fixture(put.bench_text(*WHERE))).fixture
    card = BusCard(UNIT_TYPES[sheet].places(), 1, None, None)
    assert fixture.separate_contacts
    assert {n: p for p, n in fixture.high.items()} == card.high
    assert {n: p for p, n in fixture.low.items()} == card.low
