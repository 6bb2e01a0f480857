"""A restart is a replay: after a kill, outcome, prompts and requests are those without it."""

from __future__ import annotations

import random

import pytest

from tests.restarts import killed, play


@pytest.mark.parametrize("seed", range(40))
def test_a_unit_goes_on_after_a_kill_as_without_it(seed):
    """Random units, slips and words; killed after five of the actions each."""
    story = play(seed)
    rng = random.Random(seed)
    for after in sorted(rng.sample(range(len(story.actions)), min(5, len(story.actions)))):
        with_kill, without = killed(story, after)
        assert with_kill == without, (seed, after, story.actions[after].name)


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
