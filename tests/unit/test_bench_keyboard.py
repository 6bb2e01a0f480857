"""Typed and scanned lines: into commands, and off a real terminal, a pipe, or nothing at all."""

from __future__ import annotations

import asyncio
import contextlib
import os
import pty
import sys
import termios

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.bench.keyboard import ALONE, Keyboard, to_command
from acquire.errors import InputImpossible
from acquire.records import (
    CheckMeter,
    ConfirmOpen,
    GiveUpUnit,
    MeasureAgain,
    Note,
    OverrideCheck,
    SkipStep,
    StartUnit,
    TypeResult,
    Undo,
    ZeroLeads,
)
from acquire.words.saying import HELP


@pytest.mark.parametrize(
    ("line", "command"),
    [
        ("", ConfirmOpen()),
        ("   ", ConfirmOpen()),
        ("P80-0001", StartUnit("P80-0001")),
        (" P80-0001\t", StartUnit("P80-0001")),
        ("[/]", StartUnit("[/]")),
        ("Ω 7 №", StartUnit("Ω 7 №")),
        (".zero", ZeroLeads()),
        (".again", MeasureAgain(None)),
        (".again slow charge", MeasureAgain("slow charge")),
        (".skip pin is broken", SkipStep("pin is broken")),
        (".undo", Undo()),
        (".end dropped", GiveUpUnit("dropped")),
        (".note  smells burnt", Note("smells burnt")),
        (".help", None),
    ],
)
def test_a_line_becomes_its_command(line, command):
    """A serial, Enter alone, or a word behind a full stop."""
    assert to_command(line) == command


@pytest.mark.parametrize(
    "line", ["x" * 201, "A\x001", "\x1b[A", "A\x04", ".skip", ".end  ", ".nonsense", "."]
)
def test_what_cannot_be_meant_is_refused_in_a_sentence(line):
    """Too long, unprintable, an unknown word, or a word that needs a reason."""
    with pytest.raises(InputImpossible) as caught:
        to_command(line)
    assert caught.value.what.endswith(".")
    assert "\n" not in str(caught.value)


@given(st.text())
def test_any_text_is_a_command_or_refused(line):
    """Nothing typed can do anything else."""
    with contextlib.suppress(InputImpossible):
        to_command(line)


@contextlib.contextmanager
def standard_input(monkeypatch, number):
    """Let a file descriptor be standard input."""
    with open(number, closefd=False, encoding="utf-8") as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        yield


async def typed(monkeypatch, data, typing=lambda _text: None):
    """All lines that come of these bytes on a pipe."""
    reader, writer = os.pipe()
    try:
        os.write(writer, data)
        os.close(writer)
        with standard_input(monkeypatch, reader):
            async with asyncio.timeout(5):
                return [line async for line in Keyboard(typing).lines()]
    finally:
        os.close(reader)


@pytest.mark.parametrize(
    ("data", "lines"),
    [
        (b"A1\nA2\n", ["A1", "A2"]),
        (b"A1\r\nA2\r\n", ["A1", "A2"]),
        (b"A1\r\r", ["A1", ""]),
        (b"A1\n\n\n", ["A1", "", ""]),
        (b"A2\x7f1\n", ["A1"]),
        (b"wrong\x15A1\n", ["A1"]),
        ("Ω1\n".encode(), ["Ω1"]),
        (b"\xff\xfe\n", ["\ufffd\ufffd"]),
        (b"no end", []),
        (b"", []),
    ],
)
async def test_lines_come_off_a_pipe(monkeypatch, data, lines):
    """A return and line feed of a scanner are one Enter; broken bytes are unlimited the world."""
    assert await typed(monkeypatch, data) == lines


async def test_a_scanner_gone_wild_does_not_fill_the_memory(monkeypatch):
    """A line without end is kept short, and refused when it ends."""
    seen = []
    lines = await typed(monkeypatch, b"x" * 60_000 + b"\n", seen.append)
    assert len(lines[0]) <= 201
    with pytest.raises(InputImpossible):
        to_command(lines[0])


async def test_a_line_that_comes_in_pieces_is_one(monkeypatch):
    """Also when a character of several bytes is cut in two."""
    reader, writer = os.pipe()
    shown = []
    try:
        with standard_input(monkeypatch, reader):
            keyboard = Keyboard(shown.append)
            lines = keyboard.lines()
            first = asyncio.ensure_future(anext(lines))
            for piece in (b"P", b"80\xce", b"\xa9\n"):
                os.write(writer, piece)
                await asyncio.sleep(0.02)
            assert await asyncio.wait_for(first, 5) == "P80Ω"
            assert shown[0] == "P"
            await lines.aclose()
    finally:
        os.close(reader)
        os.close(writer)


async def test_no_standard_input_means_no_keyboard(monkeypatch, tmp_path):
    """Closed, a plain file, or the null device: the bench runs on without one."""
    monkeypatch.setattr(sys, "stdin", None)
    assert [line async for line in Keyboard().lines()] == []
    file = tmp_path / "in.txt"
    file.write_text("A1\n\n\n", encoding="utf-8")
    for path in (str(file), os.devnull):
        number = os.open(path, os.O_RDONLY)
        try:
            with standard_input(monkeypatch, number):
                assert [line async for line in Keyboard().lines()] == []
        finally:
            os.close(number)


async def test_a_terminal_of_somebody_else_is_left_alone(monkeypatch):
    """Not in its foreground: its modes stay as they are and nothing is read."""
    master, slave = pty.openpty()
    try:
        before = termios.tcgetattr(slave)
        with standard_input(monkeypatch, slave):
            assert [line async for line in Keyboard().lines()] == []
        assert termios.tcgetattr(slave) == before
    finally:
        os.close(master)
        os.close(slave)


async def test_the_modes_of_a_terminal_come_back(monkeypatch):
    """Keys one by one while reading; whatever happens, the terminal is as before afterwards."""
    master, slave = pty.openpty()
    monkeypatch.setattr(os, "tcgetpgrp", lambda _number: os.getpgrp())
    try:
        before = termios.tcgetattr(slave)
        with standard_input(monkeypatch, slave):
            lines = Keyboard().lines()
            first = asyncio.ensure_future(anext(lines))
            await asyncio.sleep(0.05)
            assert not termios.tcgetattr(slave)[3] & termios.ICANON
            os.write(master, b"A1\r\n\r")
            assert await asyncio.wait_for(first, 5) == "A1"
            assert await asyncio.wait_for(anext(lines), 5) == ""
            await lines.aclose()
        assert termios.tcgetattr(slave) == before
    finally:
        os.close(master)
        os.close(slave)


def test_duties_of_the_bench_can_be_typed():
    """Check standard, override and results have words of their own."""
    assert to_command(".check") == CheckMeter()
    assert to_command(".override the resistor was dropped") == OverrideCheck("the resistor was dropped")
    assert to_command(".result insulation = 120 Mohm, 500 V") == TypeResult("insulation = 120 Mohm, 500 V")
    assert to_command(".result") == TypeResult("")
    with pytest.raises(InputImpossible):
        to_command(".override")


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [(".fnsh", "Did you mean .finish? .help lists"), (".Zero", "mean .zero?"), (".xq", ".help lists them")],
)
def test_a_word_that_is_none_is_told_what_may_be_meant(typed, remedy):
    """Without the whole list, which .help gives."""
    with pytest.raises(InputImpossible) as refused:
        to_command(typed)
    assert refused.value.what == f"{typed} is no command."
    assert remedy in refused.value.hint
    assert "\n" not in str(refused.value)


def test_help_names_every_word():
    """In lines that a terminal of 80 columns takes whole."""
    words = {*ALONE, ".skip", ".end", ".note", ".override", ".temperature", ".batch", ".spool", ".accept"}
    assert words <= set(HELP.split())
    assert max(len(line) for line in HELP.splitlines()) <= 70


@pytest.mark.parametrize(
    ("word", "form"),
    [
        (".skip", ".skip REASON"),
        (".temperature", ".temperature 21.5 °C"),
        (".batch", ".batch NAME, 40 units"),
        (".spool", ".spool NAME for WINDINGS"),
        (".note", ".note TEXT"),
        (".accept", ".accept REASON"),
    ],
)
def test_a_word_alone_is_told_what_belongs_behind_it(word, form):
    """As the help has it."""
    with pytest.raises(InputImpossible) as refused:
        to_command(f"{word} ")
    assert str(refused.value) == f"{word} needs something after it. Write {form}."


async def test_a_flood_waits_outside(monkeypatch):
    """Endless input is read as fast as its lines are dealt with, no faster."""
    reader, writer = os.pipe()
    os.set_blocking(writer, False)
    try:
        with standard_input(monkeypatch, reader):
            lines = Keyboard().lines()
            sent = 0
            for _ in range(50):
                with contextlib.suppress(BlockingIOError):
                    while True:
                        sent += os.write(writer, b"A1\n" * 1000)
                assert await asyncio.wait_for(anext(lines), 5) == "A1"
                await asyncio.sleep(0)
            assert sent < 200_000
            await lines.aclose()
    finally:
        os.close(reader)
        os.close(writer)
