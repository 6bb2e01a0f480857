"""The plan of a study: complete, random, the same for the same seed, and refusing what cannot be."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import InputImpossible
from acquire.study.record import parts_named, plan_of

TEN, TWO = [str(n) for n in range(1, 11)], ["ann", "bo"]


@given(st.integers(2, 12), st.integers(1, 4), st.integers(2, 4), st.integers(0, 10**6))
def test_everybody_measures_every_part_equally_often(parts, operators, trials, seed):
    plan = plan_of([f"S{n}" for n in range(parts)], [f"o{n}" for n in range(operators)], trials, seed)
    counts = Counter((turn.label, turn.operator, turn.trial) for turn in plan.turns)
    assert len(plan.turns) == parts * operators * trials == len(counts)
    assert [turn.number for turn in plan.turns] == list(range(1, len(plan.turns) + 1))
    assert len({part.label for part in plan.parts}) == parts
    for before, after in zip(plan.turns, plan.turns[1:], strict=False):
        assert (before.label, before.operator) != (after.label, after.operator)


def test_the_same_seed_gives_the_same_plan_and_another_gives_another():
    assert plan_of(TEN, TWO, 3, 7) == plan_of(TEN, TWO, 3, 7)
    assert plan_of(TEN, TWO, 3, 7).turns != plan_of(TEN, TWO, 3, 8).turns


def test_one_operator_after_the_other_in_each_round():
    """Nobody need hand the probes over after each part."""
    plan = plan_of(TEN, TWO, 3, 7)
    blocks = [plan.turns[i : i + 10] for i in range(0, 60, 10)]
    assert all(len({(t.operator, t.trial) for t in block}) == 1 for block in blocks)
    assert len({tuple(t.label for t in block) for block in blocks}) == 6


def test_labels_tell_nothing_of_the_names():
    plan = plan_of(TEN, TWO, 3, 7)
    labels = [part.label for part in plan.parts]
    assert labels != sorted(labels)
    assert plan.name_of(labels[3]) == "4"


@pytest.mark.parametrize(
    ("text", "parts"),
    [("3", ("1", "2", "3")), ("A1, A2 ,A3", ("A1", "A2", "A3")), ("", ()), ("7,8", ("7", "8"))],
)
def test_parts_are_counted_or_named(text, parts):
    assert parts_named(text) == parts


@pytest.mark.parametrize("text", ["0", "1", "61", "99999999999999999999"])
def test_a_number_of_parts_that_makes_no_study_is_refused(text):
    with pytest.raises(InputImpossible, match="2 to 60 parts"):
        parts_named(text)


@pytest.mark.parametrize(
    ("parts", "operators", "trials", "told"),
    [
        (["1"], TWO, 3, "2 to 60 parts"),
        (TEN, [], 3, "1 to 12 operators"),
        (TEN, TWO, 1, "2 to 12 trials"),
        (TEN, TWO, 99, "2 to 12 trials"),
        (["1", "1"], TWO, 3, "stands there twice"),
        (TEN, ["ann", "ann"], 3, "stands there twice"),
        (TEN, ["a\x1bn"], 3, "is no name"),
        (TEN, ["x" * 61], 3, "is no name"),
    ],
)
def test_plans_that_cannot_be_are_refused(parts, operators, trials, told):
    with pytest.raises(InputImpossible, match=told):
        plan_of(parts, operators, trials, 1)
