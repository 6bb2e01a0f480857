"""Messages as rows: what a collector takes, and what it refuses with a reason."""

import json
import math
import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS, kind_of, to_plain
from acquire.line.incoming import Arrived, Rejected, Stretch, complete_upto, joined, read
from acquire.outlets.payload import as_json, evidence_payload_of, payload_of
from acquire.outlets.topics import LINE_TOPIC_OF_KIND, Topics
from acquire.records import Shape, Term
from tests.known_records import ALL, EVIDENCE, NOON_S, NOTICE, VERDICT, verdict

BIRTH = "0123456789abcdef"


def entry(record, seq=1, evidence=None):
    """As a journal would give it."""
    kind = kind_of(record)
    kept = None if evidence is None else to_plain(evidence)
    serial = getattr(record, "serial", "")
    return Entry(seq, f"{BIRTH}-{seq}", kind, record.utc_s, serial, to_plain(record), kept)


def message(record, number=1, /, *, bench=None, topic=None, **changes):
    """Topic and payload of a record, as a bench of a line sends it."""
    made = entry(record, number)
    plain = {**payload_of(made), "after": number - 1, **changes}
    bench = bench or getattr(record, "bench", "north bench")
    return topic or Topics(bench).of(LINE_TOPIC_OF_KIND[made.kind]), as_json(plain)


def test_every_kind_has_a_topic():
    """Else a bench of a line would stop at it."""
    assert set(LINE_TOPIC_OF_KIND) == set(KINDS)


@pytest.mark.parametrize("record", ALL, ids=kind_of)
def test_every_kind_of_record_is_taken(record):
    """With what it is searched by."""
    row = read(*message(record, 7))

    assert isinstance(row, Arrived), row
    assert (row.journal, row.seq, row.kind) == (BIRTH, 7, kind_of(record))
    assert row.serial == getattr(record, "serial", "")
    assert row.batch == getattr(record, "batch", "")
    assert row.stretch == Stretch(12, 14)
    assert json.loads(row.text)["utc_s"] == record.utc_s


def test_a_verdict_brings_its_names_and_its_time():
    """The columns that questions use."""
    row = read(*message(VERDICT))

    assert (row.bench, row.sheet, row.meter, row.outcome) == (
        "north bench",
        "Plover 80",
        "bench meter",
        "pass",
    )
    assert row.utc == datetime(2025, 11, 25, 12, tzinfo=UTC)


def test_evidence_comes_before_its_verdict():
    """Half a step in the journal."""
    plain = {**evidence_payload_of(entry(VERDICT, 5, EVIDENCE)), "after": 4}
    row = read(Topics("north bench").of("evidence"), as_json(plain))

    assert (row.kind, row.stretch) == ("evidence", Stretch(8, 9))
    assert read(*message(VERDICT, 5, after=5)).stretch == Stretch(9, 10)


def test_an_infinite_number_spelt_null_is_no_fault():
    """The quick check does not know that spelling; the record's own has the last word."""
    odd = replace(VERDICT, guard_band_ohm=math.inf)

    assert isinstance(read(*message(odd)), Arrived)
    term = Term("scatter", 0.1, Shape.NORMAL, math.inf)
    plain = evidence_payload_of(entry(VERDICT, 1, replace(EVIDENCE, terms=(term,))))
    assert isinstance(read(Topics("north bench").of("evidence"), as_json(plain)), Arrived)


def test_a_null_character_is_replaced():
    """PostgreSQL's text cannot hold it."""
    row = read(*message(verdict(serial="a\x00b")))

    assert row.serial == "a\ufffdb"
    assert "\\u0000" not in row.text


def test_a_bench_outside_a_line_has_no_place_in_a_chain():
    """It is kept all the same."""
    row = read(*message(VERDICT, after=None))

    assert isinstance(row, Arrived)
    assert row.stretch is None


REFUSED = {
    "no JSON": (b"\xff\xfe", "no JSON"),
    "not a number": (b'{"id": NaN}', "no JSON"),
    "a list": (b"[]", "no JSON object"),
    "nested": (b"[" * 100_000, "no JSON"),
    "no id": (b"{}", "no id"),
    "another number": (message(VERDICT, 3, seq=4)[1], "another number than its id"),
    "no record": (message(VERDICT, 3, outcome="perhaps")[1], "makes no verdict"),
    "another kind": (message(VERDICT, 3, kind="notice")[1], "no place on the topic"),
    "a later version": (message(VERDICT, 3, schema=3)[1], "version 3"),
    "another bench": (
        message(VERDICT, 3, bench="x", topic="y")[1].replace(b"north", b"south"),
        "another bench",
    ),
    "no calendar": (message(VERDICT, 3, utc_s=1e300)[1], "calendar"),
    "a long name": (message(verdict(serial="x" * 501), 3)[1], "500 characters"),
    "beyond a bigint": (message(VERDICT, 2**62)[1], "beyond all counting"),
    "beyond a double": (
        message(VERDICT, 3, ohm=7)[1].replace(b'"ohm":7', b'"ohm":1e400'),
        "beyond all measure",
    ),
    "a huge count": (message(VERDICT, 3, ohm=10**400)[1], "no JSON|beyond all counting"),
    "later than itself": (message(VERDICT, 3, after=4)[1], "no earlier entry"),
}


@pytest.mark.parametrize(("payload", "why"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_record_is_refused_with_a_reason(payload, why):
    """A sentence for the table of rejected messages."""
    row = read(Topics("north bench").of("verdict"), payload)

    assert isinstance(row, Rejected)
    assert re.search(why, row.reason)
    assert row.reason.endswith(".")


def test_a_number_smaller_than_any_double_is_nothing():
    """1e-400 is a number to JSON, and an error to a view of PostgreSQL that casts it."""
    topic, payload = message(VERDICT, 3, ohm=7)
    row = read(topic, payload.replace(b'"ohm":7', b'"ohm":1e-400'))
    assert isinstance(row, Arrived)
    assert json.loads(row.text)["ohm"] == 0.0
    assert "e-400" not in row.text


def test_a_refused_record_still_has_its_place_in_the_journal():
    """Else its bench would send it for ever."""
    row = read(*message(VERDICT, 3, schema=2))

    assert (row.bench, row.journal, row.stretch) == ("north bench", BIRTH, Stretch(4, 6))
    topic, payload = message(VERDICT, 3, ohm=7)
    far = read(topic, payload.replace(b'"ohm":7', b'"ohm":1e400'))
    assert (far.bench, far.journal, far.stretch) == ("north bench", BIRTH, Stretch(4, 6))


def test_only_numbers_that_may_lie_too_far_are_spelt_anew():
    """Long fractions and hashes are in every message: what is read stays what came."""
    topic, payload = message(VERDICT, 3, ohm=0.12345678901234567, sheet_hash="1e4009e123" * 6)
    assert read(topic, payload).text == payload.decode()


@given(st.binary(max_size=300), st.text(max_size=60))
def test_any_bytes_on_any_topic_are_answered(payload, topic):
    """Never an exception."""
    assert isinstance(read(topic, payload), Rejected)


@given(
    st.recursive(st.none() | st.booleans() | st.floats() | st.text() | st.integers(), st.lists, max_leaves=5)
)
def test_any_value_in_a_record_is_answered(value):
    """Taken or refused."""
    for key in ("outcome", "serial", "utc_s", "after", "seq", "id", "schema", "bench", "counts"):
        plain = {**payload_of(entry(VERDICT)), "after": 0, key: value}
        row = read(Topics("north bench").of("verdict"), json.dumps(plain).encode())
        assert isinstance(row, Arrived | Rejected)


# ---------------------------------------------------------------------- how far a journal is complete


@given(st.permutations(range(12)), st.integers(1, 11), st.sets(st.integers(0, 11)))
def test_stretches_in_any_order_and_twice_make_the_same(order, cut, missing):
    """A journal is complete up to its first gap, whatever came when."""
    whole = [Stretch(place, place + 1) for place in range(12)]
    came = [whole[place] for place in order if place not in missing]
    kept, behind = complete_upto(0, [*came[:cut], *came, *came[cut:]])
    first_gap = min(missing, default=12)

    assert kept == first_gap
    assert sum(stretch.upto - stretch.after for stretch in behind) == 12 - first_gap - len(missing)
    again, rest = complete_upto(kept, behind)
    assert (again, rest) == (kept, behind)


def test_a_gap_in_the_numbers_is_none_in_the_record():
    """What says to come after 3 closes up with 3, be its own number 9."""
    assert complete_upto(0, [Stretch(6, 18), Stretch(0, 6)]) == (18, [])
    assert joined([Stretch(0, 4), Stretch(2, 3), Stretch(8, 9)]) == [Stretch(0, 4), Stretch(8, 9)]


def test_notices_carry_no_bench_and_get_it_from_the_topic():
    """The broker lets a bench publish on its own topics only."""
    assert read(*message(NOTICE, bench="south/bench")).bench == "south/bench"
    assert NOTICE.utc_s == NOON_S
