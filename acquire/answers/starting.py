"""Commands for a person without a terminal: an entry in the menu, a bench that starts at log-in."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from acquire.errors import InputImpossible
from system.desktop import Starter, at_login, menu, plain_name

TITLE = "steadyohm"


def in_menu(folder: Path) -> Starter:
    """The setup page, in a folder of bench files."""
    return menu(_words("setup", "--browser", "--folder", str(folder.resolve())), TITLE, os.environ)


def bench_at_login(bench: Path) -> Starter:
    """One bench, by its file."""
    place = str(bench.resolve())
    digest = hashlib.sha256(place.encode("utf-8", "surrogateescape")).hexdigest()[:6]  # another of its name
    name = f"{plain_name(bench.stem)}-{digest}"
    return at_login(name, _words("run", place), f"{TITLE} {name}", os.environ)


def _words(*words: str) -> tuple[str, ...]:
    """This program as it runs now; -P: a user's own folder named acquire is not ours."""
    return (sys.executable, "-P", "-m", "acquire", *words)


BENCH = Annotated[Path, typer.Argument(help="Bench file that a page or a person has made.")]
SETUP_FOLDER = Annotated[
    Path | None, typer.Option("--folder", help="Of bench files; default: steadyohm in your own folder.")
]


def install_shortcut(folder: SETUP_FOLDER = None) -> None:
    """Put an entry into the menu that opens the setup page in a browser."""
    place = folder or Path.home() / "steadyohm"
    place.mkdir(parents=True, exist_ok=True)
    _put(in_menu(place), "Its entry is in the menu")


def remove_shortcut() -> None:
    """Take that entry out of the menu again."""
    _taken(in_menu(Path()), "the menu")


def install_at_login(bench: BENCH) -> None:
    """Let a bench start whenever you log in."""
    from acquire.files.settings import load_bench

    load_bench(bench)  # one that cannot be used is refused now, not at the next log-in
    _put(bench_at_login(bench), "It starts at your next log-in")


def remove_at_login(bench: BENCH) -> None:
    """Let a bench start at log-in no longer."""
    _taken(bench_at_login(bench), "what starts at log-in")


def _put(starter: Starter, what: str) -> None:
    with _told("installed"):
        typer.echo(f"{what}: {starter.put()}")


def _taken(starter: Starter, where: str) -> None:
    with _told("removed"):
        typer.echo("Removed." if starter.take_away() else f"There was nothing of it in {where}.")


@contextmanager
def _told(done: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise InputImpossible(f"It cannot be {done} ({error.strerror or error}).") from error
