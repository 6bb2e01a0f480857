"""Numbers for a monitor and an answer for a health check."""

import json
import re

import pytest

from acquire.outlets.metrics import BenchFacts, exposition, health
from acquire.outlets.outlet import Health

FACTS = BenchFacts(
    bench="north bench",
    software="steadyohm 0.1.0",
    uptime_s=12.5,
    readings={"meter": 1000, "thermometer": 12},
    silence_s={"meter": 0.1, "thermometer": 2.0},
    verdicts={"pass": 7, "fail": 1},
    journal_seq=20,
    journal_bytes=4096,
    outlets=(Health("csv", 20, 8), Health("mqtt", 15, 3, 2, "The broker cannot be reached.")),
)

LINE = re.compile(
    r"steadyohm_[a-z_]+\{([a-z_]+=\"(\\.|[^\\\"\n])*\",?)+\} [-+]?([0-9.]+(e[-+]?[0-9]+)?|inf|nan)"
)
"""A sample of the text format 0.0.4 (prometheus.io, Exposition formats), as far as we use it."""


def samples(facts):
    found = {}
    for line in exposition(facts).splitlines():
        if not line.startswith("#"):
            name, value = line.rsplit(" ", 1)
            found[name] = float(value)
    return found


def test_the_text_follows_the_format():
    """HELP and TYPE before each family, one sample a line, a line feed at the end."""
    text = exposition(FACTS)

    assert text.endswith("\n")
    lines = text.splitlines()
    assert all(LINE.fullmatch(line) for line in lines if not line.startswith("#"))
    families = [line.split()[2] for line in lines if line.startswith("# TYPE")]
    assert len(set(families)) == len(families)
    for line in lines:
        if not line.startswith("#"):
            assert line.split("{")[0] in families
    for line in lines:
        if line.startswith("# TYPE") and line.endswith(" counter"):
            assert line.split()[2].endswith("_total")


def test_the_numbers_are_those_of_the_facts():
    """Backlog is what the outlet has still to send."""
    found = samples(FACTS)

    assert found['steadyohm_verdicts_total{bench="north bench",outcome="pass"}'] == 7
    assert found['steadyohm_outlet_backlog_entries{bench="north bench",outlet="mqtt"}'] == 5
    assert found['steadyohm_outlet_failing{bench="north bench",outlet="mqtt"}'] == 1
    assert found['steadyohm_outlet_failing{bench="north bench",outlet="csv"}'] == 0
    assert found['steadyohm_up{bench="north bench"}'] == 1


def test_a_hostile_name_cannot_forge_a_line():
    """Quote, backslash and line feed are escaped."""
    text = exposition(BenchFacts('a"} 1\nsteadyohm_up{bench="b\\', "x", 1.0))

    assert all(LINE.fullmatch(line) for line in text.splitlines() if not line.startswith("#"))


@pytest.mark.parametrize(
    ("change", "well", "word"),
    [
        ({}, True, "mqtt: The broker"),
        ({"halted": True}, False, "journal"),
        ({"silence_s": {"meter": 11.0}}, False, "silent for 11 s"),
        ({"silence_s": {"meter": None}}, False, "not given a reading"),
    ],
)
def test_the_health_answer_names_what_is_wrong(change, well, word):
    """A broker that is away is a trouble, but the bench can work: its verdicts wait on the journal."""
    facts = BenchFacts(**{**{name: getattr(FACTS, name) for name in BenchFacts.__slots__}, **change})
    status, body = health(facts)
    said = json.loads(body)

    assert status == (200 if well else 503)
    assert said["well"] is well
    assert word in " ".join(said["troubles"])


def test_all_well_has_no_troubles():
    """Nothing to say."""
    status, body = health(BenchFacts("b", "s", 1.0, silence_s={"meter": 0.5}))

    assert status == 200
    assert json.loads(body)["troubles"] == []
