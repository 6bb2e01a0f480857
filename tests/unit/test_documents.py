"""Every command that the documents show is run as printed, page by page, where the page says it is typed.

A block of kind `console` holds commands, one a line; a block with a file's name is that file. Commands that
work at instruments or with peers until somebody stops them are read by their own parser, and the files that
they name are checked; the longer form runs the first bench and the two demos for real.
"""

from __future__ import annotations

import re
import shlex
import shutil

import pytest
import typer.main

from acquire.cli import COMMANDS, app
from tests import demo_files
from tests.commanded import commanded
from tests.map_of_rooms import ROOT

PAGES = sorted(path.relative_to(ROOT).as_posix() for path in [ROOT / "README.md", *ROOT.glob("docs/*.md")])
STAYS = {"run", "demo", "simulate", "setup", "find", "meter-says", "fixture", "collect", "line"}
MOST_LINES, MOST_BYTES = 100, 60_000
"""Two screens of the README; all pages by task together, without the generated one."""


def text_of(page):
    return (ROOT / page).read_text(encoding="utf-8")


def blocks(page):
    """Info string and content of each fenced block, freed of its indentation."""
    for indent, info, content in re.findall(r"^( *)```(.*)\n((?:.*\n)*?)\1```$", text_of(page), re.MULTILINE):
        yield info.split(), [line.removeprefix(indent) for line in content.splitlines()]


def printed(page):
    """Each command of a page in order, and ("file", name, content) for a file that it shows."""
    for info, lines in blocks(page):
        if info[:1] == ["console"]:
            yield from (shlex.split(line) for line in lines if line)
        elif len(info) == 2:
            yield ["file", info[1], "\n".join(lines) + "\n"]


def inline(page):
    """Commands in back quotes within the text, as they are read by their parser."""
    for told in re.findall(r"`(steadyohm [a-z][^`]+)`", text_of(page)):
        yield shlex.split(told)


def parsed(words):
    """Read a command by its own parser: raises where it would be refused."""
    command = typer.main.get_command(app).get_command(None, words[1])
    command.make_context(words[1], words[2:])


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("documents")
    demo_files.write(folder)
    return folder


@pytest.fixture
def reader(made, tmp_path, monkeypatch):
    """A folder as a reader has it, who has done what the README says; and a home of his own."""
    shutil.copytree(made, tmp_path / "here", symlinks=True)
    monkeypatch.chdir(tmp_path / "here")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    shutil.copy("configs/sheets/plover-80.toml", "my-sheet.toml")
    return tmp_path / "here"


@pytest.mark.parametrize("page", [page for page in PAGES if any(True for _ in printed(page))])
def test_what_a_page_prints_works_as_printed(page, reader):
    """One after the other, each with exit code 0."""
    for words in printed(page):
        match words:
            case ["file", name, content]:
                (reader / name).write_text(content, encoding="utf-8")
            case ["cp", "-r", source, target]:
                shutil.copytree(source, target)
            case ["cp", source, target]:
                shutil.copy(source, target)
            case ["make", target]:
                assert re.search(
                    rf"^{target}:", (reader / "Makefile").read_text(encoding="utf-8"), re.MULTILINE
                )
            case ["steadyohm", "study", bench, *_] if not bench.startswith("--"):
                parsed(words)
                assert commanded("check", bench).returncode == 0
            case ["steadyohm", command, *more] if command in STAYS:
                parsed(words)
                files = [file for file in more if file.endswith(".toml") and (reader / file).exists()]
                assert not files or commanded("check", *files).returncode == 0
            case ["steadyohm", *more]:
                done = commanded(*more)
                assert (done.returncode, done.stderr) == (0, ""), (words, done.stdout, done.stderr)
            case _:
                raise AssertionError(f"nobody knows how to run {words}")


@pytest.mark.long
def test_papers_work_on_what_the_two_demos_leave(reader):
    """The demos themselves, as printed; two to three minutes."""
    page = "docs/batches-and-papers.md"
    shutil.rmtree("demo")
    shutil.rmtree("fathom")
    for words in printed(page):
        if words[:2] == ["steadyohm", "demo"]:
            assert commanded(*words[1:]).returncode == 0
    test_what_a_page_prints_works_as_printed(page, reader)


@pytest.mark.parametrize("page", PAGES)
def test_what_a_page_mentions_can_be_typed(page):
    """Commands within the text: their words and options exist."""
    for words in inline(page):
        assert words[1] in COMMANDS, words
        known = {
            opt for p in typer.main.get_command(app).get_command(None, words[1]).params for opt in p.opts
        }
        assert {word for word in words[2:] if word.startswith("--")} <= known | {"--help"}, words


def test_the_readme_takes_two_screens_and_the_pages_stay_short():
    """What a stranger reads first, and what he may have to read at all."""
    assert len(text_of("README.md").splitlines()) <= MOST_LINES
    own = [text_of(page) for page in PAGES if page != "docs/record.md"]
    assert sum(len(text.encode()) for text in own) <= MOST_BYTES


def places_told():
    """(path, name) of every place that DEVELOPERS.md says something is decided at."""
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Where it is decided")[2]
    for row in table.partition("\n## ")[0].splitlines():
        yield from re.findall(r"`([\w/.]+\.(?:py|csv))`(?: `([\w.]+)`)?", row)


def test_what_decides_is_where_the_contributors_page_says():
    """Twelve questions that a reader has; each answer names a file and what in it."""
    told = list(places_told())
    assert len(told) >= 12
    for path, name in told:
        text = (ROOT / path).read_text(encoding="utf-8")
        for part in filter(None, name.split(".")):
            assert re.search(rf"(?m)^\s*(class |def |async def )?{part}\b", text), f"{path} has no {part}"
