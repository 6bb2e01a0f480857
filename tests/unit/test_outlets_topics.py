"""Topics and live payloads."""

import json

import jsonschema
import pytest

from acquire.journal.entry import Entry
from acquire.outlets import topics
from acquire.outlets.payload import as_json, schema_of
from acquire.records import Approach, Ask, Contact, LiftOff, Pair, Prompt, Settled
from drivers.reading import Quantity

OHMS = Quantity.RESISTANCE


def test_topics_are_built_from_the_benchs_name():
    """One tree a bench."""
    assert topics.Topics("north").of("verdict") == "steadyohm/v2/north/verdict"
    assert topics.Topics("north").of("command/reply") == "steadyohm/v2/north/command/reply"


@pytest.mark.parametrize("bench", ["a/b", "+", "#", "a b", "\x00", "Ω", "\ud800", "$SYS", "../x", "a/+/#"])
def test_a_hostile_bench_name_stays_one_level_of_the_topic(bench):
    """MQTT 5, 4.7.1: / + # mean something in a topic; NUL is forbidden."""
    topic = topics.Topics(bench).of("verdict")

    assert topic.split("/")[:2] == ["steadyohm", "v2"]
    assert topic.count("/") == 3
    assert not set(topic) & set("+#\x00 ")
    assert topic.isascii()


def test_units_and_verdicts_are_published_and_nothing_else():
    """Lead zeros and notices stay on the journal."""
    lasts = {
        kind: topics.Topics("b").last_of(Entry(1, "x-1", kind, 0.0, "", {}))
        for kind in ("verdict", "unit_started", "unit_result", "lead_zero", "notice")
    }
    assert lasts == {
        "verdict": "verdict", "unit_started": "unit", "unit_result": "unit", "lead_zero": "", "notice": ""
    }  # fmt: skip


def live_examples():
    settled = Settled("m", OHMS, 46.1, 0.0, 9.0, 0.0, 0.0, 0.0, 10, None, None, 0.0, 1.0, 1.0)
    prompt = Prompt(Ask.TOUCH, "PL80-1", Pair("1", "2"), "slow charge", 1, 4)
    return [
        topics.Status("b", topics.State.ONLINE, "steadyohm 1", "0a" * 8, 1.5),
        topics.shown_prompt(prompt, "b", 2.5),
        topics.shown_prompt(Prompt(Ask.WAIT), "b", 2.5),
        topics.shown_reading(Approach("m", OHMS, 46.0, 7.5, 1.0, 2.0), "b"),
        topics.shown_reading(settled, "b"),
        topics.shown_reading(LiftOff("m", 1.0, 2.0), "b"),
        topics.Reply("b", "c", done=False, reason="no", utc_s=1.0),
    ]


@pytest.mark.parametrize("said", live_examples(), ids=lambda said: type(said).__name__)
def test_what_is_said_live_keeps_its_schema(said):
    """Checked by the jsonschema package."""
    schema = schema_of(type(said), "x", head={"schema": {"const": 2}})
    jsonschema.Draft202012Validator.check_schema(schema)

    jsonschema.validate(json.loads(as_json(topics.live_payload(said))), schema)


def test_a_reading_says_what_the_probes_do():
    """Settling, settled, lifted."""
    settling, settled, lifted = live_examples()[3:6]

    assert (settling.touch, settling.value_si, settling.unit, settling.settling_ratio) == (
        "settling",
        46.0,
        "ohm",
        7.5,
    )
    assert (settled.touch, settled.value_si) == ("settled", 46.1)
    assert (lifted.touch, lifted.value_si, lifted.quantity) == ("lifted", None, None)
    assert topics.shown_reading(Contact("m", 1.0, 2.0), "b") is None
