"""What users and contributors can meet is written down: commands, options, columns, notices, log events."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest
import typer.main

from acquire.bench.keyboard import to_command
from acquire.cli import app
from acquire.files.bench_tables import CsvSettings
from acquire.files.settings import TABLES
from acquire.words.saying import HELP
from tests.map_of_rooms import ROOT, with_rooms
from tests.record_page import PAGE, with_tables

PAGES = {
    name: (ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")
}
BY_TASK = {
    f"docs/{path.name}": path.read_text(encoding="utf-8") for path in sorted((ROOT / "docs").glob("*.md"))
}
FOR_USERS = "\n".join([PAGES["README.md"], *BY_TASK.values()])
RECORD = PAGE.read_text(encoding="utf-8")
MOST_BYTES = 25_000
"""Of the contributor's guide: a stranger reads it in a quarter of an hour."""
FILES_PAGE = (ROOT / "configs" / "README.md").read_text(encoding="utf-8")
NO_TOPICS = ("counter", "db", "lock", "toml", "json", "jsonl", "new", "svg", "template", "html", "typ", "l")
"""Endings of file names and the like, which look like codes."""


@cache
def strings():
    """Every text in the daemon's code that looks like a code: two words and a full stop between them."""
    found = {}
    for path in (ROOT / "acquire").rglob("*.py"):
        if path.name == "pictures.py":  # settings of the drawing library, in its words
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call)]
        logged = {
            c.args[0].value
            for c in calls
            if isinstance(c.func, ast.Attribute)
            and getattr(c.func.value, "id", "") == "log"
            and c.args
            and isinstance(c.args[0], ast.Constant)
        }
        for node in ast.walk(tree):
            text = node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""
            if re.fullmatch(r"[a-z_]+\.[a-z_]+", text) and text.split(".")[1] not in NO_TOPICS:
                found[text] = "log" if text in logged or found.get(text) == "log" else "notice"
    return found


def commands():
    """Each command with its options as they are typed."""
    for name, params in declared():
        yield name, [opt for p in params for opt in p.opts if opt.startswith("--")]


@cache
def declared():
    """Each command with what can be typed behind it."""
    group = typer.main.get_command(app)
    return [(name, group.get_command(None, name).params) for name in group.list_commands(None)]


def test_codes_are_found_at_all():
    """Else nothing below could fail."""
    kinds = list(strings().values())
    assert kinds.count("notice") > 20
    assert kinds.count("log") > 5


@pytest.mark.parametrize("kind", ["notice", "log"])
def test_every_notice_and_log_event_is_explained(kind):
    """On the page of the record."""
    assert not [code for code, what in strings().items() if what == kind and f"`{code}`" not in RECORD]


def test_nothing_is_explained_that_is_not_there():
    """A notice that has gone is gone from the page."""
    told = set(re.findall(r"^\| `([a-z_]+\.[a-z_]+)` \|", RECORD, re.MULTILINE))
    assert told <= set(strings())


def test_every_command_is_in_the_documents():
    """By its name, as it is typed."""
    unsaid = [name for name, _ in commands() if not re.search(rf"(steadyohm|make) {name}\b", FOR_USERS)]
    assert not unsaid


def test_every_option_says_what_it_does():
    """In the command's own help, and by a whole phrase."""
    unsaid = [
        f"{name} {param.opts[0]}"
        for name, params in declared()
        for param in params
        if param.name != "help" and not (getattr(param, "help", "") or "").strip()
    ]
    assert not unsaid


def test_the_options_named_in_the_pages_exist():
    """Nothing is promised that is refused when typed."""
    known = {option for _, options in commands() for option in options} | {"--help"}
    known |= {"--port", "--units", "--folder", "--readings"}  # of the tests and benchmarks
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", FOR_USERS))
    assert named <= known, named - known


def test_every_typed_word_is_in_the_documents_and_works():
    """What the bench's own help offers."""
    words = re.findall(r"(?<!\S)(\.[a-z]+)", HELP)
    assert len(words) >= 6
    for word in words:
        assert f"`{word}" in BY_TASK["docs/bench.md"], word
        to_command(f"{word} {'20k' if word == '.dial' else '20 °C'}")


def test_every_table_of_a_bench_file_is_explained():
    """With every key."""
    for name, model in TABLES.items():
        assert re.search(rf"`\[?\[{name}\]\]?`", FILES_PAGE), name
        keys = {field.alias or key for key, field in model.model_fields.items()}
        unsaid = [key for key in keys if f"`{key}`" not in FILES_PAGE]
        assert not unsaid, (name, unsaid)
    assert CsvSettings in TABLES.values()


def test_the_rooms_are_in_step_and_the_guide_is_short():
    """Run `python -m tests.map_of_rooms --write` after adding or re-wording a room."""
    assert with_rooms(PAGES["DEVELOPERS.md"]) == PAGES["DEVELOPERS.md"]
    assert len(PAGES["DEVELOPERS.md"].encode()) <= MOST_BYTES


def test_the_page_of_the_record_is_in_step():
    """Run `python -m tests.record_page` after a change of a code, a sentence or a column."""
    assert with_tables(RECORD) == RECORD


@pytest.mark.parametrize(
    "page", [*PAGES, *BY_TASK, "configs/README.md", "configs/meters/README.md", "drivers/README.md"]
)
def test_links_between_the_pages_lead_somewhere(page):
    """Relative ones, to files of this tree."""
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        if "://" not in target:
            assert (ROOT / page).parent.joinpath(target).exists(), target


@pytest.mark.parametrize("page", [*PAGES, *BY_TASK, "configs/README.md"])
def test_files_named_in_the_pages_exist(page):
    """Paths in back quotes that name a place in this tree."""
    text = (ROOT / page).read_text(encoding="utf-8")
    houses = r"(?:acquire|drivers|sim|tests|configs)"
    for path in re.findall(rf"`({houses}/[\w./-]+\.(?:py|toml|md))`", text):
        assert Path(ROOT, path).exists(), path
