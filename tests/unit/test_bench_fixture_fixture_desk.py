"""Where a fixture's relays go, from what a person would see."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from acquire.bench.fixture import FixtureDesk, Place
from acquire.records import Ask, Code, Judged, Notice, Pair, Prompt, Severity, UnitResult
from tests.known_records import EVIDENCE, RESULT, STARTED, VERDICT, ZERO

TRIANGLE = frozenset(frozenset(pair) for pair in (("1", "2"), ("2", "3"), ("1", "3")))


def asking(a, b, ask=Ask.TOUCH):
    return Prompt(ask, "A", Pair(a, b), f"{a} to {b}")


def desk(**more):
    return FixtureDesk(TRIANGLE, "1", **more)


def judged(**changes):
    return Judged(replace(VERDICT, **changes), EVIDENCE)


def gone(the_desk):
    """Let the relays follow."""
    the_desk.leave()
    the_desk.at = the_desk.target()


def test_relays_follow_the_prompt_and_open_when_nothing_is_asked():
    """A pair, the leads, the resistor, a unit to be fetched."""
    it = desk(standard=Pair("S1", "S2"))
    assert it.target() is None
    it.see(asking("1", "2"))
    assert it.target() == Place("1", "2")
    it.see(Prompt(Ask.SHORT_PROBES))
    assert it.target() == Place("1", "1")
    it.see(Prompt(Ask.CHECK_RESISTOR))
    assert it.target() == Place("S1", "S2")
    it.see(Prompt(Ask.CLIP_ON, "A"))
    assert it.target() is None
    assert desk().target() is None


def test_a_resistor_held_by_hand_is_not_looked_for_behind_relays():
    """Everything opens; the operator has the leads."""
    it = desk()
    it.see(Prompt(Ask.CHECK_RESISTOR))
    assert it.target() is None


def test_a_pair_asked_for_again_is_opened_and_closed_again():
    """A second touch is a second contact of the relays."""
    it = desk()
    it.see(asking("1", "2"))
    gone(it)
    assert not it.must_move()
    it.see(judged())
    assert it.must_move()
    gone(it)
    assert not it.must_move()
    it.see(asking("1", "2", Ask.TOUCH_AGAIN))
    assert not it.must_move(), "the same request in other words"
    it.see(ZERO)
    assert it.must_move()


def test_a_pair_is_taken_the_way_round_that_shows_more():
    """Over a triangle every pin is seen on both buses."""
    it = desk()
    for pair in (("1", "2"), ("2", "3"), ("1", "3")):
        it.see(asking(*pair))
        gone(it)
        it.read()
        it.see(judged())
    assert it.seen == {(bus, pin) for bus in ("high", "low") for pin in "123"}


def test_a_pair_that_must_be_open_is_taken_by_relays_that_are_known():
    """Only 1 on the high and 2 on the low bus have been read through."""
    it = desk()
    it.see(asking("1", "2"))
    gone(it)
    it.read()
    it.see(judged())
    it.see(asking("2", "4"))
    assert it.target() == Place("4", "2")


def test_a_pin_is_proven_by_what_it_has_conducted_to_then_by_what_it_should():
    """Never by the pair in question; by its own two contacts first, where it has them."""
    it = desk()
    it.see(asking("1", "3"))
    gone(it)
    it.read()
    it.see(judged())
    it.see(asking("1", "4"))
    gone(it)
    assert list(it.proofs("high", "1")) == [Place("1", "3"), Place("1", "2")]
    assert list(it.proofs("low", "1")) == [Place("3", "1"), Place("2", "1")]
    assert list(it.proofs("low", "4")) == []
    it.separate_contacts = True
    assert next(it.proofs("low", "4")) == Place("4", "4")


def test_a_key_vouches_for_both_clips_until_the_unit_is_done():
    """And for no other unit."""
    it = desk()
    it.see(asking("1", "4"))
    gone(it)
    it.proving = Pair("1", "4")
    it.see(judged(raw_ohm=None, reference_ohm=None))
    assert it.by_key == {"1", "4"}
    it.see(RESULT)
    assert it.by_key == set()


def test_a_value_that_comes_after_all_vouches_for_nothing_by_key():
    """Somebody has pushed the clip on, and the pair conducts."""
    it = desk()
    it.proving = Pair("1", "2")
    it.see(judged())
    assert it.by_key == set()
    assert it.proving is None


def test_nothing_moves_while_an_open_pair_is_on_its_way_to_the_record():
    """Or the pair would be closed again for nothing."""
    it = desk()
    it.see(asking("1", "4"))
    it.told = True
    assert not it.must_move()
    it.see(Notice(Severity.WARNING, Code.COMMAND_REFUSED, 0.0))
    assert it.must_move()
    it.told = True
    it.see(judged())
    assert it.must_move()


EVENTS = st.sampled_from(
    [
        asking("1", "2"),
        asking("1", "3", Ask.TOUCH_AGAIN),
        asking("2", "4"),
        Prompt(Ask.SHORT_PROBES),
        Prompt(Ask.START_UNIT),
        judged(),
        judged(raw_ohm=None, reference_ohm=None),
        ZERO,
        STARTED,
        RESULT,
    ]
)


@given(st.lists(st.tuples(EVENTS, st.booleans()), max_size=30))
def test_relays_are_only_ever_where_something_is_asked_for(happenings):
    """After any events the pins of the target are those of the prompt, and moving there settles it."""
    it = desk()
    for event, read in happenings:
        it.see(event)
        if it.must_move():
            gone(it)
        if read:
            it.read()
        prompt = it.asked
        assert not it.must_move()
        if prompt is not None and prompt.pair is not None:
            assert it.at.pins == frozenset(prompt.pair)
        elif prompt is None or prompt.ask is not Ask.SHORT_PROBES:
            assert it.at is None
        if isinstance(event, UnitResult):
            assert not it.finite or read
