"""Spool cards from a file: what they give, and what is said of a faulty one."""

from pathlib import Path

import pytest

from acquire.errors import FileInvalid
from acquire.physics.spools import read_spools

SHIPPED = Path(__file__).parents[2] / "configs" / "wire" / "spools.toml"
FILE = Path("spools.toml")
GOOD = '[[spool]]\nname = "A"\nsample_m = 10\nsample_ohm = 13.61\ncelsius = 20.0\nu_ohm = 0.005\n'


def test_the_shipped_example_is_read():
    spools = read_spools(SHIPPED.read_text(encoding="utf-8"), SHIPPED)
    assert set(spools) == {"36-A", "36-B"}
    ratio = spools["36-A"].card.ohms_per_metre / spools["36-B"].card.ohms_per_metre
    assert ratio == pytest.approx(1.037, abs=1e-3)


def test_a_card_is_at_20_degrees_with_its_uncertainty():
    spool = read_spools(GOOD, FILE)["A"]
    assert spool.card.ohms_per_metre == pytest.approx(1.361)
    assert 0.001 < spool.card.relative_u < 0.003
    assert spool.metal.name == "copper"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("sample_m = 10\n", ""), "sample_m: is missing"),
        (("sample_m = 10", "sample_m = 0"), "must be above zero"),
        (("sample_m = 10", 'sample_m = "10 m"'), "must be a number"),
        (('name = "A"', "name = 7"), "must be a text"),
        (("celsius = 20.0", "celsius = -300.0"), "below absolute zero"),
        (("u_ohm = 0.005", "u_ohm = 0.005\ncolour = 1"), "colour: is no key"),
        (("u_ohm = 0.005", 'u_ohm = 0.005\nmetal = "tin"'), "metal: is not known"),
        (("u_ohm = 0.005", "u_ohm = true"), "must be a number"),
    ],
)
def test_a_fault_is_told_with_its_line(change, said):
    with pytest.raises(FileInvalid) as caught:
        read_spools("# a remark\n" + GOOD.replace(*change), FILE)
    (fault,) = caught.value.faults
    assert said in str(fault)
    assert str(fault).startswith("spools.toml:2: ")


def test_all_faults_are_told_at_once():
    with pytest.raises(FileInvalid) as caught:
        read_spools("extra = 1\n" + GOOD + GOOD + GOOD.replace("13.61", "-1"), FILE)
    assert len(caught.value.faults) == 3


def test_a_broken_file_is_told():
    with pytest.raises(FileInvalid, match="no valid TOML"):
        read_spools("[[spool]\n", FILE)
