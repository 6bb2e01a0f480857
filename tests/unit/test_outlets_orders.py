"""Commands that come in: checked, limited, never done twice."""

import json

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.outlets import orders
from acquire.outlets.orders import Desk, OrderAnswer, Stop
from acquire.records import (
    AcceptFirstUnit,
    ChangeSpool,
    CheckMeter,
    ConfirmOpen,
    FinishBatch,
    GiveUpUnit,
    MeasureAgain,
    Note,
    OpenBatch,
    OverrideCheck,
    PauseBatch,
    ResumeBatch,
    SkipStep,
    StartUnit,
    StateRange,
    TypeReading,
    TypeResult,
    TypeTemperature,
    Undo,
    ZeroLeads,
)

CHECK = jsonschema.Draft202012Validator(orders.command_schema())

INSULATION = "insulation = 120 Mohm, 500 V"

GOOD = [
    ({"command": "type_reading", "text": "0.44k"}, TypeReading("0.44k")),
    ({"command": "state_range", "full_ohm": 2000}, StateRange(2000.0)),
    ({"command": "start_unit", "serial": "PL80-1"}, StartUnit("PL80-1")),
    (
        {"command": "start_unit", "serial": " PL80-1 ", "batch": "7", "operator": "Ida"},
        StartUnit("PL80-1", "7", "Ida"),
    ),
    ({"command": "start_unit", "serial": "PL80-1", "sure": True}, StartUnit("PL80-1", sure=True)),
    ({"command": "undo"}, Undo()),
    ({"command": "measure_again"}, MeasureAgain()),
    ({"command": "measure_again", "step": "trigger"}, MeasureAgain("trigger")),
    ({"command": "measure_again", "step": None}, MeasureAgain()),
    ({"command": "skip_step", "reason": "pin broken off"}, SkipStep("pin broken off")),
    ({"command": "zero_leads"}, ZeroLeads()),
    ({"command": "give_up_unit", "reason": "dropped"}, GiveUpUnit("dropped")),
    ({"command": "confirm_open"}, ConfirmOpen()),
    ({"command": "note", "text": "varnish smells"}, Note("varnish smells")),
    ({"command": "check_meter"}, CheckMeter()),
    ({"command": "override_check", "reason": "new leads"}, OverrideCheck("new leads")),
    ({"command": "type_result", "text": "insulation = 120 Mohm, 500 V"}, TypeResult(INSULATION)),
    ({"command": "type_temperature", "celsius": 21.5}, TypeTemperature(21.5)),
    (
        {"command": "type_temperature", "celsius": 19, "standard_uncertainty_kelvin": 0.2},
        TypeTemperature(19.0, 0.2),
    ),
    (
        {"command": "type_temperature", "celsius": -20, "standard_uncertainty_kelvin": None},
        TypeTemperature(-20.0),
    ),
    ({"command": "open_batch", "batch": "lot 12"}, OpenBatch("lot 12")),
    (
        {"command": "open_batch", "batch": "lot 12", "expected": 40, "operator": "Ida", "remark": "spring"},
        OpenBatch("lot 12", 40, "Ida", "spring"),
    ),
    ({"command": "open_batch", "batch": "lot 12", "expected": None}, OpenBatch("lot 12")),
    ({"command": "pause_batch", "remark": "night"}, PauseBatch("night")),
    ({"command": "resume_batch"}, ResumeBatch()),
    ({"command": "finish_batch"}, FinishBatch()),
    ({"command": "change_spool", "spool": "36-B", "windings": "P1, P2"}, ChangeSpool("36-B", "P1, P2")),
    ({"command": "accept_first_unit", "reason": "spool was changed"}, AcceptFirstUnit("spool was changed")),
    ({"command": "stop"}, Stop()),
]

BAD = [
    ({}, "No such command"),
    ({"command": "format_disk"}, "No such command"),
    ({"command": ["stop"]}, "No such command"),
    ({"command": "start_unit"}, "needs serial"),
    ({"command": "start_unit", "serial": ""}, "must not be empty"),
    ({"command": "start_unit", "serial": "   "}, "must not be empty"),
    ({"command": "start_unit", "serial": 7}, "must be a text"),
    ({"command": "start_unit", "serial": None}, "must be a text"),
    ({"command": "start_unit", "serial": "x" * 201}, "longer than 200"),
    ({"command": "start_unit", "serial": "a\x00b"}, "cannot be printed"),
    ({"command": "start_unit", "serial": "a\ud800b"}, "cannot be printed"),
    ({"command": "start_unit", "serial": "a", "speed": "9"}, "no field 'speed'"),
    ({"command": "skip_step"}, "needs reason"),
    ({"command": "stop", "now": True}, "no field 'now'"),
    ({"command": "undo", "step": "trigger"}, "no field 'step'"),
    ({"command": "give_up_unit", "reason": "dropped", "ending": "done"}, "no field 'ending'"),
    ({"command": "start_unit", "serial": "a", "sure": "yes"}, "sure must be true or false"),
    ({"command": "type_temperature"}, "needs celsius"),
    ({"command": "type_temperature", "celsius": "21.5 °C"}, "must be a number"),
    ({"command": "type_temperature", "celsius": True}, "must be a number"),
    ({"command": "type_temperature", "celsius": None}, "must be a number"),
    ({"command": "type_temperature", "celsius": 215}, "between -20 and 60"),
    ({"command": "type_temperature", "celsius": 10**400}, "between -20 and 60"),
    (
        {"command": "type_temperature", "celsius": 20, "standard_uncertainty_kelvin": 0},
        "between 0.001 and 20",
    ),
    ({"command": "type_temperature", "celsius": 20, "standard_uncertainty_kelvin": -1}, "between 0.001 and"),
    ({"command": "open_batch"}, "needs batch"),
    ({"command": "open_batch", "batch": "7", "expected": "40"}, "must be a number"),
    ({"command": "open_batch", "batch": "7", "expected": 0}, "between 1 and 100000"),
    ({"command": "open_batch", "batch": "7", "expected": 1.5}, "must be a whole number"),
    ({"command": "unit_known", "serial": "a", "batch": "", "attempts": 1}, "No such command"),
]


def message(plain, correlation="c-1"):
    return json.dumps({"correlation": correlation, **plain}).encode()


@pytest.mark.parametrize(
    ("plain", "order"), GOOD, ids=lambda x: x.get("command") if isinstance(x, dict) else ""
)
def test_every_command_is_understood(plain, order):
    """And its schema says the same."""
    assert Desk().take(message(plain), 0.0).order == order
    assert CHECK.is_valid(json.loads(message(plain)))


def test_no_command_is_left_untried():
    """A new one must stand in the list above."""
    assert {plain["command"] for plain, _ in GOOD} == set(orders.ORDERS)


@pytest.mark.parametrize(("plain", "why"), BAD)
def test_what_is_no_command_is_refused_with_the_reason(plain, why):
    """One sentence for the sender; nothing is done."""
    desk = Desk()
    taken = desk.take(message(plain), 0.0)

    assert taken.order is None
    assert taken.answer.done is False
    assert why in taken.answer.reason
    assert taken.correlation == "c-1"
    assert desk.refused == 1


@pytest.mark.parametrize("plain", [plain for plain, why in BAD if "printed" not in why], ids=str)
def test_the_schema_refuses_what_the_desk_refuses(plain):
    """Except for unprintable characters, which JSON Schema cannot name portably."""
    assert not CHECK.is_valid({"correlation": "c-1", **plain})


@pytest.mark.parametrize(
    "raw",
    [b"", b"stop", b"[]", b'"stop"', b"\xff\xfe", b"[" * 4000, b"{" * 3000, b"null", b"x" * 5000, b"1e999"],
)
def test_what_is_no_json_object_is_refused(raw):
    """Whatever the bytes, no exception and no order."""
    taken = Desk().take(raw, 0.0)

    assert taken.order is None
    assert taken.answer.reason


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_finite_number_is_no_temperature(number):
    """Python's JSON reader takes them, the bench does not."""
    raw = f'{{"command": "type_temperature", "correlation": "c", "celsius": {number}}}'.encode()
    taken = Desk().take(raw, 0.0)

    assert taken.order is None
    assert "between" in taken.answer.reason


@pytest.mark.parametrize("correlation", [None, 7, "", "x" * 65, "a\nb", ["a"]])
def test_a_command_without_a_usable_correlation_is_refused(correlation):
    """The sender could not tell the answer from another's."""
    taken = Desk().take(json.dumps({"command": "stop", "correlation": correlation}).encode(), 0.0)

    assert taken.order is None
    assert "correlation" in taken.answer.reason


def test_a_retained_command_is_refused():
    """It was meant for another moment, and would come again at every connection."""
    taken = Desk().take(message({"command": "stop"}), 0.0, retained=True)

    assert taken.order is None
    assert "retain" in taken.answer.reason


async def done(_order):
    return OrderAnswer(done=True)


async def test_a_command_delivered_twice_is_done_once():
    """QoS 1 may bring it twice: the second time brings the first answer."""
    desk = Desk()
    first = desk.take(message({"command": "zero_leads"}), 0.0)
    while_under_way = desk.take(message({"command": "zero_leads"}), 0.0)
    await desk.carry_out("c-1", first.order, done)
    again = desk.take(message({"command": "zero_leads"}), 0.0)

    assert first.order == ZeroLeads()
    assert (while_under_way.order, while_under_way.answer) == (None, None)
    assert (again.order, again.answer) == (None, OrderAnswer(done=True))


async def test_the_memory_of_answers_is_bounded():
    """A sender that goes on for days does not fill it."""
    desk = Desk()
    for number in range(3 * orders.REMEMBERED):
        taken = desk.take(message({"command": "zero_leads"}, f"c-{number}"), float(number))
        await desk.carry_out(taken.correlation, taken.order, done)

    assert len(desk.known) == orders.REMEMBERED


def test_a_flood_is_refused_once_and_then_passed_over():
    """The sender learns why, then nobody spends time on it; after a pause it is heard again."""
    desk = Desk()
    taken = [desk.take(message({"command": "zero_leads"}, f"c-{n}"), 0.0) for n in range(1000)]

    assert sum(each.order is not None for each in taken) == orders.BURST - 1
    refusals = [each for each in taken if each.answer is not None]
    assert len(refusals) == 1
    assert "Too many" in refusals[0].answer.reason
    assert desk.dropped == 1000 - orders.BURST
    assert desk.take(message({"command": "zero_leads"}, "later"), 2.0).order == ZeroLeads()


def test_a_clock_that_goes_back_does_not_stop_commands():
    """Monotonic time should not, but a replayed or paused machine may jump."""
    desk = Desk()
    desk.take(message({"command": "zero_leads"}, "a"), 100.0)

    assert desk.take(message({"command": "zero_leads"}, "b"), 50.0).order == ZeroLeads()


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text() | st.sampled_from(list(orders.ORDERS)),
    lambda inner: (
        st.lists(inner) | st.dictionaries(st.text() | st.sampled_from(["command", "serial"]), inner)
    ),
    max_leaves=10,
)


@given(st.binary() | JSON.map(lambda value: json.dumps(value).encode()))
def test_no_message_makes_the_desk_fall(raw):
    """Fuzz: an order or an answer, never an exception."""
    taken = Desk().take(raw, 0.0)

    assert (taken.order is None) != (taken.answer is None)


FIELD = st.text(max_size=210) | st.none() | st.integers() | st.floats() | st.booleans()
FIELDS = ["serial", "batch", "operator", "step", "reason", "text", "celsius", "other"]


@given(
    st.fixed_dictionaries(
        {"command": st.sampled_from(list(orders.ORDERS)), "correlation": st.just("c")},
        optional=dict.fromkeys([*FIELDS, "standard_uncertainty_kelvin"], FIELD),
    )
)
def test_whatever_is_taken_keeps_the_schema(plain):
    """The published schema is no stricter than the desk."""
    if Desk().take(json.dumps(plain).encode(), 0.0).order is not None:
        texts = {k: v.strip() if isinstance(v, str) else v for k, v in plain.items()}
        assert CHECK.is_valid(texts)
