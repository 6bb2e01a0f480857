"""Records of an invented bench, for tests of the journal and its outlets. Not a test itself."""

import math
from dataclasses import replace

from acquire.records import (
    Batch,
    BatchEvent,
    BatchState,
    CheckStandard,
    Code,
    Evidence,
    FaultPlace,
    Hypothesis,
    ImportedResult,
    LeadZero,
    Notice,
    Outcome,
    Pair,
    Purpose,
    ResultKind,
    Rule,
    Severity,
    Shape,
    Term,
    TypedResult,
    TypedWhy,
    UnitResult,
    UnitStarted,
    Verdict,
    WoundFrom,
)
from drivers.reading import Quantity

NOON_S = 1_764_072_000.0
"""2025-11-25T12:00:00 UTC."""

VERDICT = Verdict(
    bench="north bench",
    serial="PL80-0001",
    sheet="Plover 80",
    sheet_hash="5e" * 32,
    purpose=Purpose.FINAL,
    step="slow charge",
    pin_a="1",
    pin_b="2",
    outcome=Outcome.PASS,
    raw_ohm=207.9,
    lead_ohm=0.3125,
    winding_celsius=26.5,
    reference_celsius=20.0,
    reference_ohm=202.71,
    nominal_ohm=202.5669,
    lower_ohm=190.37,
    upper_ohm=214.67,
    standard_uncertainty_ohm=0.21,
    expanded_ohm=0.42,
    coverage_factor=2.0,
    guard_band_ohm=0.42,
    conformance_probability=0.9999,
    rule=Rule.NON_BINARY,
    attempt=1,
    revision=0,
    counts=True,
    utc_s=NOON_S,
    settle_s=0.8,
    conversions=12,
    quantity=Quantity.RESISTANCE,
    range_full_scale_ohm=500.0,
    resolution_ohm=0.01,
    meter_id="bench meter",
    meter_model="bench-50000",
    meter_hash="a1" * 32,
    bench_hash="b2" * 32,
    operator="Ida",
    batch="lot 7",
    software="steadyohm 0.1.0",
)

EVIDENCE = Evidence(
    terms=(
        Term("meter accuracy", 0.2, Shape.RECTANGULAR, math.inf),
        Term("scatter", 0.01, Shape.NORMAL, 11.0),
    ),
    trace=((0.0, 207.1), (0.05, 207.9)),
    raw_hex="2b 32 30 37",
)

STARTED = UnitStarted(
    "north bench", "PL80-0001", "Plover 80", "5e" * 32, Purpose.FINAL, "lot 7", "Ida", NOON_S
)

RESULT = UnitResult(
    bench="north bench",
    serial="PL80-0001",
    sheet="Plover 80",
    sheet_hash="5e" * 32,
    purpose=Purpose.FINAL,
    batch="lot 7",
    operator="Ida",
    outcome=Outcome.FAIL,
    wait_s=None,
    steps_passed=3,
    steps_total=4,
    hypotheses=(
        Hypothesis(
            "shorted_turns", 0.93, (FaultPlace("shorted_turns", ("fast charge",), (0.059,), turns=1020),)
        ),
    ),
    next_pair=Pair("2", "3"),
    started_utc_s=NOON_S,
    utc_s=NOON_S + 30.0,
    measured=Outcome.FAIL,
)

ZERO = LeadZero("north bench", "bench meter", 0.3125, 0.002, NOON_S)

NOTICE = Notice(
    Severity.WARNING,
    Code.PAIR_OTHER,
    NOON_S,
    "PL80-0001",
    Pair("1", "3"),
    facts={"said": "That reads like 1–3."},
)

CHECK = CheckStandard(
    bench="bench-1",
    meter_id="meter",
    resistor="R1",
    certificate_ohm=100.0,
    certificate_expanded_ohm=0.02,
    raw_ohm=100.13,
    lead_ohm=0.12,
    reading_ohm=100.01,
    standard_uncertainty_ohm=0.01,
    expanded_ohm=0.02,
    in_control=True,
    signs=(),
    centre_ohm=None,
    lower_ohm=None,
    upper_ohm=None,
    moving_range_upper_ohm=None,
    stops=True,
    quantity=Quantity.RESISTANCE,
    operator="",
    meter_hash="m",
    bench_hash="b",
    software="test",
    utc_s=5.0,
)
TYPED = TypedResult(
    bench="bench-1",
    serial="A1",
    sheet="Plover 80",
    sheet_hash="s",
    purpose=Purpose.FINAL,
    batch="",
    operator="",
    name="insulation 1 to CORE",
    result_kind=ResultKind.INSULATION,
    typed="insulation = 120 Mohm",
    value_si=120e6,
    unit="ohm",
    at_least=False,
    test_volt=500.0,
    hertz=None,
    instrument="IR-2",
    accuracy=0.05,
    celsius=21.0,
    correction="thermoplastic",
    reference_celsius=40.0,
    reference_si=32e6,
    lower_si=5e6,
    upper_si=None,
    pattern_si=None,
    pattern="",
    deviation=None,
    outcome=Outcome.PASS,
    stated=False,
    conformance_probability=1.0,
    software="test",
    utc_s=6.0,
    why=TypedWhy.LIMITS,
    expanded_si=1.5e6,
    guard_band_si=1.5e6,
    asked_volt=500.0,
)

BATCH = Batch(
    bench="north bench",
    batch="lot 7",
    deed=BatchEvent.OPENED,
    state=BatchState.RUNNING,
    sheet="Plover 80",
    sheet_hash="5e" * 32,
    expected=40,
    spools=(WoundFrom("slow charge", "36-A", 1.3698, 0.0004), WoundFrom("trigger", "38-C")),
    first_serial="",
    operator="Ida",
    remark="for the spring orders",
    utc_s=NOON_S - 60.0,
)

IMPORTED = ImportedResult(
    bench="north bench",
    serial="PL80-0001",
    sheet="Plover 80",
    sheet_hash="5e" * 32,
    purpose=Purpose.FINAL,
    batch="lot 3",
    operator="Ida",
    step="slow charge",
    pin_a="1",
    pin_b="2",
    value_ohm=203.4,
    celsius=21.0,
    reference_celsius=20.0,
    reference_ohm=202.6039,
    expanded_ohm=None,
    outcome=Outcome.PASS,
    instrument="hand meter",
    remark="",
    measured_utc_s=NOON_S - 1e8,
    source="paper.csv",
    source_line=2,
    source_hash="9c" * 32,
    software="steadyohm 0.1.0",
    utc_s=NOON_S,
)

ALL = (VERDICT, STARTED, RESULT, ZERO, CHECK, TYPED, BATCH, NOTICE, IMPORTED)


def verdict(number=1, **changes):
    """The known verdict with a serial of its own, so that it can be told from others."""
    return replace(VERDICT, **{"serial": f"PL80-{number:04d}", **changes})


def verdicts(count, **changes):
    """Several, each with its evidence, as the journal takes them."""
    return [(verdict(number, **changes), EVIDENCE) for number in range(1, count + 1)]
