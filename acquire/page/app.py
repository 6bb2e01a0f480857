"""What the page's server answers: the page, its files, the state, the stream of events, orders, questions.

Small and strict: every answer carries the security fields, every request passes the gate first, every fault
is one sentence. Not for what an answer says (view, past, tests_wanted) nor for the server (serve).
"""

from __future__ import annotations

import asyncio
import hashlib
import re
from collections.abc import AsyncIterator, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import msgspec
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from acquire.errors import Fault, FileInvalid, SteadyohmError
from acquire.outlets.orders import LARGEST_BYTES, Order, OrderAnswer, Stop
from acquire.page.access import SECURITY, PageGate, token_in
from acquire.page.backend import PageBackend, Unknown
from acquire.page.stream import MOST_PAGES, Broadcast, PageQueue, Stream, spelt_json
from drivers.errors import MeterError

T = TypeVar("T")

FOLDER = Path(__file__).with_name("static")

PAGE = "bench.html"
"""The one file that is a page; all others belong to it."""

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
"""Media types by ending (IANA); a file of another sort is not served."""

NOT_KEPT = {"cache-control": "no-store"}
FOR_EVER = "public, max-age=31536000, immutable"
ASK_AGAIN = "no-cache"

_LINK = re.compile(rb'"/static/([A-Za-z0-9_./-]+)"')


class Asset(NamedTuple):
    """One file, with its media type."""

    body: bytes
    content_type: str


@dataclass(frozen=True, slots=True)
class Assets:
    """All files of the page.

    Attributes:
        files: by their name below /static/.
        mark: hash over all of them, by which a browser knows whether it has them.
        page: the page itself, with every link carrying the mark.
    """

    files: dict[str, Asset]
    mark: str
    page: Asset


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
        files[name] = Asset(body, kind)
        whole.update(name.encode() + b"\0" + body + b"\0")
    mark = whole.hexdigest()[:16]
    page = files.pop(page_name, None)
    if page is None:
        raise FileNotFoundError(f"{folder / page_name} is missing")
    body = _LINK.sub(lambda found: b'"/static/' + found[1] + b"?v=" + mark.encode() + b'"', page.body)
    return Assets(files, mark, page._replace(body=body))


BODY_S = 2.0
"""So long a body may take to arrive."""

LARGEST_POST = 8_000_000
"""Bytes of a body: a photo in base64, which the page makes smaller before."""

LONGEST_WORD = 200
"""Characters of a word of an address: a serial, the name of a batch."""

NO_STOP = "This page may not end the bench: press Ctrl-C at its terminal, or set stop = true in [page]."
"""The answer to an order that its page may not give."""


async def _no_stop(_order: Order) -> OrderAnswer:
    return OrderAnswer(done=False, reason=NO_STOP)


LET_IN = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>steadyohm</title>'
    '<meta http-equiv="refresh" content="0;url=/"></head><body><a href="/">To the bench</a></body></html>'
)
"""Answers an address with a token: from here on the cookie is sent, and the token leaves the address bar."""

NO_FILE = "That file cannot be used."
TOO_LONG = "That takes too long: ask again when the bench is idle."


def plain(data: Any, status: int = 200, fields: Mapping[str, str] | None = None) -> Response:
    """An answer in JSON, with more fields of HTTP."""
    return Response(spelt_json(data), status, {**NOT_KEPT, **(fields or {})}, "application/json")


def refusal(
    status: int, text: str, faults: Iterable[str] = (), fields: Mapping[str, str] | None = None
) -> Response:
    """An answer that says no, in a sentence, with the faults of a file line by line."""
    return plain({"error": " ".join(text.split()), "faults": list(faults)}, status, fields)


def files_of(assets: Assets) -> list[Route]:
    """The page and its files; a browser that names the mark keeps a file for ever, any other asks again."""

    async def file(request: Request) -> Response:
        name = request.path_params.get("name")
        asset = assets.page if name is None else assets.files.get(name)
        if asset is None:
            return refusal(404, "There is no such file.")
        known = request.query_params.get("v") == assets.mark
        fields = {"etag": f'"{assets.mark}"', "cache-control": FOR_EVER if known else ASK_AGAIN}
        if fields["etag"] in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=fields)
        return Response(asset.body, headers={**fields, "content-type": asset.content_type})

    return [Route("/", file), Route("/static/{name:path}", file)]


class Guard:
    """Stands before everything: the gate first, the security fields on whatever is answered."""

    def __init__(self, app: ASGIApp, gate: PageGate) -> None:
        """Guard an application."""
        self._app = app
        self._gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Take one request."""
        fields = [(name.encode(), value.encode()) for name, value in SECURITY]

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *fields]
            await send(message)

        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        query = scope["query_string"].decode("latin-1")
        method = scope["method"]
        answer: ASGIApp = self._app
        if refused := self._gate.refuses(method, headers, query):
            answer = refusal(*refused)
        elif self._gate.token is not None and scope["path"] == "/" and token_in(query):
            name, value = self._gate.remember()
            answer = HTMLResponse(LET_IN, headers={name: value, **NOT_KEPT})
        await answer(scope, receive, guarded)


@dataclass(slots=True)
class Pages:
    """The answers of one server. What stands behind may change while it runs (setup, then a bench).

    Attributes:
        stream: what is shown.
        assets: files of the page.
        backend: what stands behind.
    """

    stream: Stream
    assets: Assets
    backend: PageBackend = field(default_factory=PageBackend)

    def app(self, gate: PageGate) -> ASGIApp:
        """The whole as one ASGI application."""
        routes = [
            *files_of(self.assets),
            Route("/now", self._now),
            Route("/events", Events(self.stream), methods=["GET"]),
            Route("/orders", self._order, methods=["POST"]),
            Route("/{path:path}", self._question, methods=["GET"]),
            Route("/{path:path}", self._posted, methods=["POST"]),
        ]
        faults = (HTTPException, Unknown, SteadyohmError, MeterError, OSError)
        return Guard(Starlette(routes=routes, exception_handlers=dict.fromkeys(faults, refused)), gate)

    # ------------------------------------------------------------------ the bench

    async def _now(self, _request: Request) -> Response:
        if self.backend.facts is not None:
            self.stream.view.know(self.backend.facts())
        return plain(self.stream.state())

    async def _order(self, request: Request) -> Response:
        backend = self.backend
        if backend.facts is None:
            raise HTTPException(409, "No bench is running yet.")
        if backend.obey is None:
            raise HTTPException(403, "This bench takes no commands from its page: see commands in [page].")
        taken = backend.desk.take(await _body(request, LARGEST_BYTES), backend.monotonic_s())
        answer = taken.answer
        if taken.order is not None:
            no_stop = isinstance(taken.order, Stop) and not backend.may_stop
            obey = _no_stop if no_stop else backend.obey
            answer = await backend.desk.carry_out(taken.correlation, taken.order, obey)
        if answer is None:
            text = "That command is being carried out." if taken.correlation else "Too many commands at once."
            answer = OrderAnswer(done=False, reason=text)
        return plain({"done": answer.done, "reason": answer.reason})

    async def _question(self, request: Request) -> Response:
        ask = self._known(self.backend.asks, request)
        answer = await ask({key: value[:LONGEST_WORD] for key, value in request.query_params.items()})
        return plain(answer) if isinstance(answer, dict) else Response(answer[0], 200, NOT_KEPT, answer[1])

    async def _posted(self, request: Request) -> Response:
        post = self._known(self.backend.posts, request)
        try:
            body = msgspec.json.decode(await _body(request, LARGEST_POST), type=dict[str, Any])
        except (msgspec.DecodeError, RecursionError):
            raise HTTPException(400, "That is no JSON object.") from None
        return plain(await post(body))

    def _known(self, doings: Mapping[str, T], request: Request) -> T:
        """What stands at a path; setup is over once a bench runs. Raises HTTPException where nothing does."""
        path = "/" + request.path_params["path"]
        if (doing := doings.get(path)) is not None:
            return doing
        if self.backend.facts is not None and path.split("/")[1] == "setup":
            raise HTTPException(409, "The bench is running already.")
        raise HTTPException(404, "There is no such page.")


def refused(request: Request, error: Exception) -> Response:
    """Why there is no answer, in a sentence; a fault that has no status of its own is the body's, if any."""
    if isinstance(error, HTTPException):
        return refusal(error.status_code, error.detail, fields=error.headers)
    faults = error.faults if isinstance(error, FileInvalid) else []
    text = TOO_LONG if isinstance(error, TimeoutError) else NO_FILE if faults else str(error)
    kinds = ((Unknown, 404), (FileInvalid, 422), (OSError, 503))  # a TimeoutError is an OSError
    otherwise = 422 if request.method == "POST" else 503
    status = next((status for kind, status in kinds if isinstance(error, kind)), otherwise)
    return refusal(status, text, map(_without_folder, faults))


def _without_folder(fault: Fault) -> str:
    """A fault with the name of its file alone; of a file on trial, which is hidden, without."""
    name = fault.file.name
    shown = str(replace(fault, file=Path(name)))
    return shown.removeprefix(f"{name}:") if name.startswith(".") else shown


class Events:
    """The stream of events to one page, as an ASGI application of its own."""

    def __init__(self, stream: Broadcast) -> None:
        """Tell what this feed has."""
        self._stream = stream

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Tell one page until it leaves or the feed ends."""
        line = self._stream.open()
        if line is None:
            await refusal(503, f"{MOST_PAGES} pages are open already: close one.")(scope, receive, send)
            return
        try:
            fields = {**NOT_KEPT, "x-accel-buffering": "no"}
            answer = StreamingResponse(self._told(line), headers=fields, media_type="text/event-stream")
            await answer(scope, receive, send)
        finally:
            self._stream.leave(line)

    async def _told(self, line: PageQueue) -> AsyncIterator[bytes]:
        yield b"retry: 1000\n\n"
        while told := await line.take(self._stream.whole):
            yield told


async def _body(request: Request, most_bytes: int) -> bytes:
    """The body of a request, if it is JSON and comes in time. Raises HTTPException where it is too large."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        return b""  # no JSON, as whoever reads it will say
    body = b""
    try:
        async with asyncio.timeout(BODY_S):
            async for piece in request.stream():
                body += piece
                if len(body) > most_bytes:
                    raise HTTPException(413, f"That is too large: at most {most_bytes} bytes are taken.")
    except (TimeoutError, ClientDisconnect):
        return b""
    return body
