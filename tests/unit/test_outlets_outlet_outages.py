"""What the operator hears of a broker or a CSV folder that is out of reach."""

from acquire.outlets.outlet import TELL_AFTER_S, Health, Outages

GONE = "The broker north:1883 cannot be reached: Connection refused. What waits stays on the journal."


def told(outages, healths, at_s):
    return [(notice.code, notice.facts) for notice in outages.notices(healths, at_s, 1e9 + at_s)]


def test_a_short_outage_is_nobodys_business():
    """A broker that restarts."""
    outages, health = Outages(), Health("mqtt", failing=GONE)
    assert told(outages, [health], 0.0) == []
    assert told(outages, [health], TELL_AFTER_S - 0.1) == []
    health.failing = ""
    assert told(outages, [health], TELL_AFTER_S + 5.0) == []


def test_a_long_outage_is_told_once_and_its_end_once():
    """With the outlet's own sentence; another outage is told again."""
    outages, health = Outages(), Health("mqtt", failing=GONE)
    for start_s in (0.0, 1000.0):
        health.failing = GONE
        assert told(outages, [health], start_s) == []
        assert told(outages, [health], start_s + 10.0) == [
            ("outlet.failing", {"outlet": "mqtt", "cause": GONE})
        ]
        assert [told(outages, [health], start_s + 10.0 + s) for s in range(1, 60)] == [[]] * 59
        health.failing = ""
        assert told(outages, [health], start_s + 75.0) == [
            ("outlet.back", {"outlet": "mqtt", "after_s": 75.0})
        ]
        assert told(outages, [health], start_s + 80.0) == []


def test_each_outlet_has_its_own_outage():
    """A full disk for the CSV, a dead broker: two sentences."""
    outages = Outages()
    healths = [Health("csv", failing="The CSV file cannot be written."), Health("mqtt", failing=GONE)]
    told(outages, healths, 0.0)
    assert [code for code, _ in told(outages, healths, 11.0)] == ["outlet.failing"] * 2
    healths[0].failing = ""
    assert [code for code, _ in told(outages, healths, 12.0)] == ["outlet.back"]
