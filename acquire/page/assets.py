"""The page's own files: read once, each with its type and a hash, so that browsers keep what has not changed.

Nothing is fetched from elsewhere and nothing is built. Not for what the files do.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).with_name("static")

PAGE = "bench.html"
"""The one file that is a page; all others belong to it."""

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".ico": "image/x-icon",
    ".webmanifest": "application/manifest+json",
    ".woff2": "font/woff2",
    ".txt": "text/plain; charset=utf-8",
}
"""Media types by ending (IANA); a file of another sort is not served."""

FOR_EVER = "public, max-age=31536000, immutable"
ASK_AGAIN = "no-cache"

_LINK = re.compile(rb'"/static/([A-Za-z0-9_./-]+)"')


@dataclass(frozen=True, slots=True)
class Asset:
    """One file.

    Attributes:
        body: its bytes.
        content_type: media type.
        etag: quoted hash of the bytes.
    """

    body: bytes
    content_type: str
    etag: str


@dataclass(frozen=True, slots=True)
class Assets:
    """All files of the page.

    Attributes:
        files: by their name below /static/.
        mark: hash over all of them.
        page: the page itself, with every link carrying the mark.
    """

    files: dict[str, Asset]
    mark: str
    page: Asset

    def caching(self, version: str) -> str:
        """How long a browser may keep a file without asking.

        Args:
            version: what stands behind ?v= in its address.
        """
        return FOR_EVER if version == self.mark else ASK_AGAIN


def read_assets(folder: Path = FOLDER, page_name: str = PAGE) -> Assets:
    """Read the page's files.

    Args:
        folder: where they are.
        page_name: which of them is the page.

    Raises:
        OSError: they are not there: the program was not installed as a whole.
    """
    files = {}
    whole = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        kind = TYPES.get(path.suffix)
        if kind is None or not path.is_file():
            continue
        body, name = path.read_bytes(), path.relative_to(folder).as_posix()
        files[name] = Asset(body, kind, _etag(body))
        whole.update(name.encode() + b"\0" + body + b"\0")
    mark = whole.hexdigest()[:16]
    page = files.pop(page_name, None)
    if page is None:
        raise FileNotFoundError(f"{folder / page_name} is missing")
    body = _LINK.sub(lambda found: b'"/static/' + found[1] + b"?v=" + mark.encode() + b'"', page.body)
    return Assets(files, mark, Asset(body, page.content_type, _etag(body)))


def _etag(body: bytes) -> str:
    return f'"{hashlib.sha256(body).hexdigest()[:20]}"'
