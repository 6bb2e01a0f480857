"""Nothing decides by reading a sentence: neither the program nor the scripts of its pages."""

from __future__ import annotations

import pytest

from tests.map_of_rooms import ROOT
from tests.reading_back import in_python, in_script

PYTHON = sorted(path for house in ("acquire", "drivers", "sim") for path in (ROOT / house).rglob("*.py"))
SCRIPTS = sorted((ROOT / "acquire").rglob("*.js"))

ALLOWED = {
    "drivers/toml_lines.py": "the text of a file, sign by sign",
    "acquire/journal/upgrade.py": "sentences of earlier programs, brought up as they are read",
    "acquire/heart/duties.py: '=' not in command.text": "a typed line",
    "acquire/heart/serials.py: first.strip('.:,;!') in self.words": "a typed serial, by the commands' names",
    "acquire/line/migrating.py: hint in (python, python | None)": "a type",
    "acquire/outlets/terminal.py: said(notice).split('\\n')": "lines to show one by one",
    "acquire/page/static/start.js: one.text === text": "the same line is not shown twice on one screen",
    "drivers/scanner/scanner.py: code == before": "what a scanner has sent",
}
"""Whole files and single places, and what is read there."""


def places():
    """Each place that reads a sentence back."""
    for path in (*PYTHON, *SCRIPTS):
        name = path.relative_to(ROOT).as_posix()
        find = in_python if path.suffix == ".py" else in_script
        for line, what in find(path.read_text(encoding="utf-8")):
            yield name, line, what


def test_nothing_decides_by_reading_a_sentence():
    """Decide by a code or a number beside it; a sentence is for people."""
    found = [
        f"{name}:{line}: {what}"
        for name, line, what in places()
        if not {name, f"{name}: {what}"} & ALLOWED.keys()
    ]
    assert not found, "\n".join(found)


def test_there_is_something_to_look_at():
    """Else nothing above could fail."""
    assert len(PYTHON) > 200
    assert len(SCRIPTS) > 30


@pytest.mark.parametrize(
    "planted",
    [
        'notice.text == "done"',
        '"given up" in result.held',
        'verdict.hint.startswith("That reads")',
        're.search("too thin", batch.reason)',
        'payload["text"].endswith(".")',
        'payload.get("reason").removeprefix("given up: ")',
        "sentence.partition(':')",
        'said(notice) == "The scanner is back."',
        'str(result.held).split(":")',
        "match verdict.reason:\n    case 'open': pass",
        "notice.text.lower() != told",
    ],
)
def test_a_planted_place_is_found(planted):
    """Whatever way it is read."""
    assert list(in_python(planted))


@pytest.mark.parametrize(
    "planted",
    [
        "ask.text === `Touch ${pair}.`",
        'result.held?.startsWith("given up")',
        'one["reason"] != before',
        "/open/.test(verdict.hint)",
        'word === "held"',
        '(result.held ?? "").includes("warm")',
        "switch (ask.text) { default: }",
        "notice.text.toLowerCase() === told",
    ],
)
def test_a_place_planted_in_a_script_is_found(planted):
    """By the script's own syntax."""
    assert list(in_script(planted))


@pytest.mark.parametrize(
    "harmless",
    [
        "verdict.reason or ''",
        "if result.held: show(result.held)",
        "notice.code == 'note'",
        "verdict.hint is None",
    ],
)
def test_showing_a_sentence_is_not_reading_it(harmless):
    """Nor is asking whether there is one."""
    assert not list(in_python(harmless))
