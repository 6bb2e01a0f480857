"""Every basis, fit and rule has a sentence that tells its facts."""

from dataclasses import replace

import pytest

from acquire.records import (
    BalanceFound,
    BalanceKind,
    Basis,
    Finding,
    FindingKind,
    Fit,
    Limits,
    Outcome,
    Pair,
)
from acquire.words.verdicts import balance, contradiction, decided, hint, reason
from tests.known_records import VERDICT

FAILED = replace(VERDICT, outcome=Outcome.FAIL, reference_ohm=None, expanded_ohm=None)

REASONS = {
    Basis.MEASURED: (
        {},
        "202.71 Ω is 11.96 Ω below the upper limit of 214.67 Ω; U = 0.42 Ω, guard band 0.42 Ω.",
    ),
    Basis.REPEATED: (
        {"moved": 0.0123, "moved_allowed": 0.004},
        "moved by +1.23 % during the test, 0.40 % allowed",
    ),
    Basis.OPEN_BY_KEY: ({}, "open circuit, with the probes confirmed to be on the pins"),
    Basis.OPEN_BY_CLIP: (
        {"nominal_ohm": None},
        "open as it should be, with the clips confirmed to be on the pins",
    ),
    Basis.OPEN_BRACKETED: ({}, "open circuit, between touches of two known continuities"),
    Basis.OPEN_PROVEN: (
        {"witness": (Pair("1", "1"), Pair("2", "3"), Pair("4", ""))},
        "open circuit, with both clips proven: 1 by its two contacts; 2 conducts to 3; 4 confirmed by key",
    ),
    Basis.PAPER: ({}, "from paper"),
    Basis.TYPED: (
        {},
        "202.71 Ω is 11.96 Ω below the upper limit of 214.67 Ω; U = 0.42 Ω, guard band 0.42 Ω. "  # noqa: ISC004
        "Typed from the display.",
    ),
}


@pytest.mark.parametrize("basis", Basis)
def test_every_basis_has_its_reason(basis):
    """With all facts that it rests on."""
    facts, words = REASONS[basis]
    found = VERDICT if basis in (Basis.MEASURED, Basis.TYPED) else FAILED
    assert reason(replace(found, basis=basis, **facts)) == words


def test_a_repetition_that_is_doubted_says_so():
    """Nothing has moved as far as anybody knows."""
    assert "one of them is asked for again" in reason(replace(VERDICT, basis=Basis.REPEATED))


def test_the_reason_names_the_nearer_limit_and_the_numbers():
    """In the unit of what was judged; a guard band only where there is one."""
    limits = Limits(95.0, 105.0)
    high = decided(Outcome.CONDITIONAL_PASS, 104.6, 1.0, limits, guard_band=1.0)
    assert high == "104.6 Ω is 0.4 Ω below the upper limit of 105.0 Ω; U = 1.0 Ω, guard band 1.0 Ω."
    low = decided(Outcome.FAIL, 94.0, 0.5, limits, guard_band=0.0)
    assert low == "94.00 Ω is 1.00 Ω below the lower limit of 95.00 Ω; U = 0.50 Ω."
    assert " mH " in decided(Outcome.PASS, 0.9, 0.02, Limits(0.8, 1.0), guard_band=0.0, unit="H")


def test_what_cannot_be_judged_says_why():
    """A poor meter, or a risk that even the middle of the limits exceeds."""
    limits = Limits(95.0, 105.0)
    poor = decided(Outcome.CANNOT_JUDGE, 100.0, 6.0, limits, guard_band=6.0)
    assert poor == "U = 6.0 Ω exceeds the tolerance of 5.0 Ω: this meter, wired like this, cannot judge it."
    risky = decided(Outcome.CANNOT_JUDGE, 100.0, 4.0, limits, guard_band=4.0)
    assert risky == "With U = 4.0 Ω even a perfect value carries more than the stated risk."


ASKED, OTHERS = Pair("1", "2"), (Pair("1", "3"), Pair("4", "5"))

HINTS = [
    (Fit.EXPECTED, {}, ""),
    (
        Fit.OTHER_PAIR,
        {"reads_like": OTHERS[:1], "reads_through": ("slow charge", "fast charge")},
        "That reads like 1–3 (slow charge and fast charge): move to 1–2.",
    ),
    (Fit.OTHER_PAIR, {"reads_like": OTHERS}, "That reads like 1–3 or 4–5: move to 1–2."),
    (
        Fit.OTHER_PAIR,
        {"reads_like": (ASKED,), "reads_through": ("slow charge",)},
        "Taken for 1–2 (slow charge).",
    ),
    (
        Fit.AMBIGUOUS,
        {"reads_like": OTHERS},
        "214.6 Ω may be a bad 1–2 or 1–3 or 4–5: make sure that the probes are on 1–2 and touch again.",
    ),
    (Fit.FAULT, {}, "214.6 Ω matches no pair of a good unit: touch 1–2 once more."),
    (Fit.FAULT, {"together": True}, "That reads like the probes touching each other: touch 1–2, apart."),
]


@pytest.mark.parametrize(("fit", "facts", "words"), HINTS)
def test_every_fit_has_its_hint(fit, facts, words):
    """With pairs, windings and value."""
    assert hint(replace(VERDICT, reference_ohm=214.6, fit=fit, counts=False, **facts)) == words


@pytest.mark.parametrize(("fit", "facts", "words"), HINTS)
def test_a_verdict_that_counts_asks_for_no_further_touch(fit, facts, words):
    """Another pair is asked for already."""
    counted = hint(replace(VERDICT, reference_ohm=214.6, fit=fit, counts=True, **facts))
    assert "touch" not in counted.replace("touching each other", "")
    assert "move to" not in counted
    assert words.startswith(counted.rstrip("."))


def test_hints_are_listed_for_every_fit():
    """None is forgotten."""
    assert {fit for fit, _, _ in HINTS} == set(Fit)


def test_a_limit_reads_as_the_sheet_states_it():
    """1 % of a matching is 1 %, not half of it; of a balance 1.25 % stays 1.25 %."""
    found = BalanceFound("output", ("S1", "S2"), (98.5, 101.5), 0.03, 0.004, 0.01, "S2", Outcome.FAIL)
    assert balance(replace(found, kind=BalanceKind.APART)) == (
        "S1 and S2 of output differ by 3 %, U = 0.4 %, limit 1 %."
    )
    assert balance(replace(found, deviation=0.015, limit=0.0125)) == (
        "S2 is 1.5 % above the mean of output, U = 0.4 %, limit 1.25 %."
    )


def test_a_contradiction_names_pair_value_and_prediction():
    """Twice the standard uncertainty stands behind what was predicted."""
    found = Finding(FindingKind.CONTRADICTION, pair=ASKED, ohm=46.0, predicted_ohm=44.0, u_ohm=0.25)
    assert contradiction(found) == (
        "1–2 reads 46.00 Ω, but the other readings predict 44.00 Ω ± 0.5 Ω: was each pair the one asked for?"
    )
