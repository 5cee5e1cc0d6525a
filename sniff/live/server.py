"""The server of the live page: Starlette, one WebSocket a page, and nothing that is not ours."""

import asyncio
import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.resources import files
from io import BytesIO
from pathlib import Path

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from sniff.errors import BenchError, UsageError
from sniff.live.commands import Invite, Keep, Mark, Note, TapAsked, parse_command
from sniff.live.guard import Doors
from sniff.live.hub import Viewer
from sniff.live.packing import text
from sniff.live.runner import Runner
from sniff.live.telling import Teller
from sniff.model import IQBlock
from sniff.taps.nouns import IN_WORDS
from sniff.units import format_seconds

MOST_PHOTO_BYTES = 6_000_000
_PNG = b"\x89PNG\r\n\x1a\n"
_STATIC = {
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "axes.js": "text/javascript; charset=utf-8",
    "board.js": "text/javascript; charset=utf-8",
    "drawing.js": "text/javascript; charset=utf-8",
    "ear.js": "text/javascript; charset=utf-8",
    "sizing.js": "text/javascript; charset=utf-8",
    "wire.js": "text/javascript; charset=utf-8",
    "photo.js": "text/javascript; charset=utf-8",
    "icon.svg": "image/svg+xml",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Hello:
    """What a page must know first.

    Attributes
    ----------
    source, clock : str
        In words.
    cautions : tuple of str
    tools : dict
        Provocations and their names.
    keeps : bool
        Whether recordings, photos and notes have a place to go.
    memory_s : float
        How many seconds can be kept at the most.
    """

    source: str
    clock: str
    cautions: tuple[str, ...]
    tools: dict[str, str]
    keeps: bool
    memory_s: float


class Page:
    """What the open pages are given, and what they ask.

    Parameters
    ----------
    hello : Hello
    teller : Teller
        Where the measuring thread tells what happens.
    runner : Runner
    doors : Doors
    keep : callable or None
        Writes blocks as a recording and returns its path; None when there is no place.
    photo : callable or None
        Writes a PNG and returns its path; None when there is no place.
    """

    def __init__(
        self,
        *,
        hello: Hello,
        teller: Teller,
        runner: Runner,
        doors: Doors,
        keep: Callable[[Sequence[IQBlock]], Path] | None,
        photo: Callable[[bytes], Path] | None,
    ) -> None:
        self._hello = hello
        self._teller = teller
        self._hub = teller.hub
        self._runner = runner
        self._doors = doors
        self._keep = keep
        self._photo = photo

    def application(self) -> Starlette:
        """The ASGI application; the guard goes around it."""
        return Starlette(
            routes=[
                Route("/", self._page),
                Route("/static/{name}", self._static),
                Route("/invite.svg", self._invitation),
                Route("/photo", self._take_photo, methods=["POST"]),
                WebSocketRoute("/live", self._live),
            ],
            lifespan=self._lifespan,
        )

    @contextlib.asynccontextmanager
    async def _lifespan(self, _: Starlette):  # type: ignore[no-untyped-def]
        self._teller.begin(asyncio.get_running_loop())
        self._hub.tell(text("hello", self._hello), lasting="hello")
        self._tell_invitation()
        self._runner.start()
        yield
        await asyncio.to_thread(self._runner.stop)
        await asyncio.to_thread(self._teller.end)

    async def _page(self, _: Request) -> Response:
        return _own_file("page.html", "text/html; charset=utf-8")

    async def _static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in _STATIC:
            return PlainTextResponse("there is no such file", status_code=404)
        return _own_file(name, _STATIC[name])

    async def _invitation(self, request: Request) -> Response:
        """The link for a phone as a picture; for this computer's own screen only."""
        link = self._doors.newest_link
        if link is None or not request.state.local:
            return PlainTextResponse("the page is not shared", status_code=404)
        import segno

        picture = BytesIO()
        segno.make(link, error="m").save(
            picture, kind="svg", scale=6, border=4, dark="#000", light="#fff"
        )
        return Response(picture.getvalue(), media_type="image/svg+xml")

    async def _take_photo(self, request: Request) -> Response:
        if self._photo is None:
            return PlainTextResponse("no place: start the page with --job", status_code=409)
        body = bytearray()
        async for piece in request.stream():
            body += piece
            if len(body) > MOST_PHOTO_BYTES:
                return PlainTextResponse("the picture is too large", status_code=413)
        if not body.startswith(_PNG):
            return PlainTextResponse("that is no PNG", status_code=415)
        try:
            path = await asyncio.to_thread(self._photo, bytes(body))
        except (OSError, BenchError) as error:
            return PlainTextResponse(f"it could not be written: {error}", status_code=507)
        self._teller.write("photo", f"kept as {path.name}", self._runner.now_s)
        return PlainTextResponse(path.name)

    async def _live(self, socket: WebSocket) -> None:
        await socket.accept()
        viewer = self._hub.join(local=bool(socket.state.local))
        sending = asyncio.create_task(self._send(socket, viewer))
        try:
            await self._listen(socket, viewer)
        except WebSocketDisconnect:
            pass
        finally:
            self._hub.leave(viewer)
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError, WebSocketDisconnect, RuntimeError):
                await sending

    async def _send(self, socket: WebSocket, viewer: Viewer) -> None:
        with contextlib.suppress(WebSocketDisconnect, RuntimeError):
            while not viewer.overrun:
                events, newest = await self._hub.next(viewer)
                for event in events:
                    await socket.send_text(event)
                if newest is not None and newest.board is not None:
                    await socket.send_text(newest.board)
                if newest is not None and newest.spectrum is not None:
                    await socket.send_bytes(newest.spectrum)
            await socket.close(code=1013, reason="too slow; load the page anew")

    async def _listen(self, socket: WebSocket, viewer: Viewer) -> None:
        while True:
            message = await socket.receive_text()
            try:
                await self._do(message, viewer)
            except UsageError as error:
                await socket.send_text(text("said", {"words": str(error)}))

    async def _do(self, message: str, viewer: Viewer) -> None:
        command = parse_command(message)
        if isinstance(command, Invite):
            if not viewer.local:
                raise UsageError("a link for another device is made on the computer itself")
            self._tell_invitation()
        elif isinstance(command, (Mark, Note)):
            kind = "mark" if isinstance(command, Mark) else "note"
            self._teller.write(kind, command.words, self._runner.now_s)
        elif isinstance(command, Keep):
            self._keep_last(command.seconds)
        elif isinstance(command, TapAsked):
            if command.row >= len(self._teller.names):
                raise UsageError("there is no such line on the board")
            self._runner.ask(command)
            self._teller.write("tap", f"{command.spot}, {IN_WORDS[command.by]}", self._runner.now_s)
        else:
            self._runner.ask(command)

    def _keep_last(self, seconds: float) -> None:
        if self._keep is None:
            raise UsageError(
                "there is no place for a recording: start the page with --job or --out"
            )
        keep = self._keep

        def then(blocks: list[IQBlock]) -> None:
            def write() -> None:
                try:
                    path = keep(blocks)
                except (OSError, BenchError, ValueError) as error:
                    self._teller.said(f"the recording could not be written: {error}")
                    return
                length_s = (blocks[-1].end_index - blocks[0].index) / blocks[0].rate_hz
                self._teller.write(
                    "recording",
                    f"the last {format_seconds(length_s)} in {path.name}",
                    self._runner.now_s,
                )

            if not blocks:
                self._teller.said("nothing was heard yet")
            else:
                self._teller.in_background(write)

        self._runner.remember(seconds, then)

    def _tell_invitation(self) -> None:
        link = self._doors.invite()
        message = text("invitation", {"shared": link is not None, "link": link})
        self._hub.tell(message, lasting="invitation", local_only=True)


def _own_file(name: str, media_type: str) -> Response:
    found = files("sniff.live").joinpath("static").joinpath(name)
    return Response(found.read_bytes(), headers={"content-type": media_type})
