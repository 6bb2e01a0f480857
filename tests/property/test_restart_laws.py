"""A restart is a replay: after a kill, outcome, prompts and requests are those without it."""

from __future__ import annotations

import random

import pytest

from acquire.heart.attempt import attempt_of
from acquire.heart.unit_state import UnitState
from acquire.records import Ending
from tests.restarts import as_from_a_file, begin_of, killed, play, restarted


@pytest.mark.parametrize("seed", range(4))
def test_a_unit_goes_on_after_a_kill_as_without_it(seed):
    """Random units, slips and words, check standards, fixtures, batches; killed after two of the actions."""
    story = play(seed)
    for after in random.Random(seed).sample(range(len(story.actions)), 2):
        with_kill, without = killed(story, after)
        assert with_kill == without, (seed, after, story.actions[after].name)


@pytest.mark.parametrize("seed", range(101, 103))
def test_the_record_of_what_was_done_is_what_was_done(seed):
    """After each action: the attempts told by the record alone, from a file, make the very same state."""

    def same(bench, records):
        unit = bench.pipeline.unit
        if unit is None:
            return
        live = unit.state
        told = UnitState(
            live.table,
            live.serial,
            order=live.order,
            warm_check=live._worth,
            placed=live.placed,
        )
        for record in as_from_a_file(records[begin_of(records) :]):
            attempt = attempt_of(record)
            if attempt is not None and record.serial == live.serial:
                told.apply(attempt)
        assert list(map(repr, told.attempts)) == list(map(repr, live.attempts))
        for step in (*told.states, *live.states):
            if step.bracket is not None:  # what the meter has shown since is not told
                step.bracket._lifted_s, step.bracket._shown = None, False
        assert repr(told.states) == repr(live.states)

    play(seed, creeps=True, watch=same)


@pytest.mark.parametrize("seed", range(200, 202))
def test_a_unit_of_other_files_ends_and_nothing_else(seed):
    """Killed, and started again with another sheet, whatever was going on."""
    story = play(seed)
    for after in random.Random(seed).sample(range(len(story.actions)), 3):
        before, _ = restarted(story, after)
        now, ended = restarted(story, after, content_hash="another")
        if before.pipeline.unit is None:
            assert ended == []
        else:
            (result,) = ended
            assert (result.serial, result.ending) == (before.pipeline.unit.serial, Ending.FILES_CHANGED)
            assert result.outcome is None
        assert now.pipeline.unit is None


@pytest.mark.long
def test_twenty_thousand_kills_change_nothing():
    """The same over 20,000 kills."""
    kills = seed = 0
    while kills < 20_000:
        seed += 1
        story = play(1000 + seed)
        for after in range(len(story.actions)):
            with_kill, without = killed(story, after)
            assert with_kill == without, (1000 + seed, after, story.actions[after].name)
            kills += 1
