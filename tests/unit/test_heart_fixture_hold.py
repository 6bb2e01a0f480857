"""What the heart knows of a fixture, alone and inside the pipeline."""

import pytest

from acquire.heart.fixture_hold import FixtureHold
from acquire.records import (
    Ask,
    Basis,
    ConfirmOpen,
    FixtureMoved,
    FixtureOpen,
    GiveUpUnit,
    Judged,
    Outcome,
    Pair,
    Prompt,
    StartUnit,
    Undo,
    Why,
)
from tests.pure_bench import GOOD, Bench

TOUCH = Prompt(Ask.TOUCH, "A", Pair("1", "2"), "slow charge", 0, 6)


def test_a_unit_is_asked_to_be_clipped_in_first():
    """Whatever would come next."""
    hold = FixtureHold()
    asked = hold.prompt(TOUCH)
    assert (asked.ask, asked.pair, asked.step) == (Ask.CLIP_ON, None, "")
    assert (asked.ask, asked.why) == (Ask.CLIP_ON, Why.FIXTURE)
    assert hold.clip_on()
    assert not hold.clip_on(), "the second press means something else"
    assert (hold.prompt(TOUCH).why, hold.prompt(TOUCH).times) == (Why.FIXTURE, 0)
    hold.emptied()
    assert hold.prompt(TOUCH).ask is Ask.CLIP_ON


@pytest.mark.parametrize(
    ("pins", "prompt", "fits"),
    [
        (("1", "2"), TOUCH, True),
        (("2", "1"), TOUCH, True),
        (("1", "3"), TOUCH, False),
        (("", ""), TOUCH, False),
        (("1", "1"), Prompt(Ask.SHORT_PROBES), True),
        (("1", "2"), Prompt(Ask.SHORT_PROBES), False),
        (("S1", "S2"), Prompt(Ask.CHECK_RESISTOR), True),
        (("1", "2"), Prompt(Ask.CHECK_RESISTOR), False),
        (("1", "2"), Prompt(Ask.START_UNIT), False),
        (("1", "2"), None, False),
    ],
)
def test_a_value_counts_only_where_the_relays_are(pins, prompt, fits):
    """They follow a prompt a moment later."""
    hold = FixtureHold(standard=frozenset(("S1", "S2")))
    hold.moved(FixtureMoved(*pins))
    assert hold.fits(prompt) is fits


def test_a_resistor_held_by_hand_is_read_with_every_relay_open():
    """At the meter's own terminals; with a pair closed it would be in parallel with the unit."""
    hold, asked = FixtureHold(), Prompt(Ask.CHECK_RESISTOR)
    assert hold.fits(asked)
    hold.moved(FixtureMoved("1", "2"))
    assert not hold.fits(asked)


def test_leads_with_contacts_of_their_own_are_zeroed_in_the_next_unit():
    """Between units nothing joins them."""
    zero = Prompt(Ask.SHORT_PROBES)
    assert FixtureHold().prompt(zero).why is Why.FIXTURE
    asked = FixtureHold(separate_contacts=True).prompt(zero)
    assert asked.ask is Ask.START_UNIT
    assert asked.why is Why.CLIP_FIRST
    hold = FixtureHold(separate_contacts=True, clipped=True)
    assert hold.prompt(Prompt(Ask.SHORT_PROBES, "A")).ask is Ask.SHORT_PROBES


class FixtureBench(Bench):
    """A pipeline with ideal relays; a unit is clipped in and the leads are zeroed."""

    def __init__(self):
        super().__init__()
        self.pipeline.fixture = FixtureHold()
        self.command(StartUnit("A"))
        assert self.prompt.ask is Ask.CLIP_ON
        self.command(ConfirmOpen())
        assert self.prompt.ask is Ask.SHORT_PROBES
        self.at("1", "1", 0.0)

    def at(self, a, b, ohm):
        """Close a pair and hold it."""
        self.command(FixtureMoved(a, b))
        return self.hold(ohm)


def test_a_value_of_the_pair_before_is_nobodys():
    """The relays are still on 1–2 when 2–3 is asked for."""
    bench = FixtureBench()
    bench.at("1", "2", GOOD["1", "2"])
    assert len(bench.of(Judged)) == 1
    bench.hold(GOOD["2", "3"])
    assert len(bench.of(Judged)) == 1, "a verdict on a pair that is not at the meter"
    bench.at("3", "2", GOOD["2", "3"])
    assert [j.verdict.outcome for j in bench.of(Judged)] == [Outcome.PASS, Outcome.PASS]


def test_a_value_like_another_pairs_is_judged_at_once():
    """Relays do not slip: 46 ohm on 1–2 is a fault or two pins swapped, not a wrong probe."""
    bench = FixtureBench()
    bench.at("1", "2", GOOD["2", "3"])
    (judged,) = bench.of(Judged)
    assert judged.verdict.outcome is Outcome.FAIL
    assert not judged.verdict.counts, "asked for once more like any fault"
    assert (bench.prompt.why, bench.prompt.times) == (Why.FIXTURE, 1)


def test_an_open_pair_carries_its_witness():
    """As the fixture says it; twice, like any failing value."""
    bench = FixtureBench()
    witness = (Pair("1", "1"), Pair("2", "2"))
    for _ in range(2):
        bench.command(FixtureMoved("1", "2"))
        bench.command(FixtureOpen(witness))
    judged = bench.of(Judged)
    assert [j.verdict.counts for j in judged] == [False, True]
    assert all((j.verdict.basis, j.verdict.witness) == (Basis.OPEN_PROVEN, witness) for j in judged)


def test_a_unit_that_comes_back_is_asked_to_be_clipped_in_again():
    """Given up, it may have been taken out."""
    bench = FixtureBench()
    bench.at("1", "2", GOOD["1", "2"])
    bench.command(GiveUpUnit("dropped"))
    bench.command(Undo())
    assert (bench.prompt.ask, bench.prompt.serial) == (Ask.CLIP_ON, "A")
    bench.command(ConfirmOpen())
    assert bench.prompt.pair == ("2", "3")


def test_without_a_fixture_nobody_clips_anything_in():
    """Hands hold the probes as ever."""
    bench = Bench()
    bench.begin()
    assert Ask.CLIP_ON not in {p.ask for p in bench.of(Prompt)}
