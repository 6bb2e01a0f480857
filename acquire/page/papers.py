"""Papers, reports and photos, asked for on the page: issued, reckoned, kept and shown.

A paper or report is made by the same commands as at a terminal, in a process of its own, one at a time: it
takes a second of a whole processor. Papers are kept as issued there. Photos lie as files beside the journal,
named by their SHA-256, which is what the record holds. Not for what stands on a paper (reports).
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import re
import sys
import tempfile
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.new_file import new_file
from acquire.journal.history import JournalReader
from acquire.page.backend import File, Unfit, Unknown, short_text
from acquire.page.telling import Plain
from system.processes import heard

KINDS = ("certificate", "label")
PATIENCE_S = 30.0
"""A paper or report that takes longer is given up."""

MOST_KEPT = 20
"""Papers that can still be opened from the page; all are kept as issued beside the record."""

MOST_NAMES = 200
"""Batches or studies in the list to choose from."""

LONGEST_LINE = 1_000_000
"""Bytes of the first line of a study's record, which holds its plan."""

PHOTOS = "photos"
PHOTO_NAME = re.compile(r"[0-9a-f]{64}\.jpg")
JPEG = b"\xff\xd8\xff"
"""How a JPEG begins (ITU-T T.81, B.1.1.3: SOI, then the next marker)."""

IMPOSSIBLE = InputImpossible.exit_code


async def command(*words: str) -> bytes:
    """Run one of the program's own commands.

    Returns:
        What it wrote.

    Raises:
        Unknown: what was asked for is not there, as its sentence says.
        SteadyohmError: it failed otherwise.
        TimeoutError: it takes too long.
    """
    if any("\0" in word for word in words):
        raise Unknown("There is no such thing on the record.")
    ended = await heard([sys.executable, "-m", "acquire", *words], within_s=PATIENCE_S)
    if ended.code:
        sentence = " ".join(ended.err.decode(errors="replace").split())[-500:]
        raise Unknown(sentence) if ended.code == IMPOSSIBLE else SteadyohmError(sentence)
    return ended.out


def _studies(folder: Path) -> list[str]:
    """Names of the records of studies in a folder; other files of lines may lie beside them."""
    names = []
    for path in sorted(folder.glob("*.jsonl")):
        with contextlib.suppress(OSError, msgspec.DecodeError), path.open("rb") as file:
            if "study" in msgspec.json.decode(file.readline(LONGEST_LINE), type=dict[str, msgspec.Raw]):
                names.append(path.name)
    return names[:MOST_NAMES]


async def study_in(folder: Path, words: dict[str, str]) -> Plain:
    """The report of a gauge study of a folder; without a name, the names there are."""
    names = await asyncio.to_thread(_studies, folder)
    if (name := words.get("name", "")) and name not in names:
        raise Unknown("There is no such study in the folder.")
    made = await command("document", "study", "--", str(folder / name)) if name else b"null"
    return {"names": names, "name": name, "document": msgspec.Raw(made)}


@dataclass(slots=True)
class Papers:
    """Papers, reports and photos of one bench.

    Attributes:
        folder: of the journal.
        bench_file: heading, logo and sizes come from it.
        noted: puts a photo on the record: serial and SHA-256.
    """

    folder: Path
    bench_file: Path
    noted: Callable[[str, str], Awaitable[None]]
    _made: dict[str, bytes] = field(default_factory=dict)
    _turn: asyncio.Lock = field(default_factory=asyncio.Lock)

    # ------------------------------------------------------------------ reports

    async def batch(self, words: dict[str, str]) -> Plain:
        """The report of a batch, or none where no name is given; beside it the names there are."""
        names = await asyncio.to_thread(self._batches)
        return {"names": names, **await self._report("batch", words.get("name", ""))}

    async def returned(self, words: dict[str, str]) -> Plain:
        """A unit then and now."""
        return await self._report("returned", words.get("serial", ""))

    async def _report(self, kind: str, name: str) -> Plain:
        """A document as `acquire.reports.document` gives it. Raises as `command`."""
        if not name:
            return {"name": "", "document": None}
        async with self._turn:
            made = await command("document", kind, "--", str(self.folder), name)
        return {"name": name, "document": msgspec.Raw(made)}

    def _batches(self) -> list[str]:
        with JournalReader(self.folder) as reader:
            return [each for each, _ in reader.batches() if each][:MOST_NAMES]

    # ------------------------------------------------------------------ papers

    async def issue(self, body: Plain) -> Plain:
        """Issue a certificate or a label as PDF; the answer says under what address it is opened."""
        kind, serial = short_text(body, "kind"), short_text(body, "serial")
        if kind not in KINDS or not serial:
            raise Unfit("Name a unit, and certificate or label.")
        async with self._turn:
            with tempfile.TemporaryDirectory() as place:
                target = Path(place) / f"{kind}.pdf"
                how = ("--pdf", str(target), "--bench", str(self.bench_file))
                await command(kind, *how, "--", str(self.folder), serial)
                content = await asyncio.to_thread(target.read_bytes)
        name = hashlib.sha256(content).hexdigest()[:32]
        self._made[name] = content
        while len(self._made) > MOST_KEPT:
            del self._made[next(iter(self._made))]
        return {"address": f"/paper?name={name}"}

    async def paper(self, words: dict[str, str]) -> File:
        """A paper that was issued on this page.

        Raises:
            Unknown: there is none of this name.
        """
        if (content := self._made.get(words.get("name", ""))) is None:
            raise Unknown("That paper is no longer available: issue it again, or look in the folder issued.")
        return content, "application/pdf"

    async def keep_photo(self, body: Plain) -> Plain:
        """Keep a photo of a unit as a file, and its hash on the record."""
        serial, sent = short_text(body, "serial"), body.get("jpeg")
        if not serial or not isinstance(sent, str):
            raise Unfit("Name a unit and send a photo of it.")
        try:
            content = base64.b64decode(sent, validate=True)
        except ValueError:  # no base64, or no ASCII
            content = b""
        if not content.startswith(JPEG):
            raise Unfit("That is no photo as JPEG.")
        digest = hashlib.sha256(content).hexdigest()
        await asyncio.to_thread(self._put, f"{digest}.jpg", content)
        await self.noted(serial, digest)
        return {"address": f"/photo?name={digest}.jpg"}

    def _put(self, name: str, content: bytes) -> None:
        folder = self.folder / PHOTOS
        folder.mkdir(exist_ok=True)
        with new_file(folder / name) as file:
            file.write(content)

    async def photo(self, words: dict[str, str]) -> File:
        """A photo that is kept.

        Raises:
            Unknown: there is none of this name, or its bytes are not those that were kept.
        """
        name = words.get("name", "")
        path = self.folder / PHOTOS / name
        if not PHOTO_NAME.fullmatch(name) or not await asyncio.to_thread(path.is_file):
            raise Unknown("There is no such photo.")
        content = await asyncio.to_thread(path.read_bytes)
        if hashlib.sha256(content).hexdigest() != path.stem:
            raise Unknown("That photo was changed after it was kept.")
        return content, "image/jpeg"
