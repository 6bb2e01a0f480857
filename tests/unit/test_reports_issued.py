"""Papers kept as issued: names that never collide, copies printed again, and what supersedes them."""

import unicodedata
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.records import Outcome
from acquire.reports.issued import Issued, IssuedPapers, file_name
from tests.known_records import NOON_S, TYPED
from tests.known_visits import SERIAL, journal_with, shop_day

PRINTABLE = st.text(
    st.characters(exclude_categories=("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")), min_size=1, max_size=200
)
RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in "123456789¹²³")}
"""Names that Windows keeps for devices, with any ending (Microsoft, Naming Files, Paths, and Namespaces)."""

PAPER = Issued("6E070292-11-AB12CD34", "certificate", SERIAL, "6e-11", 0, Outcome.PASS, NOON_S)


def alike(name):
    """What a file system that folds case and composes letters makes of a name."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())


def test_serials_that_once_shared_a_name_have_names_of_their_own():
    """Five certificates stood in two files."""
    serials = [
        "24/101",
        "24_101",
        "24 101",
        "Ж-7",
        "З-7",
        "24-101",
        "ж-7",
        "24/101 ",
        "e\u0301-1",
        "é-1",
        "A_1",
        "a_1",
    ]
    assert len({alike(file_name("certificate", serial, "html")) for serial in serials}) == len(serials)


def test_a_plain_serial_stands_in_the_name_as_it_is():
    assert file_name("certificate", "PL80-0007", "pdf") == "certificate-PL80-0007.pdf"


@given(PRINTABLE, PRINTABLE)
def test_distinct_serials_give_distinct_names_however_a_system_folds_them(one, two):
    same = alike(file_name("label", one, "svg")) == alike(file_name("label", two, "svg"))
    assert same == (one == two)


@given(PRINTABLE, st.sampled_from(["lower", "upper", "swapcase", "NFC", "NFD", "NFKC", "NFKD"]))
def test_a_serial_and_its_folded_form_are_two(serial, fold):
    folded = unicodedata.normalize(fold, serial) if fold.startswith("NF") else getattr(serial, fold)()
    names = [alike(file_name("label", each, "svg")) for each in (serial, folded)]
    assert (names[0] == names[1]) == (serial == folded)


@given(PRINTABLE)
def test_a_name_is_legal_on_every_system(serial):
    """No reserved sign or word, no dot or blank at its end, short enough, plain ASCII."""
    name = file_name("certificate", serial, "html")
    assert name.isascii()
    assert name.isprintable()
    assert not set(name) & set('<>:"/\\|?* ')
    assert len(name) <= 120
    assert not name.startswith((".", "-"))
    assert not name.endswith((".", " "))
    assert name.partition(".")[0].casefold() not in RESERVED


# ---------------------------------------------------------------- kept


def test_what_was_issued_is_given_back_byte_for_byte(tmp_path):
    """In each form that it was issued in; the second form joins the first."""
    papers = IssuedPapers(tmp_path / "issued")
    papers.keep(PAPER, {"html": b"page"})
    papers.keep(replace(PAPER, issued_utc_s=NOON_S + 5.0), {"pdf": b"%PDF"})
    kept = papers.get(PAPER.number)
    assert (papers.content(kept, "html"), papers.content(kept, "pdf")) == (b"page", b"%PDF")
    assert kept.issued_utc_s == NOON_S
    with pytest.raises(InputImpossible, match=r"issued as html and pdf only"):
        papers.content(kept, "svg")


def test_nothing_is_ever_written_over(tmp_path):
    papers = IssuedPapers(tmp_path)
    papers.keep(PAPER, {"html": b"page"})
    with pytest.raises(InputImpossible, match="Another paper was issued as"):
        papers.keep(PAPER, {"html": b"another"})
    papers.keep(PAPER, {"html": b"page"})


def test_a_copy_that_was_changed_is_not_given_out(tmp_path):
    papers = IssuedPapers(tmp_path)
    papers.keep(PAPER, {"html": b"page"})
    (tmp_path / f"{PAPER.number}.html").write_bytes(b"forged")
    with pytest.raises(InputImpossible, match="no longer what was issued"):
        papers.content(papers.get(PAPER.number), "html")


@pytest.mark.parametrize("number", ["", "../journal", "none", "a/b"])
def test_a_number_that_is_none_finds_nothing(tmp_path, number):
    assert IssuedPapers(tmp_path).get(number) is None


def test_a_folder_that_cannot_be_made_is_told_with_the_way_out(tmp_path):
    with pytest.raises(InputImpossible, match="--issued"):
        IssuedPapers(tmp_path / "none" / "issued").keep(PAPER, {"html": b"page"})


def test_a_paper_is_superseded_once_the_result_is_revised_or_another_replaces_it(tmp_path):
    """A result typed in later that passes changes nothing; one that fails does."""
    journal = journal_with(tmp_path / "journal", shop_day())
    with JournalReader(journal) as record:
        result_id = next(entry.id for entry in record.by_serial(SERIAL) if entry.kind == "unit_result")
    papers, paper = IssuedPapers(tmp_path), replace(PAPER, result_id=result_id)
    papers.keep(paper, {"html": b"page"})

    def told():
        with JournalReader(journal) as record:
            return papers.superseded(paper, record)

    assert told() == ""
    typed = replace(TYPED, serial=SERIAL, bench="bench-1", name="surge", utc_s=NOON_S + 500.0)
    journal_with(journal, [typed])
    assert told() == ""
    journal_with(journal, [replace(typed, outcome=Outcome.FAIL, utc_s=NOON_S + 600.0)])
    assert "it states pass, and since then the result was revised: it is FAIL now" in told()
    papers.keep(replace(paper, number="6E070292-11-00000001", replaces=paper.number), {"html": b"new"})
    assert told().startswith("Superseded: replaced by 6E070292-11-00000001 of 2025-11-25")
