"""Laws of what is typed: any line is understood or refused in a sentence, and judging never falls over."""

from __future__ import annotations

import json
import math

from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import InputImpossible
from acquire.journal.plain import from_plain, to_plain
from acquire.records import Circumstances, Outcome, Purpose, UnitStarted
from acquire.sheets import load_sheet
from acquire.verdict.typed import typed_result
from acquire.verdict.typed_line import typed_line
from tests.whole_bench import CONFIGS

SHEET = load_sheet(CONFIGS / "sheets" / "plover-80.toml")
PLACE = Circumstances("b", Purpose.FINAL, SHEET, "meter", "model", "m", "b", "test")
STARTED = UnitStarted("b", "A1", SHEET.name, SHEET.content_hash, Purpose.FINAL, "", "", 1.0)

NAMES = st.sampled_from(["insulation", "insulation 1", "L 1", "Q", "loss", "surge", "x"])
VALUES = st.one_of(
    st.tuples(
        st.sampled_from(["", ">"]),
        st.integers(0, 10**12),
        st.sampled_from([" ohm", " Mohm", " mH", " H", "", " V"]),
    ).map(lambda parts: "".join(map(str, parts))),
    st.text(max_size=20),
)
PARTS = st.lists(
    st.one_of(
        st.sampled_from(["pass", "fail", "by IR-2", "rule thermoplastic", "rule none", "against 1 H"]),
        st.integers(0, 5000).map(lambda n: f"{n} V"),
        st.integers(-300, 300).map(lambda n: f"{n} °C"),
        st.integers(0, 9000).map(lambda n: f"{n} Hz"),
        st.integers(0, 120).map(lambda n: f"accuracy {n} %"),
        st.integers(0, 120).map(lambda n: f"within {n} %"),
        st.text(max_size=12),
    ),
    max_size=6,
)


def lines():
    """Lines that a tired person may type."""
    return st.tuples(NAMES, VALUES, PARTS).map(lambda p: f"{p[0]} = {', '.join([p[1], *p[2]])}")


@given(st.one_of(st.text(max_size=300), lines()))
def test_any_line_is_understood_or_refused_in_a_sentence(text):
    """Nothing else comes out of it, whatever goes in; every number is finite."""
    try:
        line = typed_line(text)
    except InputImpossible:
        return
    assert line.name
    for value in (line.value_si, line.test_volt, line.hertz, line.celsius, line.accuracy, line.within):
        assert value is None or math.isfinite(value)


@given(st.integers(1, 10_000), st.sampled_from(["", "k"]), st.sampled_from(["", "at "]))
def test_a_frequency_is_in_hertz(count, prefix, before):
    """Whether kilo stands before it or not."""
    assert typed_line(f"L 1 = 6 mH, {before}{count} {prefix}Hz").hertz == count * {"": 1.0, "k": 1e3}[prefix]


@given(lines(), st.one_of(st.none(), st.floats(-50, 150)))
def test_a_result_is_recorded_whole_or_refused_in_a_sentence(text, celsius):
    """What is recorded survives the journal's spelling, and a stated outcome is the person's own."""
    try:
        record = typed_result(text, STARTED, PLACE, 5.0, celsius=celsius)
    except InputImpossible:
        return
    assert from_plain("typed_result", json.loads(json.dumps(to_plain(record), allow_nan=False))) == record
    if record.stated:
        assert record.outcome in (Outcome.PASS, Outcome.FAIL)


@given(st.integers(1, 10**6), st.integers(1, 50), st.integers(0, 10**6))
def test_better_insulation_is_never_judged_worse(megohm, per_cent, more):
    """Monotone in the value, for one instrument."""
    order = [Outcome.FAIL, Outcome.CONDITIONAL_FAIL, Outcome.CONDITIONAL_PASS, Outcome.PASS]

    def judged(value):
        text = f"insulation = {value} Mohm, 500 V, accuracy {per_cent} %"
        return typed_result(text, STARTED, PLACE, 5.0).outcome

    first, second = judged(megohm), judged(megohm + more)
    if Outcome.CANNOT_JUDGE not in (first, second):
        assert order.index(first) <= order.index(second)
