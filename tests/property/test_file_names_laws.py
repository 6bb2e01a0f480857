"""Names of files that are made of serials and batches, whatever they are: legal on all three systems.

Windows: learn.microsoft.com, Naming Files, Paths, and Namespaces; 255 UTF-16 units of a component. macOS and
Linux refuse only "/" and NUL, and take 255 bytes at least (pathconf(3), NAME_MAX).
"""

import re
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.outlets.csv_log import Split
from acquire.outlets.csv_log import file_name as csv_name
from acquire.page.setup import FILE_NAME
from acquire.reports.issued import file_name as paper_name
from system.desktop import plain_name

RESERVED = re.compile(r"(?:CON|PRN|AUX|NUL|COM[0-9¹²³]|LPT[0-9¹²³])(?:\..*)?", re.IGNORECASE)
ODD = ["CON", "nul", "com1", "LPT9.txt", "aux.", "A1.", ".", "..", "a/b", "a\\b", "C:\\x", "a:b", "~", "*"]
ODD += ["?", "<>|", "$HOME", "%TEMP%", "-rf", "é", "İ", "ß", "e\u0301", "A1 ", " ", '"', "Ω" * 60, "A" * 200]
ODD += ["lot-7", "Lot-7", "LOT-7", "lot 7", "lot_7", "lot_7-3f5a6c91"]
SERIALS = st.one_of(
    st.sampled_from(ODD),
    st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=200),
    st.text(string.printable.strip() + " ", min_size=1, max_size=200),
)


def paper_of(serial):
    """Of a label."""
    return paper_name("label", serial, "pdf")


def csv_of(batch):
    """Of a batch's verdicts."""
    return csv_name({"batch": batch, "utc_s": 0.0}, Split.BATCH)


def legal(name):
    """Whether all three systems take it as the name of a file."""
    assert 0 < len(name.encode()) <= 255, name
    assert not re.search(r'[<>:"/\\|?*\x00-\x1f\x7f]', name), name
    assert not name.startswith((".", "-", " ", "~")), name
    assert not name.endswith((".", " ")), name
    assert not RESERVED.fullmatch(name), name
    return True


@given(SERIALS)
def test_a_paper_of_any_serial_has_a_legal_name(serial):
    for kind in ("certificate", "label"):
        for ending in ("html", "pdf", "svg"):
            assert legal(paper_name(kind, serial, ending))


@given(SERIALS, SERIALS)
def test_two_serials_never_share_a_name_even_where_case_does_not_count(one, other):
    """Windows and macOS take a.pdf and A.PDF for the same."""
    if one != other:
        assert paper_of(one).casefold() != paper_of(other).casefold()


@given(SERIALS)
def test_the_csv_file_of_any_batch_has_a_legal_name(batch):
    for kind in ("verdict", "typed_result", "unit_result"):
        for split in Split:
            assert legal(csv_name({"batch": batch, "utc_s": 1.8e9}, split, kind) + ".csv")


@given(st.lists(SERIALS, unique=True, min_size=2))
def test_two_batches_never_share_a_file_even_where_case_does_not_count(batches):
    """Rows of both would stand in one file on Windows and macOS."""
    names = {csv_of(each).casefold() for each in batches}
    assert len(names) == len(batches)


@pytest.mark.parametrize("name", [paper_of, csv_of])
def test_no_printable_sign_makes_two_names_one(name):
    """Each printable sign of ASCII alone, and behind a letter of either case."""
    texts = [front + sign for front in ("", "a", "A") for sign in string.printable.strip() + " "]
    assert len({name(text).casefold() for text in texts}) == len(texts)


@given(SERIALS)
def test_what_starts_at_log_in_has_a_legal_name(stem):
    assert legal(f"steadyohm-{plain_name(stem)}.service")


@given(SERIALS)
def test_a_file_that_is_named_on_the_page_has_a_legal_name(name):
    """What is no such name is refused in a sentence, reserved words too."""
    named = f"{name}.toml"
    assert FILE_NAME.fullmatch(named) is None or legal(named)


def test_reserved_words_are_no_names_and_others_are():
    for name in ("con.toml", "COM1.toml", "Lpt9.b.toml", "nul.toml"):
        assert FILE_NAME.fullmatch(name) is None
    for name in ("bench-1.toml", "console.toml", "Stator 3.toml", "com.toml"):
        assert FILE_NAME.fullmatch(name)
