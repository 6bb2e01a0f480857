"""Where the shipped files are: in a source tree beside the packages, else where pip put them."""

from __future__ import annotations

import sysconfig
from pathlib import Path

from acquire.errors import InputImpossible, SteadyohmError


def shipped(*parts: str) -> Path:
    """Path of a shipped file or folder, e.g. `shipped("sheets", "plover-80.toml")`.

    Raises:
        SteadyohmError: it is nowhere, so the installation is broken.
    """
    places = (
        Path(__file__).resolve().parent.parent.parent / "configs",
        Path(sysconfig.get_path("data")) / "share" / "steadyohm",
    )
    for place in places:
        if (found := place.joinpath(*parts)).exists():
            return found
    name = "/".join(parts)
    raise SteadyohmError(f"The shipped file {name} is missing.", "Install steadyohm again.")


def named(folder: str, name: str) -> Path:
    """A file by its path, or a shipped one of a folder by its name.

    Raises:
        InputImpossible: there is no such file.
    """
    if Path(name).suffix:
        if not Path(name).exists():
            raise InputImpossible(f"There is no file {name}.", f"Name another, or one of our {folder}.")
        return Path(name).absolute()
    known = {path.stem: path for path in sorted(shipped(folder).glob("*.toml"))}
    if name not in known:
        told = f"Name a TOML file, or one of {', '.join(known)}."
        raise InputImpossible(f'There is no shipped file "{name}" among the {folder}.', told)
    return known[name]


def meter_file_for(counts: int | None, *, settable: bool) -> Path:
    """The shipped meter file that comes nearest, until the meter's own figures are put into it.

    Args:
        counts: of its display; None where they are not known: then of the poorest meter of its kind, so that
            nothing is promised which it may not keep.
        settable: whether it is set over its link, as bench meters are.
    """
    if settable:
        return shipped("meters", "bench-50000.toml")
    known = sorted(int(path.stem.removeprefix("hand-")) for path in shipped("meters").glob("hand-*.toml"))
    fitting = [each for each in known if counts is not None and each <= counts]
    return shipped("meters", f"hand-{max(fitting, default=known[0])}.toml")
