"""Files that many benches share: brought from a common folder, checked by hash, kept locally.

A folder (a network share, or a checked-out git tree) holds the sheets, meter files and spools of a line. Its
list `SHA256SUMS`, in the common format of checksum lists (`sha256sum --check` reads it), says which content
is meant. A bench copies what the list names and whose hash is right, each file as a whole, and works with its
copies when the folder is away. Not for what the files say.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Annotated, TypeVar

from pydantic import AliasChoices, Field

from acquire.errors import InputImpossible
from acquire.files.bench_tables import FilePath
from acquire.files.new_file import new_file
from acquire.files.toml_file import LARGEST_BYTES, Flag, TomlTable
from drivers.plain_file import read_file
from system.processes import begun

T = TypeVar("T")

LIST = "SHA256SUMS"
"""Name of the list in the shared folder."""

MOST_FILES = 5000
LARGEST_LIST_BYTES = 2_000_000
"""Of the list: so many files with names of 300 characters."""

PATIENCE_S = 10.0
"""A share that does not answer in this time is away: a dead network mount would block for ever."""

_LINE = re.compile(r"([0-9a-f]{64}) [ *](.+)")


class SharedSettings(TomlTable):
    """`[files]`: sheets, meter files and spools come from a folder that many benches share.

    Attributes:
        from_: that folder.
        into: local folder for the copies; the bench file names the files there.
        automatic: take changed files between two units without being asked.
    """

    from_: Annotated[FilePath, Field(alias="from", examples=['"/srv/steadyohm/files"'])]
    into: FilePath = Field(default="files", validate_default=True)
    automatic: Flag = Field(default=False, validation_alias=AliasChoices("automatic", "by_itself"))


@dataclass(slots=True)
class Fetched:
    """What came of looking into the shared folder.

    Attributes:
        taken: names of files that were copied, new or changed.
        refused: name of a file, and why it was not.
        away: why the folder could not be looked into; empty where it could.
        meant: SHA-256 by name, of everything that the folder offers.
    """

    taken: list[str] = field(default_factory=list)
    refused: dict[str, str] = field(default_factory=dict)
    away: str = ""
    meant: dict[str, str] = field(default_factory=dict)


def offered(folder: Path) -> dict[str, str]:
    """Which files a folder offers: as its list says, or else every TOML file in it; name to SHA-256.

    Raises:
        InputImpossible: the list is none, or names what lies elsewhere.
        OSError: the folder cannot be read.
    """
    try:
        text = read_file(folder / LIST, LARGEST_LIST_BYTES).decode("utf-8-sig")
    except FileNotFoundError:
        return dict(sorted(_hashes(folder)))
    except UnicodeDecodeError as error:
        raise InputImpossible(
            f"{folder / LIST} is no text.", "Write it anew: steadyohm index FOLDER."
        ) from error
    found: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        parts = _LINE.fullmatch(line)
        if parts is None or not _safe(parts[2]):
            raise InputImpossible(
                f"{folder / LIST}:{number}: this is not a hash and name of a file in this folder.",
                "Write it anew: steadyohm index FOLDER.",
            )
        found[parts[2]] = parts[1]
    return found


def _safe(name: str) -> bool:
    """Whether a name lies in the folder, whatever somebody wrote into its list."""
    path = PurePosixPath(name)
    return (
        name.endswith(".toml")
        and name.isprintable()
        and "\\" not in name
        and not path.is_absolute()
        and not any(part in ("..", ".") or part.startswith(".") for part in path.parts)
        and path.as_posix() == name
    )


def _hashes(folder: Path) -> list[tuple[str, str]]:
    """Every TOML file under a folder, hidden ones apart."""
    found = []
    for path in folder.rglob("*.toml"):
        name = path.relative_to(folder).as_posix()
        if _safe(name) and path.is_file():
            with path.open("rb") as stream:
                found.append((name, hashlib.file_digest(stream, "sha256").hexdigest()))
        if len(found) > MOST_FILES:
            raise InputImpossible(f"{folder} holds more than {MOST_FILES} files.", "Is it the right folder?")
    return found


def write_list(folder: Path) -> int:
    """Write the list of a shared folder; gives the number of files in it.

    Raises:
        InputImpossible: there is no such folder, no file in it or too large a one, or it cannot be written.
    """
    if not folder.is_dir():
        raise InputImpossible(f"There is no folder {folder}.", "Name the folder that benches share.")
    try:
        found = sorted(_hashes(folder))
        if not found:
            raise InputImpossible(f"{folder} holds no TOML file.", "Put sheets and meter files there.")
        for name, _ in found:
            if (folder / name).stat().st_size > LARGEST_BYTES:
                what = f"{folder / name} is larger than {LARGEST_BYTES / 1e6:g} MB: no bench takes it."
                raise InputImpossible(what, "Is it the right file?")
        with new_file(folder / LIST) as file:
            file.write("".join(f"{digest}  {name}\n" for name, digest in found).encode())
    except OSError as error:
        raise InputImpossible(
            f"{folder} cannot be written ({error.strerror}).", "Check its rights."
        ) from error
    return len(found)


def fetch(shared: SharedSettings) -> Fetched:
    """Copy what is new or changed; what cannot be had stays as it is here. Waits a few seconds at most."""
    done = Fetched()
    try:
        bounded(lambda: _fetch(shared.from_, shared.into, done), PATIENCE_S)
    except TimeoutError:
        return Fetched(away=f"{shared.from_} does not answer")
    except OSError as error:
        done.away = f"{error.filename or shared.from_}: {error.strerror or error}"
    except InputImpossible as error:
        done.away = str(error)
    return done


def _fetch(source: Path, into: Path, done: Fetched) -> None:
    done.meant = offered(source)
    for name, digest in done.meant.items():
        here = into / name
        with contextlib.suppress(OSError):  # whatever else lies here is replaced
            if hashlib.sha256(read_file(here, LARGEST_BYTES)).hexdigest() == digest:
                continue
        try:
            content = read_file(source / name, LARGEST_BYTES)
        except OSError as error:
            done.refused[name] = f"it cannot be read ({error.strerror})"
            continue
        if hashlib.sha256(content).hexdigest() != digest:
            done.refused[name] = f"it differs from what {LIST} says"
        else:
            here.parent.mkdir(parents=True, exist_ok=True)
            if here.is_symlink():  # nothing is written through it to elsewhere
                here.unlink()
            with new_file(here) as file:
                file.write(content)
            done.taken.append(name)


def bounded(work: Callable[[], T], within_s: float) -> T:
    """Do work that may hang, and give it up after a time.

    Raises:
        TimeoutError: it did not end.
    """
    return begun(work).result(within_s)
