"""What is started without a terminal, and by which words. Not for how systems do it (system.desktop)."""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path

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
