"""Profiles: a TOML file that makes one driver fit one kind of meter.

A profile names its driver, says what it was checked against, and sets that driver's options. Those of this
package stand in a folder `profiles` beside each driver; a workshop's own is given by its path. Not for
accuracy figures: those are `drivers.models`.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from drivers.errors import GivenInvalid
from drivers.plain_file import read_file

LARGEST_BYTES = 1_000_000
"""Of a profile; those of the package have a few hundred. A device has no end."""

Verification = Literal["capture", "datasheet", "standard", "memory"]


class ProfileInvalid(GivenInvalid):
    """A profile cannot be used; the file is at fault."""

    hint = "drivers/README.md shows how a profile is written."


class Profile(BaseModel):
    """One profile.

    Attributes:
        title: what meters it fits, in words; never a promise for one make.
        driver: the driver it sets up.
        verified: what it was checked against. One from memory wants the self-check before any verdict.
        source: where its facts are from.
        line: serial settings, as in an address behind the question mark; used where the address is silent.
        options: the driver's options.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    title: str = Field(min_length=3)
    driver: str = Field(min_length=1)
    verified: Verification
    source: str = Field(min_length=3)
    line: str = ""
    options: dict[str, Any] = {}


def load_profile(name: str, package: str) -> Profile:
    """Load a profile.

    Args:
        name: of a shipped profile (`older_bench`), or the path of a file (`./my_meter.toml`).
        package: the package of the driver, beside which its profiles stand.

    Raises:
        ProfileInvalid: there is none, or it is wrong; says where.
    """
    text = _text_of(name, package)
    try:
        return Profile.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ProfileInvalid(f"the profile {name!r} is not TOML: {error}.") from error
    except ValidationError as error:
        faults = "; ".join(f"{'.'.join(map(str, e['loc']))}: {_plain(e)}" for e in error.errors())
        raise ProfileInvalid(f"the profile {name!r} is wrong: {faults}.") from error


_PLAIN = {"missing": "it is missing", "extra_forbidden": "no such key"}


def _plain(fault: Any) -> str:
    """One fault that pydantic found, in a workshop's words where its own are a programmer's."""
    return _PLAIN.get(fault["type"]) or fault["msg"].partition("\n")[0]


def _text_of(name: str, package: str) -> str:
    if "/" in name or name.endswith(".toml"):
        try:
            return read_file(Path(name), LARGEST_BYTES).decode("utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            why = getattr(error, "strerror", None) or "it is not UTF-8 text"
            raise ProfileInvalid(f"the profile {name} cannot be read ({why}).") from error
    shipped = files(package).joinpath("profiles", f"{name}.toml")
    if not shipped.is_file():
        there = ", ".join(shipped_profiles(package)) or "none"
        raise ProfileInvalid(f"there is no profile {name!r} for this driver; there are: {there}.")
    return shipped.read_text(encoding="utf-8")


def shipped_profiles(package: str) -> list[str]:
    """Names of the profiles that stand beside a driver."""
    folder = files(package).joinpath("profiles")
    if not folder.is_dir():
        return []
    return sorted(
        entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml")
    )
