"""The display: words and shapes, odd names as they are, narrow screens, a reader that has left."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from acquire.outlets.terminal import SIGNS, Terminal, limits_scale, rest_bar, verdict_line
from acquire.records import (
    Approach,
    Ask,
    Code,
    Ending,
    Evidence,
    Judged,
    LeadZero,
    Notice,
    Outcome,
    Prompt,
    Severity,
    TypedWhy,
    UnitStarted,
    Untested,
    UntestedKind,
)
from acquire.records.codes import ASKED_FOR
from acquire.words.beside import typed_reason
from acquire.words.saying import sureness
from acquire.words.verdicts import reason
from drivers.reading import Quantity
from tests.known_records import CHECK, RESULT, STARTED, TYPED, VERDICT
from tests.known_visits import INSULATION, TURNS

NOTHING = Evidence((), (), "")


def shown(*events, width=100, real=False):
    """What is on the screen after these events, and after the summary."""
    out = io.StringIO()
    console = Console(
        file=out,
        width=width,
        markup=False,
        emoji=False,
        highlight=False,
        force_terminal=real,
        color_system=None,
    )
    with Terminal(console) as display:
        for event in events:
            display.show(event)
    console.print(display.summary())
    return out.getvalue()


@pytest.mark.parametrize("outcome", Outcome)
def test_every_outcome_is_a_word_and_a_shape(outcome):
    """Never a colour alone: no two share either."""
    text = shown(Judged(replace(VERDICT, outcome=outcome), NOTHING))
    shape, words, _ = SIGNS[outcome]
    assert f"{shape} {words}" in text
    assert len({s[0] for s in SIGNS.values()}) == len({s[1] for s in SIGNS.values()}) == len(Outcome)


def test_a_verdict_shows_value_limits_and_uncertainty():
    """With no more digits than the uncertainty has."""
    text = verdict_line(VERDICT).plain
    assert "202.71 ± 0.42 Ω" in text
    assert "190.4" in text
    assert "214.7" in text


def test_a_verdict_that_does_not_count_yet_says_so():
    """And keeps its reason for the one that does."""
    text = verdict_line(replace(VERDICT, outcome=Outcome.FAIL, counts=False)).plain
    assert "; again" in text
    assert reason(VERDICT) not in text


@pytest.mark.parametrize("outcome", list(Outcome))
@pytest.mark.parametrize("counts", [True, False])
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"reference_ohm": None, "expanded_ohm": None},
        {"reference_ohm": 0.0133, "expanded_ohm": 0.0021, "lower_ohm": None, "upper_ohm": 0.05},
        {"reference_ohm": 0.3997, "expanded_ohm": 0.0042, "lower_ohm": 0.3557, "upper_ohm": 0.4821},
        {"reference_ohm": 12345.6, "expanded_ohm": 23.0, "lower_ohm": 11500.0, "upper_ohm": 13500.0},
        {"pin_b": "CORE", "lower_ohm": 5e7, "upper_ohm": None},
    ],
)
def test_a_verdict_takes_one_line_of_80_columns(outcome, counts, changes):
    """Whatever its word; a reason, or that it is asked for again, may stand below."""
    verdict = replace(VERDICT, outcome=outcome, counts=counts, step="a step with a long name", **changes)
    first, *below = verdict_line(verdict).plain.splitlines()
    assert len(first) <= 80
    assert "e+" not in first
    assert SIGNS[outcome][1] in first
    assert counts or "again" in f"{first}{below}"


def test_an_open_circuit_shows_its_limits_as_a_range():
    """There is no value to draw between them."""
    text = verdict_line(replace(VERDICT, reference_ohm=None, expanded_ohm=None)).plain
    assert " open 190.4 to 214.7 " in text


@pytest.mark.parametrize("serial", ["[/]", "[bold]", ":boom:", "[link=x]y[/link]", "=1+1", "\\[x", "日本"])
def test_odd_serials_are_shown_as_they_are(serial):
    """Nothing in a name is an instruction to the display."""
    started = replace(STARTED, serial=serial)
    text = shown(started, replace(RESULT, serial=serial))
    assert text.count(serial) == 2


@pytest.mark.parametrize(
    ("wait_s", "told"),
    [(20.0, "1 min"), (5400.0, "90 min"), (5401.0, "2 h"), (8000.0, "2.5 h"), (36e3, "10 h")],
)
def test_a_held_unit_says_when_to_try_again(wait_s, told):
    """In minutes or half hours, never too short."""
    text = shown(replace(RESULT, outcome=None, ending=Ending.WARM, wait_s=wait_s, hypotheses=()))
    assert f"held: the unit is warm; try again in about {told}" in text


def test_a_unit_given_up_says_so_once():
    """Not "held", and not twice."""
    text = shown(replace(RESULT, outcome=None, ending=Ending.EARLY, remark="dropped", hypotheses=()))
    first = text.splitlines()[0]
    assert first.count("ended early: dropped") == 1
    assert "held" not in text


@given(
    lower=st.floats(0.1, 1e5),
    width=st.floats(1e-6, 10.0),
    at=st.floats(-5.0, 5.0),
    reach=st.floats(0.0, 10.0),
)
def test_the_scale_keeps_its_width_whatever_the_value(lower, width, at, reach):
    """Also far outside the limits."""
    upper = lower * (1 + width)
    verdict = replace(
        VERDICT,
        lower_ohm=lower,
        upper_ohm=upper,
        reference_ohm=lower + at * (upper - lower),
        expanded_ohm=reach * (upper - lower),
    )
    drawn = limits_scale(verdict)
    assert len(drawn) in {0, 9}
    assert drawn.count("◆") == (1 if upper > lower else 0)
    assert verdict_line(verdict).plain


@pytest.mark.parametrize(
    "changes",
    [
        {"lower_ohm": None},
        {"upper_ohm": None},
        {"lower_ohm": None, "upper_ohm": None},
        {"reference_ohm": None, "expanded_ohm": None},
        {"expanded_ohm": 0.0},
        {"expanded_ohm": 1e9},
        {"reference_ohm": 0.0},
    ],
)
def test_whatever_is_missing_the_line_is_drawn(changes):
    """One limit, none, no value, no uncertainty."""
    assert "slow charge" in verdict_line(replace(VERDICT, **changes)).plain


def test_a_narrow_screen_loses_no_word():
    """At 60 columns lines wrap; nothing is cut."""
    text = shown(
        STARTED,
        Prompt(Ask.TOUCH, "PL80-0001", step="slow charge"),
        Judged(replace(VERDICT, outcome=Outcome.FAIL, step="a step with a long name"), NOTHING),
        Notice(
            Severity.STOP, Code.METER_LOST, 0.0, facts={"said": "The meter gives no readings: " + "x" * 70}
        ),
        RESULT,
        width=60,
    )
    assert all(len(line) <= 60 for line in text.splitlines())
    flat = text.replace("\n", "").replace(" ", "")
    for words in ("202.71±0.42Ω", "FAIL", "x" * 70, "fastchargeareshorted"):
        assert words in flat


def test_a_real_terminal_shows_what_is_going_on():
    """Prompt, settling and what is being typed share the living line, which leaves nothing behind."""
    out = io.StringIO()
    console = Console(file=out, width=100, force_terminal=True, color_system=None)
    with Terminal(console) as display:
        display.show(Prompt(Ask.TOUCH, "A", pair=("1", "2"), step="slow charge", steps_done=1, steps_total=7))
        display.show(Approach("m", Quantity.RESISTANCE, 202.5, 12.0, 1.0, 1.0))
        display.typing("P80-00")
        display._live.refresh()
        assert "Touch 1–2 (slow charge).  [1/7]" in out.getvalue()
        assert "settling  202.5 Ω" in out.getvalue()
        assert "P80-00" in out.getvalue()


def test_rest_is_drawn_as_an_empty_bar():
    """Full when far away."""
    assert rest_bar(0.5) == rest_bar(float("nan")) == "·" * 8
    assert rest_bar(1e9) == "▪" * 8
    assert "▪" in rest_bar(1.1)


@pytest.mark.parametrize(("chance", "words"), [(1.0, "over 99 %"), (0.994, "over 99 %"), (0.52, "52 %")])
def test_nothing_is_ever_certain(chance, words):
    """Not even at one."""
    assert sureness(chance) == words


def test_lead_zero_and_remarks_are_told():
    """With their severity as a word."""
    text = shown(
        LeadZero("b", "m", 0.1234, 0.003, 0.0),
        Notice(Severity.INFO, Code.NOTE, 0.0, facts={"note": "dusty"}),
        Notice(Severity.WARNING, Code.PAIR_OTHER, 0.0, facts={"said": "That reads like 1–3."}),
    )
    assert "0.1234 Ω, zeroed" in text
    assert "info: dusty" in text
    assert "warning: That reads like 1–3." in text


def test_a_typed_result_that_cannot_be_judged_says_so_at_once():
    """That, why, what it means for the unit, and what to do."""
    doubtful = replace(TYPED, outcome=Outcome.CANNOT_JUDGE, why=TypedWhy.NO_ACCURACY)
    text = " ".join(shown(doubtful).split())
    assert "? cannot judge" in text
    assert f"could not be judged, so {TYPED.serial} cannot pass until it is measured or typed again" in text
    assert typed_reason(doubtful) in text


@pytest.mark.parametrize("code", sorted(ASKED_FOR))
def test_an_answer_is_no_notice(code):
    """What somebody asked for stands as it is, a line each; a note keeps its word."""
    text = shown(Notice(Severity.INFO, code, 0.0, facts={"said": "Type this.\nOr that."}))
    assert [line.strip() for line in text.splitlines()][:2] == ["Type this.", "Or that."]
    assert "info: dusty" in shown(Notice(Severity.INFO, Code.NOTE, 0.0, facts={"note": "dusty"}))


def test_a_long_sentence_is_set_in_where_it_wraps():
    """No word is lost, and none but the first line begins at the edge."""
    sentence = "That reads like 1–3, both charge windings in series: move to 1–2, and touch again. " * 3
    text = shown(Notice(Severity.WARNING, Code.PAIR_OTHER, 0.0, facts={"said": sentence.strip()}), width=60)
    first, *others = [line for line in text.splitlines() if line.strip()][:-1]
    assert first.startswith("  warning: That")
    assert all(line.startswith(" " * 10) for line in others)
    assert " ".join(text.split()).startswith(f"warning: {sentence.strip()}")


def test_a_started_unit_is_announced():
    """By its serial."""
    assert "Unit PL80-0001" in shown(STARTED)
    assert isinstance(STARTED, UnitStarted)


def test_the_check_standard_shows_whether_the_bench_is_in_control():
    """As a word and a shape, with the certified value beside it."""
    assert "● in control" in shown(CHECK)
    assert "✖ OUT OF CONTROL" in shown(replace(CHECK, in_control=False))


def test_a_typed_result_shows_what_was_typed_and_what_a_rule_says():
    """The reason only where it is no plain pass."""
    assert "insulation = 120 Mohm" in shown(TYPED)
    assert "● pass" in shown(TYPED)
    failed = replace(TYPED, outcome=Outcome.FAIL, why=TypedWhy.SHORT)
    assert "a short: 0 Ω." in shown(failed)


POLARITY = Untested(UntestedKind.STEP, "step:polarity", "polarity")


def test_what_was_not_tested_stands_below_the_result():
    """It blocks nothing, and it is not hidden either."""
    assert "not tested: insulation" in shown(replace(RESULT, untested=(INSULATION,)))


def test_what_ohms_cannot_exclude_is_said_once_a_run():
    """It is true of every unit; the record has it with each."""
    passed = replace(RESULT, outcome=Outcome.PASS, untested=(POLARITY, TURNS))
    text = shown(passed, passed, passed)
    assert text.count("faults between turns") == 1
    assert text.count("polarity") == 3
