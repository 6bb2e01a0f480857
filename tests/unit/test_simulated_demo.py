"""The demo's own parts: folders, what was planted, the comparison at the end. The whole way is a scene."""

from __future__ import annotations

import io
import json

import pytest
from rich.console import Console

from acquire.outlets.terminal import Tally
from acquire.records import Outcome
from acquire.simulated import demo
from acquire.simulated.demo import (
    DemoOptions,
    FolderUnusable,
    as_planted,
    comparison,
    in_words,
    make_folder,
    new_folder,
    read_truth,
    run_demo,
)


def test_a_run_gets_a_folder_of_its_own(tmp_path, monkeypatch):
    """The first number that is not there yet, or the one that was asked for."""
    monkeypatch.chdir(tmp_path)
    assert new_folder(None).name == "demo-1"
    (tmp_path / "demo-1").mkdir()
    assert new_folder(None).name == "demo-2"
    assert new_folder(tmp_path / "x") == tmp_path / "x"


def test_a_folder_that_holds_a_run_is_refused(tmp_path):
    """An open unit of that run would go on in this one."""
    make_folder(tmp_path / "run")
    make_folder(tmp_path / "run")
    (tmp_path / "run" / "journal").mkdir()
    with pytest.raises(FolderUnusable, match="holds a run already"):
        make_folder(tmp_path / "run")
    (tmp_path / "file").touch()
    for wrong in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(FolderUnusable, match="cannot be made a folder"):
            make_folder(wrong)


def test_a_shell_is_made_to_know_our_name(tmp_path, monkeypatch):
    """By the script of an environment, by pipx where that has made it, not at all where it does already."""
    monkeypatch.setattr("sys.prefix", str(tmp_path))
    monkeypatch.setattr(demo, "which", lambda _: None)
    assert demo._known_first() == []
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "activate").touch()
    assert [said for said, _ in demo._known_first()] == [f". {tmp_path}/bin/activate"]
    monkeypatch.chdir(tmp_path)
    assert [said for said, _ in demo._known_first()] == [". bin/activate"]
    (tmp_path / "pipx_metadata.json").touch()
    assert [said for said, _ in demo._known_first()] == ["pipx ensurepath"]
    monkeypatch.setattr(demo, "which", lambda _: "/usr/bin/steadyohm")
    assert demo._known_first() == []


def test_the_truth_log_is_read_by_serial(tmp_path):
    """Touches in it are passed over."""
    file = tmp_path / "truth.jsonl"
    facts = [
        {"truth": "unit", "serial": "A"},
        {"truth": "touch", "serial": "A"},
        {"truth": "unit", "serial": "B"},
    ]
    file.write_text("\n".join(map(json.dumps, facts)), encoding="utf-8")
    assert list(read_truth(file)) == ["A", "B"]


WARM, GOOD, BAD = {"too_warm_to_judge": True, "verdict": "pass"}, {"verdict": "pass"}, {"verdict": "fail"}
WRONG_WAY = {"verdict": "pass", "story": "reversed"}


@pytest.mark.parametrize(
    ("outcome", "fact", "right"),
    [
        (None, WARM, True),
        (Outcome.PASS, WARM, False),
        (Outcome.FAIL, WARM, False),
        (Outcome.PASS, GOOD, True),
        (Outcome.CONDITIONAL_PASS, GOOD, True),
        (Outcome.FAIL, GOOD, False),
        (None, GOOD, False),
        (Outcome.CANNOT_JUDGE, GOOD, False),
        (Outcome.FAIL, BAD, True),
        (Outcome.CONDITIONAL_FAIL, BAD, True),
        (Outcome.PASS, BAD, False),
        (Outcome.CANNOT_JUDGE, BAD, False),
        (None, BAD, False),
        (Outcome.FAIL, WRONG_WAY, True),
        (Outcome.PASS, WRONG_WAY, False),
    ],
)
def test_a_unit_ends_as_planted_or_not(outcome, fact, right):
    """Nothing undecided counts as right."""
    assert as_planted(outcome, fact) is right


@pytest.mark.parametrize(
    ("fact", "words"),
    [
        ({"story": "good"}, "a good unit"),
        ({"story": "warm", "excess_kelvin": 34.6}, "a good unit, still 35 K warm"),
        ({"story": "joint", "fault": {"where": "2"}}, "a bad joint in pin 2"),
        ({"story": "open", "fault": {"where": "trigger"}}, "an open winding: trigger"),
        ({"story": "shorted", "fault": {"where": "fast charge"}}, "shorted turns in fast charge"),
        ({"story": "something new", "fault": {}}, "something new"),
    ],
)
def test_what_was_planted_is_said_in_words(fact, words):
    """For people, not for programs."""
    assert in_words(fact) == words


def test_a_unit_that_ended_otherwise_is_marked():
    """And shown as it is called."""
    out = io.StringIO()
    tallies = [Tally("[/]", Outcome.FAIL, "✖ FAIL", "", "why"), Tally("B", Outcome.PASS, "● pass", "", "")]
    Console(file=out, width=100).print(comparison(tallies, {"[/]": GOOD, "B": GOOD}))
    assert "(not as planted)" in out.getvalue().splitlines()[1]
    assert "[/]" in out.getvalue()
    assert "not as planted" not in out.getvalue().splitlines()[2]


async def test_a_short_demo_runs_from_end_to_end(tmp_path):
    """One unit; the files it names are there, and nothing is surprising."""
    out = io.StringIO()
    surprises = await run_demo(
        DemoOptions(tmp_path / "run", units=1, speed=10.0), Console(file=out, width=120)
    )
    assert surprises == 0, out.getvalue()
    shown = out.getvalue()
    for words in ("a good unit", "● pass", "Files of this run", "journal.db", "Next"):
        assert words in shown
    named = [line.strip() for line in shown.splitlines() if line.startswith(f"  {tmp_path}")]
    assert named


async def test_units_that_never_came_are_surprises(tmp_path, monkeypatch):
    """A simulation that dies half-way is no success."""

    async def dies(daemon, simulation, *_, **__):
        await daemon.journal.close()
        simulation.process.kill()

    monkeypatch.setattr(demo, "at_work", dies)
    (tmp_path / "truth.jsonl").touch()
    out = Console(file=io.StringIO())
    assert await run_demo(DemoOptions(tmp_path, units=3, speed=10.0), out) == 3
