"""Who may look at the page and who may order something: the token, the name asked for, the page's origin.

What it holds off: other web sites open in the same browser (forged orders, names made to point here), people
on the network without the token, text from data that would run as script. Not for what an order may do.
"""

from __future__ import annotations

import hmac
import ipaddress
import os
import secrets
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple
from urllib.parse import parse_qs

from starlette.requests import cookie_parser

from acquire.errors import SteadyohmError
from acquire.files.network_tables import is_loopback
from system.files import OWN, others_may_read, to_disk

TOKEN_BYTES = 18
"""Random bytes of a token: 144 bits, 24 characters."""

SHORTEST_TOKEN = 20
"""Characters of a token that somebody wrote into the file; fewer can be guessed."""

COOKIE_S = 180 * 24 * 3600
"""So long a browser that has shown the token is known; half a year."""

SECURITY: tuple[tuple[str, str], ...] = (
    (
        "content-security-policy",
        (
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
            "connect-src 'self'; font-src 'self'; media-src 'self'; manifest-src 'self'; "
            "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        ),
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(self), geolocation=(), payment=(), usb=(), serial=()"),
)
"""Fields of every answer (W3C Content Security Policy Level 3; WHATWG Fetch)."""


class HttpRefusal(NamedTuple):
    """Why a request is not answered: status of HTTP, and one sentence."""

    status: int
    text: str


NOT_OURS = HttpRefusal(421, "This bench does not have that name: open it by its address.")
ELSEWHERE = HttpRefusal(403, "Commands are taken from the bench's own page only.")
NO_TOKEN = HttpRefusal(401, "This page needs the bench's token: open the address that its terminal shows.")


@dataclass(frozen=True, slots=True)
class PageGate:
    """Rules of one page.

    Attributes:
        host: address that is listened on.
        port: TCP port.
        token: to be shown once by every browser; None on an address that only this machine reaches.
        names: that the machine goes by, besides its addresses.
    """

    host: str
    port: int
    token: str | None = None
    names: frozenset[str] = frozenset()

    @property
    def cookie(self) -> str:
        """Name of the cookie; cookies know no ports, and two benches may share a machine."""
        return f"steadyohm-{self.port}"

    def refuses(self, method: str, headers: dict[str, str], query: str) -> HttpRefusal | None:
        """Look at one request.

        Args:
            method: of HTTP.
            headers: names in lower case.
            query: what stands behind the question mark.
        """
        host = headers.get("host", "")
        if not self.known(host):
            return NOT_OURS
        if not self.admitted(headers, query):
            return NO_TOKEN
        site = headers.get("sec-fetch-site", "none")
        whole_page = headers.get("sec-fetch-mode") == "navigate" and method == "GET"
        if site not in ("none", "same-origin") and not whole_page:
            return ELSEWHERE
        if method not in ("GET", "HEAD") and headers.get("origin") != f"http://{host}":
            return ELSEWHERE
        return None

    def known(self, host: str) -> bool:
        """Whether a Host field is an address or a name of this machine; any other may be made to point here.

        A page on the loopback is asked for by a loopback address or "localhost" only.
        """
        name, port = split_host(host)
        if port != self.port:
            return False
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            return name == "localhost" or name in self.names
        return address.is_loopback or not is_loopback(self.host)

    def admitted(self, headers: dict[str, str], query: str) -> bool:
        """Whether the token was shown, now or earlier."""
        if self.token is None:
            return True
        kept = cookie_parser(headers.get("cookie", "")).get(self.cookie, "")
        return any(_same(self.token, shown) for shown in (kept, token_in(query)))

    def remember(self) -> tuple[str, str]:
        """The field that lets a browser show the token by itself from now on."""
        attributes = f"Max-Age={COOKIE_S}; Path=/; HttpOnly; SameSite=Strict"
        return "set-cookie", f"{self.cookie}={self.token}; {attributes}"


def _same(token: str, shown: str) -> bool:
    return hmac.compare_digest(token.encode(), shown.encode("utf-8", "replace"))


def token_in(query: str) -> str:
    """The token of an address such as /?token=...; empty where there is none."""
    try:
        return parse_qs(query, max_num_fields=20).get("token", [""])[0]
    except ValueError:
        return ""


def split_host(host: str) -> tuple[str, int]:
    """Name or address, and port (80 where none is told), of a Host field; -1 for a port that is none."""
    if host.startswith("["):
        name, _, rest = host[1:].partition("]")
        port = rest.removeprefix(":")
    else:
        name, _, port = host.partition(":")
    if not port:
        return name.lower().rstrip("."), 80
    return name.lower().rstrip("."), int(port) if port.isascii() and port.isdigit() and len(port) < 6 else -1


def own_names(more: Iterable[str] = ()) -> frozenset[str]:
    """Names that this machine goes by in its network: its own, the same with .local, and what a file adds."""
    own = socket.gethostname().lower()
    return frozenset({own, f"{own}.local", *(name.lower() for name in more)})


def token_of(file: Path) -> str:
    """The token that a file holds; a file that is missing is made, for its owner's eyes only.

    Raises:
        SteadyohmError: it cannot be read or made, others may read it, or it holds no token.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        number = os.open(file, os.O_RDWR | os.O_CREAT | OWN, 0o600)
        with os.fdopen(number, "r+", encoding="ascii", errors="replace") as text:
            if others_may_read(number):
                raise SteadyohmError(f"Others may read the token file {file}.", f"Run: chmod 600 {file}")
            token = text.readline(200).strip()
            if not token:
                token = secrets.token_urlsafe(TOKEN_BYTES)
                text.seek(0)
                text.write(f"{token}\n")
                text.flush()
                to_disk(number)
    except OSError as error:
        raise SteadyohmError(
            f"The token file {file} cannot be used ({error.strerror or error}).",
            'Name another with token_file in [page], or leave host = "127.0.0.1".',
        ) from error
    if len(token) < SHORTEST_TOKEN or not all(sign.isalnum() or sign in "-_" for sign in token):
        raise SteadyohmError(
            f"The token in {file} is no token: at least {SHORTEST_TOKEN} letters, digits, - and _.",
            "Remove the file; a new one is made at the next start.",
        )
    return token
