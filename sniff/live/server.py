"""The server of the live page: Starlette, one WebSocket a page, and nothing that is not ours."""

import asyncio
import contextlib
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timezone
from importlib.resources import files
from io import BytesIO
from pathlib import Path

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from sniff.errors import UsageError
from sniff.live.commands import Invite, Keep, Mark, Note, TapAsked, parse_command
from sniff.live.diary import Diary, Entry
from sniff.live.engine import LineEvent
from sniff.live.guard import Doors
from sniff.live.hub import Hub, Viewer
from sniff.live.nouns import Frame
from sniff.live.packing import pack_frame, pack_rows, text
from sniff.live.runner import Runner, SourceState
from sniff.model import IQBlock
from sniff.taps.nouns import IN_WORDS, TapResult
from sniff.units import format_seconds

MOST_PHOTO_BYTES = 6_000_000
_PNG = b"\x89PNG\r\n\x1a\n"
_STATIC = {
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "board.js": "text/javascript; charset=utf-8",
    "drawing.js": "text/javascript; charset=utf-8",
    "ear.js": "text/javascript; charset=utf-8",
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
    """The live page's server side: between the measuring thread and the open pages.

    Parameters
    ----------
    hello : Hello
    diary : Diary
        Where marks, notes and what was kept are written down.
    keep : callable or None
        Writes blocks as a recording and returns its path; None when there is no place.
    photo : callable or None
        Writes a PNG and returns its path; None when there is no place.
    """

    def __init__(
        self,
        *,
        hello: Hello,
        diary: Diary,
        keep: Callable[[Sequence[IQBlock]], Path] | None,
        photo: Callable[[bytes], Path] | None,
    ) -> None:
        self._hello = hello
        self._diary = diary
        self._keep = keep
        self._photo = photo
        self._loop: asyncio.AbstractEventLoop | None = None
        self._filing = ThreadPoolExecutor(1, thread_name_prefix="filing")
        self._hub = Hub()
        self._runner: Runner | None = None
        self._doors: Doors | None = None
        self._names: tuple[str, ...] = ()

    def application(self, runner: Runner, doors: Doors, names: Sequence[str]) -> Starlette:
        """The ASGI application; the guard goes around it.

        Parameters
        ----------
        runner : Runner
        doors : Doors
        names : sequence of str
            Of the board's lines.
        """
        self._runner, self._doors, self._names = runner, doors, tuple(names)
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
        assert self._runner is not None
        self._loop = asyncio.get_running_loop()
        self._hub.tell(text("hello", self._hello), lasting="hello")
        self._tell_invitation()
        self._runner.start()
        yield
        await asyncio.to_thread(self._runner.stop)
        await asyncio.to_thread(self._filing.shutdown)

    # What the measuring thread says; each goes over to the loop at once.

    def frame(self, frame: Frame, *, board: bool) -> None:
        """As in `Listener`."""
        if self._hub.viewers:
            spectrum = pack_frame(frame)
            rows = pack_rows(frame.rows, time_s=frame.time_s) if board else None
            self._later(lambda: self._hub.frame(spectrum=spectrum, board=rows))

    def event(self, event: LineEvent) -> None:
        """As in `Listener`."""
        message: dict[str, object] = {
            "row": event.row,
            "time_s": event.time_s,
            "there": event.there,
            "dropout": None,
        }
        if (dropout := event.dropout) is not None:
            message["dropout"] = {
                "start_s": dropout.start_s,
                "duration_s": dropout.duration_s,
                "depth_db": dropout.depth_db,
                "pull_hz": dropout.pull_hz,
                "kind": None if dropout.kind is None else dropout.kind.value,
            }
            kind = "not seen to begin" if dropout.kind is None else dropout.kind.value
            words = f"{self._names[event.row]}: drop-out, {kind}"
            self._write(
                "drop-out", f"{words}, {format_seconds(dropout.duration_s)}", dropout.start_s
            )
        self._tell(text("event", message))

    def taps(self, row: int, result: TapResult) -> None:
        """As in `Listener`."""
        self._tell(
            text(
                "taps",
                {"row": row, "says": result.says, "spots": result.spots},
            ),
            lasting=f"taps {row}",
        )

    def state(self, state: SourceState) -> None:
        """As in `Listener`."""
        self._tell(text("state", state), lasting="state")

    def said(self, words: str) -> None:
        """As in `Listener`."""
        self._tell(text("said", {"words": words}))

    def _later(self, what: Callable[[], None]) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(what)

    def _tell(self, message: str, *, lasting: str | None = None) -> None:
        self._later(lambda: self._hub.tell(message, lasting=lasting))

    def _write(self, kind: str, words: str, time_s: float) -> None:
        entry = Entry(kind=kind, words=words, time_s=time_s, utc=datetime.now(timezone.utc))
        self._diary.write(entry)
        recent = text("diary", {"entries": self._diary.recent()})
        self._tell(recent, lasting="diary")
        # Not in the measuring thread: a slow disk must not lose samples.
        self._filing.submit(self._file, entry)

    def _file(self, entry: Entry) -> None:
        trouble = self._diary.file(entry)
        if trouble is not None:
            self.said(trouble)

    # What the pages ask.

    async def _page(self, _: Request) -> Response:
        return _own_file("page.html", "text/html; charset=utf-8")

    async def _static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in _STATIC:
            return PlainTextResponse("there is no such file", status_code=404)
        return _own_file(name, _STATIC[name])

    async def _invitation(self, request: Request) -> Response:
        """The link for a phone as a picture; for this computer's own screen only."""
        assert self._doors is not None
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
        except (OSError, UsageError) as error:
            return PlainTextResponse(f"it could not be written: {error}", status_code=507)
        self._write("photo", f"kept as {path.name}", self._now_s)
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
        assert self._runner is not None
        command = parse_command(message)
        if isinstance(command, Invite):
            if not viewer.local:
                raise UsageError("a link for another device is made on the computer itself")
            self._tell_invitation()
        elif isinstance(command, (Mark, Note)):
            kind = "mark" if isinstance(command, Mark) else "note"
            self._write(kind, command.words, self._now_s)
        elif isinstance(command, Keep):
            self._keep_last(command.seconds)
        elif isinstance(command, TapAsked):
            if command.row >= len(self._names):
                raise UsageError("there is no such line on the board")
            self._runner.ask(command)
            self._write("tap", f"{command.spot}, {IN_WORDS[command.by]}", self._now_s)
        else:
            self._runner.ask(command)

    def _keep_last(self, seconds: float) -> None:
        assert self._runner is not None
        if self._keep is None:
            raise UsageError(
                "there is no place for a recording: start the page with --job or --out"
            )
        keep = self._keep

        def then(blocks: list[IQBlock]) -> None:
            def write() -> None:
                try:
                    path = keep(blocks)
                except (OSError, UsageError, ValueError) as error:
                    self.said(f"the recording could not be written: {error}")
                    return
                length_s = (blocks[-1].end_index - blocks[0].index) / blocks[0].rate_hz
                self._write(
                    "recording", f"the last {format_seconds(length_s)} in {path.name}", self._now_s
                )

            if not blocks:
                self.said("nothing was heard yet")
            else:
                self._filing.submit(write)

        self._runner.remember(seconds, then)

    @property
    def _now_s(self) -> float:
        assert self._runner is not None
        return self._runner.now_s

    def _tell_invitation(self) -> None:
        assert self._doors is not None
        link = self._doors.invite()
        message = text("invitation", {"shared": link is not None, "link": link})
        self._hub.tell(message, lasting="invitation", local_only=True)


def _own_file(name: str, media_type: str) -> Response:
    found = files("sniff.live").joinpath("static").joinpath(name)
    return Response(found.read_bytes(), headers={"content-type": media_type})
