"""What `python -m tests.size` counts, on a house of three modules."""

from tests.size import size_of, told

ONE = """
class Row:
    name: str
    ohm: float
    unit: str

class _Own:
    name: str
"""
TWO = """
from acquire import one
from acquire.one import Row as Other

LIMIT: int = 3

class Row:
    name: str
    ohm: float
    unit: str
    when: float
"""


def test_a_house_is_counted(tmp_path):
    """Lines, modules, names; a module with one importer; two classes alike, of one name."""
    (tmp_path / "acquire").mkdir()
    for name, text in (("__init__", ""), ("one", ONE), ("two", TWO)):
        (tmp_path / "acquire" / f"{name}.py").write_text(text, encoding="utf-8")
    size = size_of(tmp_path)
    assert (size.lines, size.modules, size.public_names) == (len((ONE + TWO).splitlines()), 3, 3)
    assert "acquire.one < acquire.two" in size.one_importer
    assert size.alike == ["acquire.one.Row = acquire.two.Row: name, ohm, unit"]
    assert size.same_name == ["Row: acquire.one, acquire.two"]
    assert any(line.startswith("pairs of classes alike") for line in told(size, whole=False))
