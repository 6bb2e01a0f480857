"""What others get to read: JSON objects, columns, schemas."""

import csv
import io
import json
from dataclasses import replace

import jsonschema
import pytest

from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS, from_plain, kind_of, to_plain
from acquire.outlets import payload as spelling
from acquire.outlets.payload import COLUMNS_OF
from acquire.records import Outcome, Pair
from acquire.records.bench import ClosureFound
from acquire.records.codes import ClosureKind
from tests.known_records import ALL, NOON_S, RESULT, TYPED, verdict


def entry_of(record, seq=7):
    return Entry(seq, f"{'0a' * 8}-{seq}", kind_of(record), record.utc_s, "", to_plain(record))


def row_of(record):
    return dict(zip(spelling.header(kind_of(record)), spelling.row_of(entry_of(record)), strict=True))


@pytest.mark.parametrize("record", ALL, ids=kind_of)
def test_what_is_published_reads_back_as_the_record(record):
    """Through JSON and back, whatever the kind."""
    text = spelling.as_json(spelling.payload_of(entry_of(record)))

    assert from_plain(kind_of(record), json.loads(text)) == record


@pytest.mark.parametrize("record", ALL, ids=kind_of)
def test_what_is_published_keeps_its_schema(record):
    """Checked by an independent implementation of JSON Schema (the jsonschema package)."""
    schema = spelling.json_schema(kind_of(record))
    jsonschema.Draft202012Validator.check_schema(schema)
    check = jsonschema.Draft202012Validator(schema)
    published = json.loads(spelling.as_json(spelling.payload_of(entry_of(record))))

    check.validate(published)
    for key in ("id", "kind", "utc_s"):
        broken = {name: value for name, value in published.items() if name != key}
        assert not check.is_valid(broken), f"the schema does not ask for {key}"
    assert not check.is_valid({**published, "id": "7"})


def test_no_record_uses_a_key_of_the_envelope():
    """Else one would hide the other."""
    for kind, record in KINDS.items():
        assert not set(spelling.HEAD) & set(record.__slots__), kind


def test_half_a_surrogate_pair_cannot_break_the_json():
    """Hostile text from a command must not stop what is published."""
    text = spelling.as_json(spelling.payload_of(entry_of(verdict(serial="a\ud800b"))))

    assert json.loads(text)["serial"] == "a?b"


@pytest.mark.parametrize("kind", COLUMNS_OF)
def test_every_column_is_a_field_of_the_record_or_a_sentence_of_it(kind):
    """Nothing stands in a row that the record does not have, and no name is given twice."""
    names, fields = spelling.header(kind), set(KINDS[kind].__slots__)
    assert set(names) - fields <= {"schema", "id", "time_utc", *spelling.SAID[kind]}
    assert len(set(names)) == len(names)
    assert names[:3] == ["schema", "id", "time_utc"], "the way a file of ours is known at its end"


def test_a_typed_results_row_says_what_was_typed_and_what_came_of_it():
    """As a person reads it in a spreadsheet."""
    row = row_of(TYPED)

    assert (row["typed"], row["outcome"], row["value_si"]) == ("insulation = 120 Mohm", "pass", "120000000.0")
    assert (row["at_least"], row["stated"], row["upper_si"]) == ("false", "false", "")
    assert row_of(replace(TYPED, outcome=None, typed="=1+1"))["outcome"] == ""
    assert row_of(replace(TYPED, typed="=1+1"))["typed"] == "'=1+1"


def test_numbers_in_a_row_read_back_exactly():
    """The shortest text that gives the same double again."""
    row = row_of(verdict(reference_ohm=0.1 + 0.2, raw_ohm=1e-7, lead_ohm=1e22))

    assert float(row["reference_ohm"]) == 0.1 + 0.2
    assert float(row["raw_ohm"]) == 1e-7
    assert float(row["lead_ohm"]) == 1e22


def test_what_is_missing_is_empty_and_what_is_open_is_no_zero():
    """An open circuit has no value."""
    row = row_of(verdict(reference_ohm=None, raw_ohm=None, expanded_ohm=None, counts=False))

    assert row["reference_ohm"] == row["raw_ohm"] == row["expanded_ohm"] == ""
    assert row["counts"] == "false"


def test_the_time_is_iso_8601_in_utc():
    """And empty where a broken clock has left the calendar."""
    assert row_of(verdict())["time_utc"] == "2025-11-25T12:00:00.000Z"
    assert spelling.iso_time(NOON_S + 0.1234) == "2025-11-25T12:00:00.123Z"
    assert spelling.iso_time(1e18) == spelling.iso_time(float("inf")) == ""


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "=cmd|' /C calc'!A0", "'=1", "''-1", "\uff1d1"],
)
def test_a_formula_in_a_name_cannot_run_in_a_spreadsheet(text):
    """OWASP, CSV Injection: an apostrophe in front makes it text. The name itself can be had back."""
    cell = row_of(verdict(operator=text))["operator"]

    assert cell[0] == "'"
    assert spelling.rearmed(cell) == text


@pytest.mark.parametrize("text", ["Ida", "PL80-0001", "O'Hara", "'s-Graveland", "2 = 2", "", "'"])
def test_a_harmless_name_stays_as_it_is(text):
    """No apostrophe where none is needed."""
    assert spelling.disarmed(text) == text
    assert spelling.rearmed(text) == text


def test_a_negative_number_is_no_formula():
    """Numbers are ours, so a minus sign there is harmless, and must stay a number."""
    assert row_of(verdict(raw_ohm=-0.2))["raw_ohm"] == "-0.2"


def test_control_characters_are_shown_as_replaced():
    """A NUL ends a row in some readers."""
    assert row_of(verdict(serial="a\x00b\x1bc"))["serial"] == "a\ufffdb\ufffdc"


def test_a_row_survives_a_csv_reader():
    """RFC 4180 through Python's own reader: comma, quote, CR, LF in a name."""
    name = 'Ida, "the\r\nbench"\n'
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerow(spelling.row_of(entry_of(verdict(operator=name))))

    (cells,) = csv.reader(io.StringIO(text.getvalue(), newline=""))
    assert cells[spelling.header().index("operator")] == name


def test_joints_are_told_in_words_in_csv_and_as_facts_over_mqtt():
    """ "joint at pin 2: 2.02 ± 0.04 ohm, limit 0.3 ohm", though no single pair shows it."""
    pairs = (Pair("1", "2"), Pair("2", "3"), Pair("1", "3"))
    joint = ClosureFound(
        ClosureKind.JOINT, "2", 2.02, 0.04, None, 0.3, Outcome.FAIL, 0.0, contradicts=False, pairs=pairs
    )
    result = replace(RESULT, closures=(joint,))
    row = row_of(result)
    assert row["relations"] == "joint at pin 2: 2.020 Ω ± 0.04 Ω, limit 0.3 Ω."
    published = spelling.payload_of(entry_of(result))
    assert published["relations"] == [row["relations"]]
    assert published["closures"][0]["ohm"] == 2.02
    assert published["closures"][0]["upper_ohm"] == 0.3
