"""Whatever a CSV of good units or a told reading holds: an answer in words, never a traceback."""

import contextlib
import csv
import io
import tempfile
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from acquire.answers.reported import (
    explain_unit,
    identify_core,
    learn_sheet,
    reading_of,
)
from acquire.errors import SteadyohmError
from acquire.sheets import load_sheet
from tests.commands import printed
from tests.tries import tries

SHEETS = sorted((Path(__file__).parents[2] / "configs" / "sheets").glob("*.toml"))
SHEET = next(path for path in SHEETS if path.stem == "plover-80")

PINS = st.sampled_from(["1", "2", "3", "CORE", "", " 1 ", "=1+1", "é", "x" * 70]) | st.text(max_size=6)
OHMS = st.one_of(
    st.floats(0.1, 1e4).map(str),
    st.sampled_from(["open", "OL", "nan", "-3", "0", "1e400", "1e-300", "", "12 ohm", "1,5", "0x10", "１２"]),
    st.text(max_size=8),
)
ROWS = st.lists(st.tuples(st.sampled_from(["A", "B", "C", ""]), PINS, PINS, OHMS), max_size=14)
HEADS = st.sampled_from(["unit,pin_a,pin_b,ohm", "unit,pin_a,pin_b", "ohm,pin_b,pin_a,unit", "", "a,b,c,d"])


def asked(raw):
    """Ask for a sheet learnt from a file; gives its text, None where it was refused in words."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "units.csv"
        file.write_bytes(raw)
        try:
            text = "\n".join(printed(learn_sheet, [file], name="Learnt", core="CORE"))
        except SteadyohmError as error:
            said = str(error).strip()
        else:
            said = ""
        if said:
            assert said.endswith((".", "?"))
            return None
        sheet = Path(folder) / "learnt.toml"
        sheet.write_text(text, encoding="utf-8")
        load_sheet(sheet)  # what is proposed can be used
        return text


@given(HEADS, ROWS)
def test_any_rows_make_a_sheet_that_loads_or_a_sentence(head, rows):
    """Cells as people and spreadsheets leave them."""
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    asked(f"{head}\r\n{text.getvalue()}".encode("utf-8", "replace"))


@given(st.binary(max_size=300) | st.text(max_size=200).map(lambda t: t.encode("utf-16")))
def test_any_bytes_make_a_sentence(raw):
    """A picture, a spreadsheet's own format, half a file."""
    asked(b"unit,pin_a,pin_b,ohm\r\n" + raw)
    assert asked(raw) is None


def test_a_table_of_good_units_still_makes_a_sheet():
    """Else the tests above could be passed by refusing everything."""
    rows = [f"{unit},1,2,{100 + 0.1 * n}" for n, unit in enumerate("ABCDE")]
    assert "Learnt" in asked(("unit,pin_a,pin_b,ohm\n" + "\n".join(rows)).encode())


WORDS = st.one_of(
    st.text(max_size=20),
    st.builds("{}-{}={}".format, PINS, PINS, OHMS),
    st.builds("{}-{}={}".format, st.sampled_from("123"), st.sampled_from(["2", "3", "CORE"]), OHMS),
)


@tries(40)
@given(st.lists(WORDS, max_size=4), st.none() | st.floats(-60, 150), st.none() | st.floats())
def test_whatever_is_told_is_explained_or_refused_in_words(words, temperature, leads):
    """explain and identify, with what a person may say of temperature and leads."""
    for text in words:
        with contextlib.suppress(SteadyohmError):
            pair, ohm = reading_of(text)
            assert ohm >= 0.0
            assert pair.a
            assert pair.b
    with contextlib.suppress(SteadyohmError):
        printed(explain_unit, SHEET, words, temperature=temperature, leads=leads)
    with contextlib.suppress(SteadyohmError):
        assert printed(identify_core, SHEETS, words, temperature=temperature, leads=leads)
