"""Sheets, meter files and scenes as they are written for the product, read here apart from it.

Only what a simulation needs is read, and nothing is checked twice: `steadyohm check` is for faults.
"""

from __future__ import annotations

import re
import sysconfig
import tomllib
from pathlib import Path
from typing import Any

PLACES = (
    Path(__file__).resolve().parent.parent / "configs",
    Path(sysconfig.get_path("data")) / "share" / "steadyohm",
)
POWERS = {"": 1.0, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "c": 1e-2, "k": 1e3, "M": 1e6, "G": 1e9}
WRITTEN = re.compile(r"([-+.\deE]+?)\s*([uµmckMG]?)(ohm|Ω|m|%|ppm|°?C|)")


class Unusable(Exception):
    """A file that no bench can be simulated from; the message says which and why."""


def named(folder: str, name: str) -> Path:
    """A file by its path, or a shipped one of a folder by its name without ".toml"."""
    if Path(name).suffix:
        return Path(name)
    places = [place / folder for place in PLACES if (place / folder).is_dir()]
    found = next((place / f"{name}.toml" for place in places if (place / f"{name}.toml").exists()), None)
    if found is None:
        known = sorted(path.stem for place in places[:1] for path in place.glob("*.toml"))
        raise Unusable(f"{name!r} is no file and none of the {folder}: {', '.join(known)}")
    return found


def read(path: Path) -> dict[str, Any]:
    """What a file holds."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Unusable(f"{path}: {error}") from None


def quantity(text: str) -> float:
    """A value with its unit, in the unit without prefix; a percentage as a fraction."""
    written = WRITTEN.fullmatch(text.strip())
    if written is None:
        raise Unusable(f"{text!r} is no value with its unit")
    per = {"%": 1e-2, "ppm": 1e-6}.get(written[3], 1.0)
    return float(written[1]) * POWERS[written[2]] * per
