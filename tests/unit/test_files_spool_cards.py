"""Spool cards from a file: what they give, and what is said of a faulty one."""

from pathlib import Path

import pytest

from acquire.errors import FileInvalid
from acquire.files.spool_cards import read_spools

SHIPPED = Path(__file__).parents[2] / "configs" / "wire" / "spools.toml"
GOOD = '[[spool]]\nname = "A"\nsample_m = 10\nsample_ohm = 13.61\ncelsius = 20.0\nu_ohm = 0.005\n'


def read(tmp_path, text):
    """The spools of a file that holds this."""
    file = tmp_path / "spools.toml"
    file.write_text(text, encoding="utf-8")
    return read_spools(file)


def test_the_shipped_example_is_read():
    spools = read_spools(SHIPPED)
    assert set(spools) == {"36-A", "36-B"}
    ratio = spools["36-A"].card.ohms_per_metre / spools["36-B"].card.ohms_per_metre
    assert ratio == pytest.approx(1.037, abs=1e-3)


def test_a_card_is_at_20_degrees_with_its_uncertainty(tmp_path):
    spool = read(tmp_path, GOOD)["A"]
    assert spool.card.ohms_per_metre == pytest.approx(1.361)
    assert 0.001 < spool.card.relative_u < 0.003
    assert spool.metal.name == "copper"


@pytest.mark.parametrize(
    ("change", "line", "said"),
    [
        (("sample_m = 10\n", ""), 2, "spool[1].sample_m: this is missing. Add sample_m = 10.0."),
        (("sample_m = 10", "sample_m = 0"), 2, "must be above zero"),
        (("sample_m = 10", 'sample_m = "10 m"'), 4, '"10 m" is no number'),
        (("u_ohm = 0.005", "u_ohm = true"), 7, "true is no number"),
        (('name = "A"', "name = 7"), 3, "7 is no text"),
        (("celsius = 20.0", "celsius = -300.0"), 2, "below absolute zero"),
        (("u_ohm = 0.005", "u_ohm = 0.005\ncolour = 1"), 8, "this key is not known here"),
        (("u_ohm = 0.005", 'u_ohm = 0.005\nmetal = "tin"'), 8, "this metal is not known"),
    ],
)
def test_a_fault_is_told_with_its_line(tmp_path, change, line, said):
    with pytest.raises(FileInvalid) as caught:
        read(tmp_path, "# a remark\n" + GOOD.replace(*change))
    (fault,) = caught.value.faults
    assert said in str(fault)
    assert fault.line == line


def test_all_faults_are_told_at_once(tmp_path):
    with pytest.raises(FileInvalid) as caught:
        read(tmp_path, "extra = 1\n" + GOOD + GOOD + GOOD.replace("13.61", "-1"))
    assert len(caught.value.faults) == 3


def test_a_broken_file_is_told(tmp_path):
    with pytest.raises(FileInvalid, match="this is no TOML"):
        read(tmp_path, "[[spool]\n")
