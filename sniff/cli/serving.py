"""The work of ``sniff page``: source, engine and server put together."""

import socket
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import click

from calib.correction import Correction
from sniff.cli.clocks import clock_for
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import Work, with_job
from sniff.cli.plan_options import plan_from
from sniff.cli.recording import fields_of
from sniff.cli.running import opened, say_unless_quiet
from sniff.cli.tapfiles import read_control
from sniff.errors import SourceError, UsageError
from sniff.job.entries import Stage
from sniff.live.diary import Diary, Entry
from sniff.live.engine import Engine
from sniff.live.guard import Doors, Guard
from sniff.live.memory import Memory
from sniff.live.nouns import LiveLine
from sniff.live.runner import Runner
from sniff.live.server import Hello, Page
from sniff.live.telling import Teller
from sniff.model import IQBlock, Source, SourceInfo
from sniff.probe import search_half_width_hz
from sniff.report.look_text import clock_words
from sniff.sources.ahead import as_received
from sniff.sources.recording.datatypes import find_datatype
from sniff.strength import at_gain, gain_step_db
from sniff.superhet.expected import Expected, radiated_lines
from sniff.superhet.plan import Plan, Role, carry
from sniff.taps.nouns import IN_WORDS
from sniff.units import Tolerance, format_frequency

MEMORY_S = 30.0
_STATED = Tolerance(ppm=50.0)  # of a line given by --line, unless --tolerance says more


def serve(source: str, given: Mapping[str, Any]) -> int:
    """Serve the page until Ctrl-C; returns the exit code.

    Raises
    ------
    UsageError
        When the options do not go together, or the port is taken.
    """
    source, options = with_defaults(source, with_job("page", given))
    options.update(budget=False, as_json=False)
    plan = _plan(options)
    if (options["sibling"] is None) != (options["sibling_carrier"] is None):
        raise UsageError("--sibling and --sibling-carrier go together")
    with opened(source, options) as bench:
        info = bench.info
        correction, noted = clock_for(info, options)
        lines = _lines(plan, options, correction, info)
        place = _Place(options)
        cautions = (*info.cautions, *noted)
        say_unless_quiet(cautions, options)
        hello = Hello(
            source=info.name,
            clock=clock_words(correction),
            cautions=tuple(caution.text for caution in cautions),
            tools={by.value: words for by, words in IN_WORDS.items()},
            keeps=place.folder is not None,
            memory_s=MEMORY_S,
        )
        _run(hello, bench, lines, correction, place, options)
    return 0


def _run(
    hello: Hello,
    bench: Source,
    lines: Sequence[LiveLine],
    correction: Correction,
    place: "_Place",
    options: Mapping[str, Any],
) -> None:
    import uvicorn

    info = bench.info
    receiver, ahead = as_received(bench)
    control = None if options["control"] is None else read_control(options["control"])
    teller = Teller(
        [line.expected.name for line in lines],
        Diary(place.file if place.work.job is not None else None),
    )
    runner = Runner(
        bench,
        Engine(lines, info=info, correction=correction, control=control),
        Memory(find_datatype(receiver.info.datatype), seconds=MEMORY_S, ahead=ahead),
        teller,
        paced=info.kind != "dongle",
    )
    listening = _listen("0.0.0.0" if options["share"] else "127.0.0.1", options["port"])
    port = listening.getsockname()[1]
    doors = Doors(port=port, shared_host=_own_address() if options["share"] else None)
    page = Page(
        hello=hello,
        teller=teller,
        runner=runner,
        doors=doors,
        keep=place.keeper(bench, correction) if place.folder is not None else None,
        photo=place.photo if place.folder is not None else None,
    )
    application = Guard(page.application(), doors=doors)
    address = f"http://127.0.0.1:{port}/"
    click.echo(f"The line board is at {address}  (Ctrl-C ends it)")
    if doors.shared_host is not None:
        click.echo("Shared on your own network: the page shows a link, and its QR picture.")
    if not options["no_browser"]:
        import webbrowser

        webbrowser.open(address)
    config = uvicorn.Config(
        application,
        log_level="warning",
        ws="websockets-sansio",
        ws_max_size=4096,
        ws_max_queue=8,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=1,
    )
    uvicorn.Server(config).run(sockets=[listening])


def _listen(host: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen()  # a browser that is faster than the server then waits
    except OSError as error:
        listening.close()
        raise UsageError(
            f"port {port} cannot be used: {error.strerror}; choose another --port, or none"
        ) from None
    return listening


def _own_address() -> str:
    """The address by which others on the network reach this computer.

    Raises
    ------
    SourceError
        When it is on no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: the system only says by which of its addresses it would.
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            raise SourceError(
                "this computer is on no network, so that no phone can reach it: leave out --share"
            ) from None


def _plan(options: Mapping[str, Any]) -> Plan | None:
    stated = options["plan_file"] is not None or options["carrier"] is not None
    return plan_from(options) if stated or options.get("planned") is not None else None


def _lines(
    plan: Plan | None, options: Mapping[str, Any], correction: Correction, info: SourceInfo
) -> tuple[LiveLine, ...]:
    wanted = [] if plan is None else list(radiated_lines(plan))
    tolerance = options["tolerance"] or _STATED
    wanted += [
        Expected(
            name=format_frequency(hz),
            role=Role.LO,
            expected_hz=hz,
            tolerance_hz=tolerance.at(hz),
            formula="as stated",
            radiated=True,
            wanted=True,
        )
        for hz in options["lines"]
    ]
    siblings = _sibling_levels(plan, options, info.gain_db)
    return tuple(
        LiveLine(
            expected=line,
            window_hz=search_half_width_hz(line, options["search"]),
            sibling_dbfs=siblings.get(line.name),
        )
        for line in wanted
    )


def _sibling_levels(
    plan: Plan | None, options: Mapping[str, Any], gain_db: float | None
) -> dict[str, float]:
    """Levels of the sibling's lines at the gain in use, by the names of the plan."""
    if options["sibling"] is None:
        return {}
    if plan is None:
        raise UsageError("--sibling needs a plan: --carrier, --if and --side, or --plan")
    from sniff.cli.probing import probe_source

    other = {
        **options,
        "center": None,
        "rate": None,
        "datatype": None,
        "sibling": None,
        "sibling_carrier": None,
        "plot": None,
        "course": None,
        "rbw": None,
        "window": "hann",
    }
    board, its, _ = probe_source(options["sibling"], carry(plan, options["sibling_carrier"]), other)
    lines = at_gain(board.result.lines, gain_step_db(gain_db, its.gain_db) or 0.0)
    return {line.name: line.level_dbfs for line in lines if line.level_dbfs is not None}


class _Place:
    """Where recordings, photos and the diary go: into the job, or a folder, or nowhere."""

    def __init__(self, options: Mapping[str, Any]) -> None:
        self.work = options["work"] if isinstance(options["work"], Work) else Work()
        self.folder: Path | None = None
        if options["out"] is not None:
            self.folder = options["out"]
        elif self.work.job is not None:
            self.folder = self.work.job.folder
        self._stage = None if options["stage"] is None else Stage(options["stage"])
        self._in_job = options["out"] is None and self.work.job is not None

    def keeper(self, source: Source, correction: Correction) -> Callable[[Sequence[IQBlock]], Path]:
        """Writes blocks, as the receiver sent them, as a SigMF recording."""
        from sniff.sources.recording.write import captures_of, write_sigmf

        def keep(blocks: Sequence[IQBlock]) -> Path:
            stem = self._room("recordings") / f"page-{_moment()}"
            receiver, ahead = as_received(source)
            info = receiver.info  # with the gain as it is now
            return write_sigmf(
                stem,
                captures_of(blocks, start_utc=info.start_utc),
                rate_hz=info.rate_hz,
                datatype=info.datatype,
                fields=fields_of(info, ahead, correction=correction),
            )

        return keep

    def photo(self, png: bytes) -> Path:
        """Writes a picture of the page."""
        from sniff.wholefile import TemporaryBeside

        path = self._room("photos" if self._in_job else "") / f"page-{_moment()}.png"
        with TemporaryBeside(path) as whole:
            whole.file.write(png)
            whole.move_to(path)
        return path

    def file(self, entry: Entry) -> None:
        """Files an entry of the diary in the job's notebook."""
        from sniff.job.entries import Note, NoteKind

        assert self.work.job is not None
        words = entry.words if entry.kind == "note" else f"{entry.kind}: {entry.words}"
        with self.work.job.notebook() as notebook:
            notebook.add_note(
                Note(at_utc=entry.utc, kind=NoteKind.NOTE, stage=self._stage, text=words)
            )

    def _room(self, name: str) -> Path:
        assert self.folder is not None
        room = self.folder / name if self._in_job else self.folder
        try:
            room.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UsageError(f"{room}: cannot be made: {error.strerror}") from None
        return room


def _moment() -> str:
    return f"{datetime.now(timezone.utc):%Y%m%dT%H%M%S.%f}Z"
