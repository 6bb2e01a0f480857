"""What a trial of the relays makes of its readings. The readings themselves are in tests/scene."""

import pytest

from acquire.bench.fixture import Wiring
from acquire.bench.fixture_setup import Trial, trial_lines

PINS = ("1", "2", "3")
WIRING = Wiring({p: 100 + int(p) for p in PINS}, {p: 200 + int(p) for p in PINS})


def trial(*, separate=False, plugged=False, welded=(), dead=()):
    """What a fixture reads with these relays stuck or dead, by its circuit."""
    it = Trial(WIRING, separate, plugged)

    def read(high, low):
        highs = ({*high} | {p for b, p in welded if b == "high"}) - {p for b, p in dead if b == "high"}
        lows = ({*low} | {p for b, p in welded if b == "low"}) - {p for b, p in dead if b == "low"}
        joined = highs and lows and (plugged or (not separate and highs & lows))
        return 0.4 if joined else None

    it.nothing_ohm = read((), ())
    for pin in PINS:
        it.high_alone[pin], it.low_alone[pin] = read((pin,), ()), read((), (pin,))
        for other in PINS:
            it.pairs[pin, other] = read((pin,), (other,))
    return it


@pytest.mark.parametrize("separate", [False, True])
@pytest.mark.parametrize("plugged", [False, True])
def test_a_sound_fixture_has_no_findings(separate, plugged):
    """However it is built and tried."""
    it = trial(separate=separate, plugged=plugged)
    assert it.findings() == []
    assert "every relay opens and closes as it should." in trial_lines(it)


@pytest.mark.parametrize("bus", ["high", "low"])
@pytest.mark.parametrize("pin", PINS)
@pytest.mark.parametrize(("separate", "plugged"), [(False, False), (False, True), (True, True)])
def test_one_stuck_relay_is_found(bus, pin, separate, plugged):
    """By its channel where pins are apart; by its bus where a plug joins them all."""
    (found,) = trial(separate=separate, plugged=plugged, welded=[(bus, pin)]).findings()
    channel = (WIRING.high if bus == "high" else WIRING.low)[pin]
    assert (f"{pin}'s {bus} relay (channel {channel}) is stuck closed" in found) or (
        plugged and f"one of the {bus} bus is stuck closed" in found
    )


@pytest.mark.parametrize("bus", ["high", "low"])
@pytest.mark.parametrize("pin", PINS)
@pytest.mark.parametrize(("separate", "plugged"), [(False, True), (True, True)])
def test_one_dead_relay_is_named_with_a_plug(bus, pin, separate, plugged):
    """Every path through it is open."""
    (found,) = trial(separate=separate, plugged=plugged, dead=[(bus, pin)]).findings()
    assert found.startswith(f"{pin} on the {bus} bus")


@pytest.mark.parametrize("bus", ["high", "low"])
def test_without_a_plug_a_dead_relay_is_one_of_a_pins_two(bus):
    """Both meet in the wire to the clip, so that neither conducts."""
    found = trial(dead=[(bus, "2")]).findings()
    assert len(found) == 2
    assert all(line.startswith("2 on the ") for line in found)


def test_two_stuck_relays_that_meet_are_told_with_everything_open():
    """Nothing else can be told then."""
    found = trial(welded=[("high", "1"), ("low", "1")]).findings()
    assert "both buses" in found[0]


def test_wires_that_touch_in_the_fixture_are_told():
    """Nothing is clipped in, and yet."""
    it = trial()
    it.pairs["1", "3"] = it.pairs["3", "1"] = 0.2
    assert it.findings() == ["1 and 3 conduct, 0.2 Ω, with nothing clipped in: a short in the fixture."]
