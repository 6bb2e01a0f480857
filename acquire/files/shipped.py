"""Where the shipped files are: in a source tree beside the packages, else where pip put them."""

from __future__ import annotations

import sysconfig
from pathlib import Path

from acquire.errors import SteadyohmError


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
