"""The thin shell: requests in, answers out. What they mean is decided elsewhere."""

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import asdict, dataclass
from importlib.resources import files
from typing import Any, Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from tensionlog.page.clients import Client, Clients
from tensionlog.page.desk import Desk
from tensionlog.page.guard import COOKIE, MOST_BODY, Guard
from tensionlog.page.library import Library
from tensionlog.page.pdf import pdf_of

TICK_S: Final = 0.05
"""The number goes out twenty times a second: more is not seen, less stutters."""

BEAT_S: Final = 2.0
"""A comment at least so often: the page knows by it that the line is alive."""

STATIC: Final = {
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "bed.js": "text/javascript; charset=utf-8",
    "sound.js": "text/javascript; charset=utf-8",
    "icon.svg": "image/svg+xml",
}
"""Every file there is; no other name leads anywhere."""

SECURITY: Final = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; frame-src 'self'; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}

Answers = Callable[["Shell", Request], Awaitable[Response]]
Endpoint = Callable[[Request], Awaitable[Response]]


@dataclass(slots=True, kw_only=True)
class Shell:
    """What the endpoints share.

    Attributes:
        desk: The bench's desk.
        clients: Who watches and who drives.
        library: History, checks, clamps, reports and slips.
        guard: The door.
        clock_s: Seconds that never jump.
        goes_on: Whether the server is not about to stop.
    """

    desk: Desk
    clients: Clients
    library: Library
    guard: Guard
    clock_s: Callable[[], float]
    goes_on: Callable[[], bool] = lambda: True


def make_app(shell: Shell) -> Starlette:
    """Put the endpoints behind the door."""

    def bound(endpoint: Answers) -> Endpoint:
        async def call(request: Request) -> Response:
            return await endpoint(shell, request)

        return call

    routes = [
        Route("/", bound(_page)),
        Route("/static/{name}", bound(_static)),
        Route("/words.json", bound(_words)),
        Route("/events", bound(_events)),
        Route("/do", bound(_do), methods=["POST"]),
        Route("/home.json", bound(_told(Library.home))),
        Route("/history.json", bound(_history)),
        Route("/fields.json", bound(_fields)),
        Route("/dial.json", bound(_dial)),
        Route("/clamps", bound(_paper(Library.clamp_page))),
        Route("/cell", bound(_paper(Library.check_page))),
        Route("/job/{name}/report", bound(_report)),
        Route("/job/{name}/slip", bound(_slip)),
        Route("/job/{name}/slip.pdf", bound(_slip_pdf)),
        Route("/clamps.json", bound(_told(Library.clamps))),
        Route("/cell.json", bound(_told(Library.cell))),
    ]
    return Starlette(routes=routes, middleware=[Middleware(_Door, shell=shell)])


class _Door:
    """Lets in what the guard lets in, and sends every answer out with its headers."""

    def __init__(self, app: ASGIApp, shell: Shell) -> None:
        self._app, self._shell = app, shell

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        token = request.query_params.get("token")
        found = self._shell.guard.refusal(
            method=request.method, headers=request.headers, query_token=token
        )
        if found is not None:
            text = self._shell.desk.words(found[1])
            answer = Response(text, status_code=found[0], headers=SECURITY)
            await answer(scope, receive, send)
            return
        await self._app(scope, receive, self._sealed(send, token))

    def _sealed(self, send: Send, token: str | None) -> Send:
        extra = [(k.encode(), v.encode()) for k, v in SECURITY.items()]
        if token is not None and self._shell.guard.token is not None:
            cookie = f"{COOKIE}={self._shell.guard.token}; HttpOnly; SameSite=Strict; Path=/"
            extra.append((b"set-cookie", cookie.encode()))

        async def sealed(message: Any) -> None:
            if message["type"] == "http.response.start":
                stated = {name for name, _ in message["headers"]}
                message["headers"] += [pair for pair in extra if pair[0] not in stated]
            await send(message)

        return sealed


def _file(name: str) -> bytes:
    return files("tensionlog.page").joinpath("static", name).read_bytes()


async def _page(shell: Shell, request: Request) -> Response:
    return HTMLResponse(_file("page.html"))


async def _static(shell: Shell, request: Request) -> Response:
    name = request.path_params["name"]
    kind = STATIC.get(name)
    if kind is None:
        return Response(shell.desk.words("guard.nothing"), status_code=404)
    return Response(_file(name), media_type=kind)


async def _words(shell: Shell, request: Request) -> Response:
    return JSONResponse(shell.desk.words.all())


async def _events(shell: Shell, request: Request) -> Response:
    client = _client_name(request.query_params.get("client"))
    if client is None:
        return Response(shell.desk.words("guard.client"), status_code=400)
    return StreamingResponse(_stream(shell, client), media_type="text/event-stream")


async def _stream(shell: Shell, name: str) -> AsyncIterator[str]:
    """What one page is told, until it goes or the server stops."""
    wake = asyncio.Event()
    client = Client(name, wake.set)
    if not shell.clients.join(client, now_s=shell.clock_s()):
        yield "event: full\ndata: {}\n\n"
        return
    try:
        yield "retry: 700\n\n"
        while shell.goes_on():
            wake.clear()
            out = client.told()
            yield "".join(f"event: {event}\ndata: {body}\n\n" for event, body in out) or ":\n\n"
            try:
                await asyncio.wait_for(wake.wait(), BEAT_S)
            except TimeoutError:
                continue
    finally:
        shell.clients.leave(client, now_s=shell.clock_s())


async def _do(shell: Shell, request: Request) -> Response:
    command = await _json_body(request)
    if isinstance(command, Response):
        return command
    name = _client_name(command.get("client"))
    if name is None:
        return Response(shell.desk.words("guard.client"), status_code=400)
    if command.get("do") == "drive":
        shell.clients.take_over(name)
        return JSONResponse({"ok": True})
    if not shell.clients.drives(name, now_s=shell.clock_s()):
        return JSONResponse({"ok": False, "text": shell.desk.words("no.driver")}, 409)
    # In a thread: a ticket's recording is made on the disk.
    answered = await run_in_threadpool(shell.desk.do, command)
    return JSONResponse(asdict(answered), 200 if answered.ok else 422)


async def _json_body(request: Request) -> Mapping[str, Any] | Response:
    """The body as an object; a response that says why not where it is none."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > MOST_BODY:
            return Response("too large", status_code=413)
    if request.headers.get("content-type", "").partition(";")[0] != "application/json":
        return Response("JSON only", status_code=415)
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        found = None
    return found if isinstance(found, dict) else Response("no JSON object", status_code=400)


def _client_name(text: object) -> str | None:
    is_name = isinstance(text, str) and 8 <= len(text) <= 40 and text.isalnum()
    return text if is_name and isinstance(text, str) and text.isascii() else None


def _told(ask: Callable[[Library], Any]) -> Answers:
    async def told(shell: Shell, request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(ask, shell.library))

    return told


def _paper(
    ask: Callable[[Library], str | None],
) -> Answers:
    async def paper(shell: Shell, request: Request) -> Response:
        return _document(shell, await run_in_threadpool(ask, shell.library))

    return paper


async def _history(shell: Shell, request: Request) -> Response:
    query = request.query_params.get("q", "")[:80]
    return JSONResponse(await run_in_threadpool(shell.library.history, query))


async def _fields(shell: Shell, request: Request) -> Response:
    asked = {k: request.query_params.get(k, "")[:120] for k in ("owner", "frame", "sport")}
    name = request.query_params.get("job", "")[:40]
    return JSONResponse(await run_in_threadpool(shell.library.fields, name, **asked))


async def _dial(shell: Shell, request: Request) -> Response:
    asked = {k: request.query_params.get(k, "")[:120] for k in ("tension", "limit")}
    base = request.query_params.get("job", "")[:40]
    return JSONResponse(await run_in_threadpool(shell.library.dial, asked, base))


async def _report(shell: Shell, request: Request) -> Response:
    page = await run_in_threadpool(shell.library.report, request.path_params["name"])
    return _document(shell, page)


async def _slip(shell: Shell, request: Request) -> Response:
    page = await run_in_threadpool(shell.library.slip, request.path_params["name"])
    return _document(shell, page)


async def _slip_pdf(shell: Shell, request: Request) -> Response:
    name = request.path_params["name"]
    page = await run_in_threadpool(shell.library.slip, name)
    if page is None:
        return Response(shell.desk.words("guard.nothing"), status_code=404)
    pdf = await run_in_threadpool(pdf_of, page)
    if pdf is None:
        return Response(shell.desk.words("slip.no-pdf"), status_code=503)
    shown = {"content-disposition": f'inline; filename="slip-{name}.pdf"'}
    return Response(pdf, media_type="application/pdf", headers=shown)


def _document(shell: Shell, page: str | None) -> Response:
    """A page that carries its own policy, which lets it load nothing at all."""
    if page is None:
        return Response(shell.desk.words("guard.nothing"), status_code=404)
    own = {"content-security-policy": "base-uri 'none'; form-action 'none'"}
    return HTMLResponse(page, headers=own)


async def tick(shell: Shell) -> None:
    """Tell every page what the cell reads, twenty times a second, as long as it goes on."""
    shown_s = 0.0
    while shell.goes_on():
        await asyncio.sleep(TICK_S)
        if shell.clients.count:
            body, shown_s = shell.library.number(shown_s)
            shell.clients.number(body)
