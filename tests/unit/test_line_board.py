"""The board of all benches: which condition each is in, who runs old files, what today has brought."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.line.board import MOST_BENCHES, Board, Condition
from acquire.outlets.payload import as_json, payload_of
from acquire.outlets.topics import State, Status, Topics, live_payload
from acquire.records import Severity
from tests.known_records import NOTICE, RESULT, VERDICT
from tests.unit.test_line_incoming import entry

NOW_S = 1_764_072_000.0


def status(state=State.ONLINE, utc_s=NOW_S, **files):
    """As a bench says it."""
    said = Status("north", state, "steadyohm test", "0" * 16, utc_s, **files)
    return Topics("north").of("status"), as_json(live_payload(said))


def prompt(ask="touch", text="Touch 1–2."):
    """What its operator is asked."""
    return Topics("north").of("prompt"), as_json({"schema": 2, "bench": "north", "ask": ask, "text": text})


def record(made, last):
    """Something on the record."""
    return Topics("north").of(last), as_json(payload_of(entry(made)))


def board(*messages, at_s=NOW_S, **words):
    """A board that has heard these."""
    made = Board(**words)
    for topic, payload in messages:
        made.heard(topic, payload, at_s)
    return made


def condition(made, at_s=NOW_S):
    """Of the one bench."""
    (row,) = made.cards_shown(at_s)
    return Condition(row["condition"])


def test_a_bench_works_waits_or_is_silent():
    """By what it asks for and when it last recorded something."""
    assert condition(board(status(), prompt())) is Condition.WORKING
    assert condition(board(status(), prompt("start_unit"))) is Condition.IDLE
    assert condition(board(status(), (prompt()[0], b""))) is Condition.IDLE
    made = board(status(), prompt(), record(replace(VERDICT, utc_s=NOW_S), "verdict"))
    assert condition(made, NOW_S + 899.0) is Condition.WORKING
    assert condition(made, NOW_S + 901.0) is Condition.SILENT


def test_stopped_and_lost_are_two_things():
    """The will was composed when the connection began: what counts is when it was heard."""
    made = board(status(), status(State.STOPPED, NOW_S + 5.0))
    assert condition(made) is Condition.STOPPED
    made = board(status(), status(State.LOST, NOW_S), at_s=NOW_S + 3600.0)
    assert condition(made, NOW_S + 3600.0) is Condition.LOST
    assert made.cards_shown(NOW_S + 3600.0)[0]["since_utc_s"] == NOW_S + 3600.0
    assert board(prompt()).cards_shown(NOW_S) == [], "a prompt that was left behind is no bench"


def test_a_notice_that_stops_the_bench_shows_until_work_goes_on():
    """With its sentence."""
    stop = replace(
        NOTICE, severity=Severity.STOP, facts={"said": "The check standard is out of control."}, utc_s=NOW_S
    )
    made = board(status(), prompt(), record(stop, "notice"))
    assert condition(made) is Condition.HALTED
    assert made.cards_shown(NOW_S)[0]["detail"] == "The check standard is out of control."
    made.heard(*record(replace(RESULT, utc_s=NOW_S), "unit"), NOW_S)
    assert condition(made) is Condition.WORKING
    assert made.cards_shown(NOW_S)[0]["last"] == "PL80-0001: FAIL"


def test_who_runs_an_old_file_is_told():
    """By hash; a type that the shared folder does not know is nobody's fault."""
    made = board(status(sheet="Plover 80", sheet_hash="a" * 64, meter="hand-2000", meter_hash="b" * 64))
    assert made.state(NOW_S)["old"] == 0
    made.newest = {("sheet", "Plover 80"): {"a" * 64}, ("meter", "hand-2000"): {"c" * 64}}
    assert made.cards_shown(NOW_S)[0]["old"] == ["meter"]
    made.newest = {("sheet", "Plover 80"): {"d" * 64}, ("meter", "other"): {"c" * 64}}
    assert made.cards_shown(NOW_S)[0]["old"] == ["sheet"]
    assert made.state(NOW_S)["old"] == 1


def test_today_comes_from_the_database():
    """Also of benches that have not been heard; a bench without units today counts none."""
    made = board(status(), prompt())
    made.counted(
        {"north": (10, 9, 1), "south": (4, 4, 0)}, {"south": NOW_S - 60.0, "east": NOW_S + 1e9}, NOW_S
    )
    state = made.state(NOW_S)
    assert (state["units"], state["passed"]) == (14, 13)
    assert {row["name"] for row in state["benches"]} == {"north", "south", "east"}
    made.counted({}, {}, NOW_S)
    assert made.state(NOW_S)["units"] == 0
    assert json.dumps(state, allow_nan=False)


def test_those_that_need_somebody_come_first():
    """By urgency, then by name."""
    made = Board()
    for number, state in enumerate((State.ONLINE, State.LOST, State.STOPPED, State.ONLINE)):
        said = Status(f"bench-{number}", state, "", "0" * 16, NOW_S)
        made.heard(Topics(f"bench-{number}").of("status"), as_json(live_payload(said)), NOW_S)
    assert [row["name"] for row in made.cards_shown(NOW_S)] == ["bench-1", "bench-2", "bench-0", "bench-3"]


@given(st.binary(max_size=200), st.sampled_from(["status", "prompt", "unit", "verdict", "notice", "x"]))
def test_any_message_is_survived(payload, last):
    """The page shows what it can."""
    made = board((Topics("north").of(last), payload), ("other/topic", payload))
    json.dumps(made.state(NOW_S), allow_nan=False)


@pytest.mark.parametrize("value", [None, True, [], {}, "x" * 10_000, 1e300, -1, "\ud800"])
def test_any_value_in_a_message_is_survived(value):
    """A text is cut, a number that is no time is none."""
    for key in (
        "state",
        "utc_s",
        "sheet",
        "sheet_hash",
        "text",
        "ask",
        "severity",
        "kind",
        "outcome",
        "serial",
    ):
        for last in ("status", "prompt", "unit", "notice"):
            plain = {"schema": 2, "state": "online", "kind": "notice", "utc_s": NOW_S, key: value}
            made = board((Topics("north").of(last), json.dumps(plain).encode()))
            assert len(json.dumps(made.state(NOW_S), allow_nan=False)) < 5000


def test_names_that_somebody_makes_up_do_not_fill_the_memory():
    """A broker without access rules."""
    made = Board()
    payload = status()[1]
    for number in range(MOST_BENCHES + 50):
        made.heard(f"steadyohm/v2/b{number}/status", payload, NOW_S)
    assert len(made.cards) == MOST_BENCHES
