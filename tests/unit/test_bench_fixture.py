"""A meter behind a switch card: what comes out, what stays in, and what is said of open pairs."""

import pytest

from acquire.bench.fixture import FixtureDesk, FixtureMeter, Place, Wiring
from acquire.clock import HandClock
from acquire.records import Ask, Code, FixtureMoved, FixtureOpen, Judged, Notice, Pair, Prompt, Severity
from drivers.errors import LinkLost, MeterRefused
from drivers.meter import Capabilities, Held, Setup
from drivers.reading import Kind, Origin, Quantity, Reading
from tests.known_records import EVIDENCE, VERDICT

PINS = ("1", "2", "3", "4")
WIRING = Wiring({p: 100 + int(p) for p in PINS}, {p: 200 + int(p) for p in PINS})
CONDUCTING = frozenset(frozenset(pair) for pair in (("1", "2"), ("2", "3"), ("1", "3")))


class Rig:
    """A meter and a card in memory, joined by a circuit: ohms by pair of pins."""

    meter_id = "meter"
    capabilities = Capabilities(frozenset(), settable=True, streaming=False)

    def __init__(self, circuit, *, separate=False, welded=()):
        self.circuit = {frozenset(pair): ohm for pair, ohm in circuit.items()}
        self.separate, self.welded = separate, set(welded)
        self.closed, self.log, self.setups = set(), [], []
        self.now_s, self.number, self.full_scale = 0.0, 0, 1e8
        self.broken = False
        desk = FixtureDesk(CONDUCTING, "1", separate_contacts=separate)
        self.fixture = FixtureMeter(self, self, WIRING, desk, HandClock(0.0))
        self.fixture.command, self.fixture.tell = self.ordered, self.told
        self.desk = desk
        self.orders, self.notices, self.refusing = [], [], False

    # what a meter is
    async def __aenter__(self):
        return self

    async def __aexit__(self, *_):
        pass

    async def configure(self, setup):
        self.setups.append(setup)
        self.full_scale = setup.expected_si or 1e8
        return Held(setup.quantity)

    async def readings(self):
        while True:
            if self.broken:
                raise LinkLost("gone")
            self.now_s += 0.1
            self.number += 1
            ohm = self.seen()
            over = ohm is None or ohm > self.full_scale
            yield Reading(
                meter_id="meter",
                quantity=Quantity.RESISTANCE,
                kind=Kind.OVERLOAD if over else Kind.VALUE,
                value_si=None if over else ohm,
                monotonic_s=self.now_s,
                utc_s=self.now_s,
                conversion=self.number,
                range_full_scale_si=self.full_scale,
                resolution_si=1e-3,
                range_origin=Origin.READ_BACK,
                raw=b"",
            )

    def seen(self):
        """Ohms at the terminals."""
        closed = self.closed | self.welded
        highs = {p for p in PINS if WIRING.high[p] in closed}
        lows = {p for p in PINS if WIRING.low[p] in closed}
        if highs & lows:
            return 0.4
        found = [self.circuit.get(frozenset((h, low))) for h in highs for low in lows]
        return min((ohm for ohm in found if ohm is not None), default=None)

    # what a card is
    async def open_all(self):
        self.closed = set()

    async def connect(self, channels):
        self.closed = set(channels)
        self.log.append(tuple(sorted(channels)))

    # what the daemon is
    async def ordered(self, command):
        if self.refusing:
            return [Notice(Severity.STOP, Code.COMMAND_REFUSED, 0.0, facts={"said": "no disk"})]
        self.orders.append(command)
        if isinstance(command, FixtureOpen):
            self.desk.see(Judged(VERDICT, EVIDENCE))
        return []

    async def told(self, notice):
        self.notices.append(notice)

    def ask(self, a, b, ask=Ask.TOUCH):
        self.desk.see(Prompt(ask, "A", Pair(a, b), f"{a} to {b}"))


async def some(rig, count):
    """So many readings, as a feed takes them."""
    async with rig.fixture:
        readings = rig.fixture.readings()
        seen = [(await anext(readings)).value_si for _ in range(count)]
        await readings.aclose()
    return seen


GOOD = {("1", "2"): 200.0, ("2", "3"): 46.0, ("1", "3"): 246.0}


async def test_the_pair_that_is_asked_for_comes_out_and_nothing_else():
    """Each bus alone is looked at first; those readings stay in."""
    rig = Rig(GOOD)
    rig.ask("2", "3")
    assert await some(rig, 3) == [46.0, 46.0, 46.0]
    assert rig.orders == [FixtureMoved("2", "3")]
    assert rig.log == [(), (201, 202, 203, 204), (101, 102, 103, 104), (102, 203)]


async def test_with_nothing_asked_every_relay_is_open():
    """And the meter reads overload."""
    rig = Rig(GOOD)
    assert await some(rig, 2) == [None, None]
    assert rig.log == []


@pytest.mark.parametrize(("channel", "bus"), [(101, "high"), (203, "low")])
async def test_a_stuck_relay_ends_the_readings(channel, bus):
    """Before any of a unit's values."""
    rig = Rig(GOOD, welded=[channel])
    rig.ask("1", "2")
    with pytest.raises(MeterRefused, match=f"a relay of the {bus} bus is stuck"):
        await some(rig, 1)
    assert rig.orders == []


async def test_an_open_pair_is_proven_by_what_its_pins_conduct_to():
    """1 and 4 are not joined; 4 has a path of its own for this test."""
    rig = Rig({**GOOD, ("4", "3"): 5.0})
    rig.desk.finite.add(frozenset(("3", "4")))
    rig.ask("1", "4")
    assert set(await some(rig, 6)) == {None}
    proofs = [order for order in rig.orders if isinstance(order, FixtureOpen)]
    assert proofs[0].witness == (("1", "2"), ("4", "3"))
    assert rig.orders[rig.orders.index(proofs[0]) - 1] == FixtureMoved(), "open before the heart is told"
    assert not rig.notices


async def test_an_open_pair_with_two_contacts_a_pin_is_proven_by_itself():
    """Kelvin clips."""
    rig = Rig(GOOD, separate=True)
    rig.ask("1", "4")
    await some(rig, 6)
    (proof, *_) = [order for order in rig.orders if isinstance(order, FixtureOpen)]
    assert proof.witness == (("1", "1"), ("4", "4"))


async def test_a_clip_that_nothing_proves_is_asked_for_once():
    """4 conducts to nothing: a person must look."""
    rig = Rig(GOOD)
    rig.ask("1", "4")
    await some(rig, 12)
    (notice,) = rig.notices
    assert notice.code == "fixture.unproven"
    assert notice.facts["pins"] == ("4",)
    assert not [order for order in rig.orders if isinstance(order, FixtureOpen)]
    assert rig.desk.proving == Pair("1", "4")


async def test_a_bad_joint_beyond_the_range_is_a_value_and_no_open_pair():
    """300 ohm where the range holds 120: the range is widened for this touch, and set back for the next."""
    rig = Rig({**GOOD, ("1", "2"): 300.0})
    narrow = Setup(Quantity.RESISTANCE, 120.0)
    async with rig.fixture:
        await rig.fixture.configure(narrow)
        rig.ask("1", "2")
        readings = rig.fixture.readings()
        seen = [(await anext(readings)).value_si for _ in range(6)]
        assert seen[-1] == 300.0
        assert not [order for order in rig.orders if isinstance(order, FixtureOpen)]
        assert rig.orders.count(FixtureMoved("1", "2")) == 2, "the heart begins the touch anew"
        rig.desk.see(Judged(VERDICT, EVIDENCE))
        rig.ask("2", "3")
        assert (await anext(readings)).value_si == 46.0
        assert rig.setups[-1] == narrow
        await readings.aclose()


async def test_while_the_heart_refuses_nothing_is_taken_for_closed():
    """The journal's disk is full: orders are refused, and given again when it is not."""
    rig = Rig(GOOD)
    rig.refusing = True
    rig.ask("1", "2")
    async with rig.fixture:
        readings = rig.fixture.readings()
        await anext(readings)
        assert rig.desk.at is None
        rig.refusing = False
        await anext(readings)
        assert rig.desk.at == Place("1", "2")
        assert rig.orders == [FixtureMoved("1", "2")]
        await readings.aclose()


async def test_after_a_broken_link_relays_begin_from_open():
    """What was closed is not believed any more; the pair is closed anew and told anew."""
    rig = Rig(GOOD)
    rig.ask("1", "2")
    assert await some(rig, 1) == [200.0]
    rig.broken = True
    with pytest.raises(LinkLost):
        await some(rig, 1)
    assert rig.desk.at is None
    rig.broken = False
    told = len(rig.orders)
    assert await some(rig, 1) == [200.0]
    assert len(rig.orders) == told + 1, "the heart is told again"
