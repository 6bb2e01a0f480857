"""Meter files: what they give, and what is said of a faulty one."""

import hashlib
from datetime import date
from pathlib import Path

import pytest

from acquire.physics.accuracy import half_width_si
from drivers.errors import ModelInvalid
from drivers.models import load_model
from drivers.reading import Quantity

FILES = sorted((Path(__file__).parents[2] / "configs" / "meters").glob("*.toml"))

GOOD = """\
name = "mine"
source = "manual, page 7"
window_celsius = [18.0, 28.0]

[calibration]
due = 2027-03-31
certificate = "C 12"

[[range]]
quantity = "resistance"
full_scale_si = 2000.0
resolution_si = 1.0
percent_of_reading = 0.8
counts = 3

[[range]]
quantity = "resistance"
full_scale_si = 200.0
resolution_si = 0.1
percent_of_reading = 0.8
counts = 5
limit_percent_per_kelvin = 10
source = "measured here"
"""


def written(folder, text):
    file = folder / "mine.toml"
    file.write_text(text, encoding="utf-8")
    return file


def faults(folder, text):
    with pytest.raises(ModelInvalid) as caught:
        load_model(written(folder, text))
    return caught.value.what


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_shipped_file_loads_and_says_its_source(file):
    model = load_model(file)
    assert model.name == file.stem
    assert model.source == "typical figures of its class, not of a particular product"
    for each in model.ranges:
        statement = model.in_use(each.quantity, each.full_scale_si, 0.0)
        assert half_width_si(statement, each.full_scale_si) >= each.resolution_si


def test_the_six_classes_are_shipped():
    hands = {f"hand-{counts}" for counts in (2000, 4000, 6000, 20000)}
    assert {file.stem for file in FILES} == {*hands, "bench-50000", "bench-6-digit"}


def test_counts_of_the_hand_meter_are_what_its_name_says():
    for stem, counts in (
        ("hand-2000", 2000),
        ("hand-4000", 4000),
        ("hand-6000", 6000),
        ("hand-20000", 20000),
        ("bench-50000", 50000),
    ):
        model = next(load_model(file) for file in FILES if file.stem == stem)
        for each in model.ranges_of(Quantity.RESISTANCE):
            assert each.full_scale_si / each.resolution_si == pytest.approx(counts)


def test_the_smallest_range_that_can_show_the_value_is_chosen(tmp_path):
    model = load_model(written(tmp_path, GOOD))
    assert model.holding(Quantity.RESISTANCE, 199.9).range_full_scale_si == 200.0
    assert model.holding(Quantity.RESISTANCE, -200.1).range_full_scale_si == 2000.0
    assert model.holding(Quantity.RESISTANCE, 2001.0) is None
    assert model.holding(Quantity.RESISTANCE_4W, 1.0) is None


def test_overrange_is_used_and_a_range_is_found_by_either_name(tmp_path):
    model = load_model(
        written(tmp_path, GOOD.replace("resolution_si = 0.1", "resolution_si = 0.1\noverrange_percent = 20"))
    )
    assert model.holding(Quantity.RESISTANCE, 239.0).range_full_scale_si == 200.0
    assert model.in_use(Quantity.RESISTANCE, 240.0, 0.0).range_full_scale_si == 200.0
    assert model.in_use(Quantity.RESISTANCE, 199.9, 0.0).range_full_scale_si == 200.0
    assert model.in_use(Quantity.RESISTANCE, 165.0, 0.0).range_full_scale_si == 200.0


def test_percentages_become_fractions(tmp_path):
    statement = load_model(written(tmp_path, GOOD)).in_use(Quantity.RESISTANCE, 200.0, 0.0)
    assert statement.fraction_of_reading == pytest.approx(0.008)
    assert statement.limit_per_kelvin == pytest.approx(0.1)
    assert half_width_si(statement, 100.0) == pytest.approx(0.8 + 0.5)
    assert statement.source == "measured here"


def test_a_calibration_is_read_with_the_day_it_falls_due(tmp_path):
    model = load_model(written(tmp_path, GOOD))
    assert (model.calibration.certificate, model.calibration.due) == ("C 12", date(2027, 3, 31))
    assert load_model(FILES[0]).calibration is None


def test_the_hash_is_that_of_the_bytes(tmp_path):
    file = written(tmp_path, GOOD)
    assert load_model(file).content_hash == hashlib.sha256(file.read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("change", "line", "sentence"),
    [
        (
            ("resolution_si = 0.1", "resolution_si = -0.1"),
            19,
            "range[2].resolution_si: Input should be greater than 0",
        ),
        (
            ('quantity = "resistance"', 'quantity = "ohms"'),
            10,
            "'ohms' is no quantity; allowed are resistance",
        ),
        (("counts = 3", "count = 3"), 14, "range[1].count: is not a key of meter files"),
        (("full_scale_si = 200.0\n", ""), 16, "range[2].full_scale_si: is missing"),
        (('source = "manual, page 7"\n', ""), 0, "source: is missing"),
        (("due = 2027-03-31", 'due = "soon"'), 6, "calibration.due: is no date"),
        (("full_scale_si = 200.0", "full_scale_si = 2000.0"), 0, "is given twice"),
        (("[18.0, 28.0]", "[28.0, 18.0]"), 0, "lower temperature first"),
        (("resolution_si = 1.0", "resolution_si = 3000"), 9, "must be smaller than full_scale_si"),
        (("percent_of_reading = 0.8\ncounts = 3", ""), 9, "no meter is exact"),
        (('name = "mine"', 'name = "My Meter"'), 1, "name:"),
        (("full_scale_si = 2000.0", "full_scale_si = nan"), 11, "full_scale_si"),
    ],
)
def test_a_fault_is_told_with_its_line(tmp_path, change, line, sentence):
    what = faults(tmp_path, GOOD.replace(*change, 1))
    told = next(each for each in what.splitlines() if sentence in each)
    place = f"mine.toml:{line}: " if line else "mine.toml: "
    assert place in told, told


def test_all_faults_are_told_at_once(tmp_path):
    what = faults(tmp_path, GOOD.replace("0.8", "-1").replace("counts = 5", "counts = 'five'"))
    assert len(what.splitlines()) == 3


def test_a_broken_file_a_missing_one_and_a_strange_one_are_told_in_a_sentence(tmp_path):
    assert "no valid TOML" in faults(tmp_path, "name = ")
    with pytest.raises(ModelInvalid, match="cannot be read"):
        load_model(tmp_path / "missing.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ModelInvalid, match="not UTF-8"):
        load_model(tmp_path / "binary.toml")


def test_every_key_of_a_range_is_explained_in_the_read_me():
    from drivers.models import MeterModel, RangeModel

    text = (FILES[0].parent / "README.md").read_text(encoding="utf-8")
    keys = {*RangeModel.model_fields, *MeterModel.model_fields} - {"ranges", "unused", "content_hash"}
    assert [key for key in sorted(keys) if f"`{key}`" not in text and f"`[{key}]`" not in text] == []


def test_a_file_with_the_key_of_earlier_ones_loads_and_says_where_it_stands(tmp_path):
    """That a meter can cancel thermal voltages says nothing of a reading; a misspelt key is still a fault."""
    old = GOOD.replace("percent_of_reading = 0.8", "percent_of_reading = 0.8\noffset_compensated = true")
    model = load_model(written(tmp_path, old))
    lines = old.splitlines()
    assert [lines[number - 1] for number in model.unused] == ["offset_compensated = true"] * 2
    assert model.ranges == load_model(written(tmp_path, GOOD)).ranges
    assert "misspelt" in faults(tmp_path, GOOD + "offset_compensation = true\n")


HAND = load_model(Path(__file__).resolve().parents[2] / "configs/meters/hand-2000.toml")
OHMS = Quantity.RESISTANCE


@pytest.mark.parametrize(
    ("full_scale", "value", "expected"),
    [(200.0, 20.6, 200.0), (2000.0, 20.6, 2000.0), (None, 20.6, 200.0), (None, 450.0, 2000.0)],
)
def test_the_range_in_use_is_what_is_stated(full_scale, value, expected):
    """Where the meter does not tell its range, the smallest that holds the value."""
    assert HAND.in_use(OHMS, full_scale, value).range_full_scale_si == expected


@pytest.mark.parametrize(
    ("quantity", "full_scale", "value"),
    [(OHMS, 321.0, 20.0), (Quantity.RESISTANCE_4W, None, 20.0), (OHMS, None, 1e9)],
)
def test_what_the_file_does_not_state_is_none(quantity, full_scale, value):
    """A range it has not, a function it has not, a value beyond all ranges."""
    assert HAND.in_use(quantity, full_scale, value) is None


def test_the_smallest_range_that_holds_a_value():
    """For choosing a range before measuring."""
    assert HAND.holding(OHMS, 0.0).range_full_scale_si == 200.0
    assert HAND.holding(OHMS, 250.0).range_full_scale_si == 2000.0
    assert HAND.holding(OHMS, 1e9) is None


@pytest.mark.parametrize(
    ("value", "resolution", "expected"),
    [
        (46.0, 1.0, 2000.0),
        (46.1, 0.1, 200.0),
        (46.0, 0.003, 200.0),
        (460.0, 0.1, 2000.0),
        (46.0, None, 200.0),
    ],
)
def test_a_range_that_is_not_told_is_known_by_its_count(value, resolution, expected):
    """46 where 46.1 could be sent is the coarser range; a count that no range has goes by the value."""
    assert HAND.in_use(OHMS, None, value, resolution).range_full_scale_si == expected
