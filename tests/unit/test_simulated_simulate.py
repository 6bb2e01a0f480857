"""Bench files for simulated instruments: they load, and say of the simulation what it really is."""

import pytest

from acquire.files.settings import load_bench
from acquire.simulated.simulate import SHEETS, bench_text, with_fixture, with_page
from sim.bus_card import BusCard
from sim.units import UNIT_TYPES


@pytest.mark.parametrize("scene", SHEETS)
def test_the_template_makes_a_bench_file_that_loads(tmp_path, scene):
    """With a page and a fixture on request."""
    file = tmp_path / "bench.toml"
    text = bench_text("tcp:127.0.0.1:9", "tcp:127.0.0.1:8", scene)
    file.write_text(text, encoding="utf-8")
    assert load_bench(file).fixture is None
    file.write_text(with_page(with_fixture(text, scene)), encoding="utf-8")
    bench = load_bench(file)
    assert bench.page is not None
    assert bench.fixture.separate_contacts


@pytest.mark.parametrize("scene", SHEETS)
def test_a_fixture_is_wired_as_the_simulations_card_is(tmp_path, scene):
    """Channel by channel, for every scene: the two sides share no code."""
    file = tmp_path / "bench.toml"
    text = bench_text("tcp:127.0.0.1:9", "tcp:127.0.0.1:8", scene)
    file.write_text(with_fixture(text, scene), encoding="utf-8")
    fixture = load_bench(file).fixture
    card = BusCard(UNIT_TYPES[scene].places(), 1, None, None)
    assert {n: p for p, n in fixture.high.items()} == card.high
    assert {n: p for p, n in fixture.low.items()} == card.low
