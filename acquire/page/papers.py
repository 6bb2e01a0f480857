"""Papers and photos of a unit, asked for on the page: certificate and label issued, photos kept and shown.

A paper is made by the same command as at a terminal, in a process of its own, and kept as issued there.
Photos lie as files beside the journal, named by their SHA-256, which is what the record holds. Not for what
stands on a paper (reports).
"""

from __future__ import annotations

import asyncio
import base64
import hashlib
import re
import sys
import tempfile
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from acquire.errors import SteadyohmError
from acquire.files.new_file import new_file
from acquire.page.behind import Unknown
from system.processes import heard

Plain = dict[str, Any]
Answered = tuple[int, Plain]
File = tuple[bytes, str]
"""Bytes and media type (IANA)."""

KINDS = ("certificate", "label")
PATIENCE_S = 30.0
"""A paper that takes longer is given up."""

LARGEST_BYTES = 8_000_000
"""Of a photo as it is sent, in base64: the page makes them smaller before."""

MOST_KEPT = 20
"""Papers that can still be opened from the page; all are kept as issued beside the record."""

PHOTOS = "photos"
PHOTO_NAME = re.compile(r"[0-9a-f]{64}\.jpg")
JPEG = b"\xff\xd8\xff"
"""How a JPEG begins (ITU-T T.81, B.1.1.3: SOI, then the next marker)."""


@dataclass(slots=True)
class Papers:
    """Papers and photos of one bench.

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

    async def issue(self, body: Plain) -> Answered:
        """Issue a certificate or a label as PDF; the answer says under what address it is opened."""
        kind, serial = body.get("kind"), body.get("serial")
        if kind not in KINDS or not isinstance(serial, str) or not serial:
            return 422, {"error": "Name a unit, and certificate or label."}
        async with self._turn:
            with tempfile.TemporaryDirectory() as place:
                target = Path(place) / f"{kind}.pdf"
                fault = await self._make(kind, serial, target)
                if fault:
                    return 422, {"error": fault}
                content = await asyncio.to_thread(target.read_bytes)
        name = hashlib.sha256(content).hexdigest()[:32]
        self._made[name] = content
        while len(self._made) > MOST_KEPT:
            del self._made[next(iter(self._made))]
        return 200, {"address": f"/paper?name={name}"}

    async def _make(self, kind: str, serial: str, target: Path) -> str:
        """Run the command.

        Returns:
            Why there is no paper; empty where there is one.
        """
        words = [kind, "--pdf", str(target), "--bench", str(self.bench_file), "--", str(self.folder), serial]
        try:
            ended = await heard([sys.executable, "-m", "acquire", *words], within_s=PATIENCE_S)
        except TimeoutError:
            return "That takes too long: ask again when the bench is at rest."
        return "" if ended.code == 0 else " ".join(ended.err.decode(errors="replace").split())[-500:]

    async def paper(self, words: dict[str, str]) -> File:
        """A paper that was issued on this page.

        Raises:
            Unknown: there is none of this name.
        """
        if (content := self._made.get(words.get("name", ""))) is None:
            raise Unknown("That paper is not at hand any more: issue it again, or look in the folder issued.")
        return content, "application/pdf"

    async def keep_photo(self, body: Plain) -> Answered:
        """Keep a photo of a unit as a file, and its hash on the record."""
        serial, sent = body.get("serial"), body.get("jpeg")
        if not isinstance(serial, str) or not serial or not isinstance(sent, str):
            return 422, {"error": "Name a unit and send a photo of it."}
        try:
            content = base64.b64decode(sent, validate=True)
        except ValueError:  # no base64, or no ASCII
            content = b""
        if not content.startswith(JPEG):
            return 422, {"error": "That is no photo as JPEG."}
        digest = hashlib.sha256(content).hexdigest()
        try:
            await asyncio.to_thread(self._put, f"{digest}.jpg", content)
        except (OSError, SteadyohmError) as error:
            return 503, {"error": " ".join(str(error).split())}
        await self.noted(serial, digest)
        return 200, {"address": f"/photo?name={digest}.jpg"}

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
