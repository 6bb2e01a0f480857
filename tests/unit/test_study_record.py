"""The record of a study: added to, torn, taken back, locked, and refused where it is none."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import InputImpossible
from acquire.study.record import Measurement, begun, plan_of, read_study, resumed
from tests.known_studies import SUBJECT
from tests.tries import tries

PLAN = plan_of(["F7-001", "F7-002"], ["ann", "bö"], 2, 5)


def measured(turn, ohm=243.0):
    return Measurement(turn, ohm, 0.1, 0.2, ohm + 0.12, 0.12, 21.5, 1.1, 1.8e9 + turn, "meter")


@pytest.fixture
def path(tmp_path):
    """A record with three measurements."""
    path = tmp_path / "study.jsonl"
    with begun(path, SUBJECT, PLAN, 1.8e9) as file:
        for turn in (1, 2, 3):
            file.take(measured(turn))
    return path


def test_what_was_written_is_read_again(path):
    record = read_study(path)
    assert (record.subject, record.plan, record.begun_utc_s) == (SUBJECT, PLAN, 1.8e9)
    assert record.taken == {turn: measured(turn) for turn in (1, 2, 3)}
    assert [turn.number for turn in record.missing] == [4, 5, 6, 7, 8]
    assert (record.taken_back, record.torn) == (0, 0)


def test_a_study_goes_on_where_it_stopped(path):
    with resumed(path) as file:
        file.take(measured(4))
    assert len(read_study(path).taken) == 4


def test_the_latest_measurement_of_a_turn_counts_and_one_taken_back_does_not(path):
    with resumed(path) as file:
        file.take(measured(3, 244.0))
        file.take_back(1)
        assert file.record.taken_back == 2
    record = read_study(path)
    assert record.taken[3].reference_ohm == 244.0
    assert 1 not in record.taken
    assert record.taken_back == 2


def test_a_torn_last_line_is_left_out_and_cut_off(path):
    with path.open("ab") as file:
        file.write(b'{"taken": {"turn": 4, "refer')
    record = read_study(path)
    assert (len(record.taken), record.torn) == (3, 28)
    with resumed(path) as file:
        file.take(measured(4))
    assert len(read_study(path).taken) == 4


@tries(60)
@given(cut=st.integers(0, 10_000))
def test_a_record_cut_anywhere_is_read_or_refused_in_a_sentence(tmp_path_factory, cut):
    """As a power cut leaves it."""
    folder = tmp_path_factory.mktemp("cut")
    whole, path = folder / "whole.jsonl", folder / "study.jsonl"
    with begun(whole, SUBJECT, PLAN, 1.8e9) as file:
        for turn in (1, 2, 3):
            file.take(measured(turn))
    data = whole.read_bytes()
    path.write_bytes(data[: cut % (len(data) + 1)])
    lines = path.read_bytes().count(b"\n")
    if lines == 0:
        with pytest.raises(InputImpossible):
            read_study(path)
        with begun(path, SUBJECT, PLAN, 1.8e9) as file:  # not even its first line: begun afresh
            file.take(measured(1))
        assert len(read_study(path).taken) == 1
    else:
        assert len(read_study(path).taken) == lines - 1


def test_a_study_that_is_there_is_not_begun_again(path):
    with pytest.raises(InputImpossible, match="is there already"), begun(path, SUBJECT, PLAN, 1.8e9):
        pass
    assert len(read_study(path).taken) == 3


@pytest.mark.parametrize("content", [b"{}", b"a recording without an end of line", b"\x00" * 40])
def test_a_file_of_somebody_else_is_never_begun_afresh(tmp_path, content):
    path = tmp_path / "mine"
    path.write_bytes(content)
    with pytest.raises(InputImpossible, match="is there already"), begun(path, SUBJECT, PLAN, 1.8e9):
        pass
    assert path.read_bytes() == content


def test_two_cannot_write_one_record(path):
    with resumed(path), pytest.raises(InputImpossible, match="Somebody else is writing"), resumed(path):
        pass


@pytest.mark.parametrize(
    "text", ["", "\n", "hello\n", "[1]\n", '{"study": 1}\n', '{"taken": {"turn": 1}}\n', "\x00\x00\n"]
)
def test_other_files_are_refused(tmp_path, text):
    path = tmp_path / "other"
    path.write_text(text)
    with pytest.raises(InputImpossible, match=r"no record of a study|none of a study's record"):
        read_study(path)


def test_a_newer_record_is_refused_as_such(path):
    path.write_text(path.read_text().replace('{"study":1,', '{"study":2,', 1))
    with pytest.raises(InputImpossible, match="newer steadyohm"):
        read_study(path)


@pytest.mark.parametrize(
    "line",
    [
        '{"taken_back": 7}',
        '{"taken": {"turn": 99}}',
        '{"other": 1}',
        "null",
        '{"taken": {"turn": 4, "reference_ohm": NaN}}',
    ],
)
def test_a_changed_line_is_named(path, line):
    with path.open("a") as file:
        file.write(line + "\n")
    with pytest.raises(InputImpossible, match=r"study\.jsonl:5: this line is none"):
        read_study(path)


def test_a_measurement_of_no_turn_is_refused(path):
    with resumed(path) as file:
        file.take(replace(measured(4), turn=99))
    with pytest.raises(InputImpossible, match=":5: this line is none"):
        read_study(path)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "none", tmp_path):
        with pytest.raises(InputImpossible, match="cannot be read"):
            read_study(path)
    with (
        pytest.raises(InputImpossible, match="cannot be begun"),
        begun(tmp_path / "a" / "b", SUBJECT, PLAN, 0.0),
    ):
        pass


def test_a_full_disk_is_a_sentence_and_leaves_no_half_line(path):
    """/dev/full takes nothing; what was written before stays whole."""
    with resumed(path) as file, Path("/dev/full").open("r+b", buffering=0) as full:
        file._out = full
        with pytest.raises(InputImpossible, match="cannot be written"):
            file.take(measured(4))
    assert len(read_study(path).taken) == 3
