"""A bench without a cable: the whole guided flow from what somebody reads off a display and types."""

from __future__ import annotations

import pytest

from drivers.decode import decoder_of
from drivers.frame import FrameRefused
from drivers.handheld.typed import Unclear
from drivers.reading import Flag, Kind
from tests.scene.test_links_conformance import run_kit
from tests.unit.test_steps_dial import SHEET
from tests.whole_bench import CONFIGS, csv_rows, journal_entries, running

BENCH = """
[bench]
name = "bench-7"
purpose = "final"
sheet = "teal.toml"

[meter]
driver = "typed"
model = "{model}"

[temperature]
source = "typed"
value = "20 °C"
uncertainty = "0.5 K"

[journal]
folder = "journal"

[csv]
folder = "csv"
per = "day"
"""
VECTORS = [
    {"name": "whole ohms", "text": "441", "quantity": "resistance", "value": 441.0},
    {"name": "a comma", "text": "20,6", "quantity": "resistance", "value": 20.6},
    {"name": "kilo", "text": "0.44k", "quantity": "resistance", "value": 440.0},
    {"name": "with its unit", "text": "0.44 kohm", "quantity": "resistance", "value": 440.0},
    {"name": "mega", "text": "1.2M", "quantity": "resistance", "value": 1.2e6},
    {"name": "overload", "text": "OL", "quantity": "resistance", "kind": "overload"},
    {"name": "overload on a range", "text": "OL 2k", "quantity": "resistance", "kind": "overload"},
    {"name": "milli or mega", "text": "0.5m", "refused": True},
    {"name": "decimals or thousands", "text": "1,234", "refused": True},
    {"name": "a lone one", "text": "1", "refused": True},
    {"name": "a serial", "text": "P80-0001", "refused": True},
]


@pytest.fixture
def file(tmp_path):
    """A bench file of a meter of 2000 counts that nobody can plug in."""
    (tmp_path / "teal.toml").write_text(SHEET, encoding="utf-8")
    path = tmp_path / "bench.toml"
    path.write_text(BENCH.format(model=CONFIGS / "meters" / "hand-2000.toml"), encoding="utf-8")
    return path


def test_what_is_typed_keeps_what_every_driver_must(tmp_path):
    """The conformance kit, with what hands really type."""
    done = run_kit("typed", VECTORS, tmp_path)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(
    ("text", "resolution"), [("441", 1.0), ("20,6", 0.1), ("0.44k", 10.0), ("1.20M", 1e4)]
)
def test_the_resolution_is_that_of_the_digits(text, resolution):
    """As the display shows it."""
    assert decoder_of("typed", {}).decode(text.encode()).resolution_si == pytest.approx(resolution)


def test_an_overload_may_carry_its_range():
    """ "OL 2k" is beyond 2 kilohm; "OL" alone is beyond nobody knows what."""
    protocol = decoder_of("typed", {})
    told, untold = (protocol.decode(text) for text in (b"OL 2k", b"0L"))
    assert (told.kind, told.range_full_scale_si) == (Kind.OVERLOAD, 2e3)
    assert (untold.kind, untold.range_full_scale_si) == (Kind.OVERLOAD, None)
    assert Flag.TYPED in told.flags


def test_what_may_mean_two_things_names_both():
    """So that whoever asks can ask for the one that is meant."""
    protocol = decoder_of("typed", {})
    with pytest.raises(Unclear) as unclear:
        protocol.decode(b"1,234")
    assert unclear.value.meanings == (1.234, 1234.0)
    with pytest.raises(FrameRefused):
        protocol.decode(b"4k7")


def test_a_unit_is_measured_judged_and_recorded_by_typing(file):
    """Leads, dial, pairs, an ambiguous word, an open pair: one unit from serial to result."""
    with running(file) as bench:
        bench.type("A1")
        bench.until("Hold the probes together")
        bench.type(".read 0.2")
        bench.until("Touch 1–2")
        bench.type(".read 20,8")
        bench.until("20,8: 20.8 Ω")
        bench.until("Turn the dial to 2 kΩ. Touch 2–3")
        bench.type(".read 0.44m")
        bench.until("milliohms or megohms")
        bench.type(".read OL")
        bench.until("does not tell which range")
        bench.type(".read 441")
        bench.until("Turn the dial to 2 MΩ. Touch 1–CORE")
        bench.type(".read OL")
        bench.until("dial to 2 MΩ and")
        bench.type(".read OL 2M")
        bench.until("2–3 (warm check)")
        bench.type(".read 441")
        bench.until("not tested")
        code, output = bench.end()
    assert code == 0, output
    verdicts = journal_entries(file.parent, "verdict")
    assert [v.payload["outcome"] for v in verdicts] == ["pass"] * 4, output
    assert [v.payload["basis"] for v in verdicts] == ["typed", "typed", "open_by_key", "repeated"]
    rows = csv_rows(file.parent)
    assert {row["meter_id"] for row in rows} == {"typed"}
    (unit,) = journal_entries(file.parent, "unit_result")
    assert unit.payload["outcome"] == "pass"
