"""Log lines: for people on a terminal, JSON otherwise, and never a secret."""

from __future__ import annotations

import json

import pytest
import structlog

from acquire import logs


def test_lines_are_json_where_nobody_sits(capsys):
    """One object a line, on standard error, with time, level and facts."""
    logs.set_up(level="info")
    structlog.get_logger().warning("outlet.failed", outlet="csv", failures=2)
    line = json.loads(capsys.readouterr().err)
    assert (line["event"], line["level"], line["outlet"], line["failures"]) == (
        "outlet.failed",
        "warning",
        "csv",
        2,
    )
    assert line["timestamp"].endswith("Z")


def test_lighter_lines_are_left_out(capsys):
    """What is below the level does not appear."""
    logs.set_up(level="error", json_lines=True)
    structlog.get_logger().warning("outlet.failed")
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("key", ["password", "mqtt_password", "Secret", "api_token", "credentials"])
@pytest.mark.parametrize("json_lines", [True, False])
def test_secrets_never_reach_a_line(capsys, key, json_lines):
    """Whatever the key is called around the word."""
    logs.set_up(level="info", json_lines=json_lines)
    structlog.get_logger().info("broker.login", **{key: "hunter2"})
    shown = capsys.readouterr().err
    assert "hunter2" not in shown
    assert "(hidden)" in shown


@pytest.mark.parametrize(
    "facts", [{"mqtt": {"password": "hunter2"}}, {"brokers": [{"inner": {"token": "hunter2"}}]}]
)
def test_secrets_within_tables_never_reach_a_line(capsys, facts):
    """However deep; what stands beside them stays."""
    logs.set_up(level="info", json_lines=True)
    structlog.get_logger().info("broker.login", host="north", **facts)
    shown = capsys.readouterr().err
    assert "hunter2" not in shown
    assert "(hidden)" in shown
    assert "north" in shown


def test_an_exception_is_one_line_of_json(capsys):
    """With its traceback inside the object."""
    logs.set_up(level="info", json_lines=True)
    try:
        int("no such thing")
    except ValueError:
        structlog.get_logger().exception("outlet.fault", outlet="csv")
    assert "no such thing" in json.loads(capsys.readouterr().err)["exception"]
