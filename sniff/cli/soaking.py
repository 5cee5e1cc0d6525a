"""The work of ``sniff watch --soak``: run one on, and tell what it came to."""

import re
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import closing, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

from calib.correction import Correction
from sniff.cli.aiming import aimed
from sniff.cli.clocks import clock_for
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import Filing, in_job, with_job
from sniff.cli.recording import fields_of
from sniff.cli.running import all_cautions, opened, say_unless_quiet, seconds_of
from sniff.cli.watching import EXITS, check_resolution, line_of, until
from sniff.errors import UsageError
from sniff.model import Caution, Source, SourceInfo
from sniff.report.envelope import envelope
from sniff.report.soak_text import print_soak
from sniff.report.watch_strip import LiveStrip
from sniff.soak.aswatch import as_watch
from sniff.soak.keeping import Keeper, Room
from sniff.soak.notebook import NOTEBOOK, locked, open_to_write, read
from sniff.soak.nouns import Kept, Run, Setup
from sniff.soak.running import ROW_S, Ended, soak
from sniff.soak.summary import SoakResult, soak_rate, summarize
from sniff.soak.writing import RunWriter
from sniff.sources.ahead import as_received
from sniff.sources.recording.live import LiveRecorder
from sniff.sureness import HOUR_S, RatePerHour, rate_per_hour
from sniff.units import parse_duration
from sniff.watch.nouns import Dropout, Instant, Row
from sniff.watch.watcher import Watcher

STRIP_ROW_S = 1.0


def soak_source(source: str | None, given: Mapping[str, Any]) -> int:
    """Go on with a soak when there is a source, tell what it came to; returns the exit code."""
    for option in ("taps", "control"):
        if given[option] is not None:
            raise UsageError(f"--{option} and --soak do not go together")
    given = with_job("watch", given)
    folder: Path = given["soak"]
    before = None if given["before"] is None else rate_before(given["before"])
    if source is None:
        refuse_without_source(given)
        return _tell(folder, before, (), None, None, given, None)
    source, options = with_defaults(source, given)
    ended, info, correction, cautions = _run(source, folder, options)
    broken_off = {"trouble": 4, "interrupted": 130}.get(ended.how)
    return _tell(folder, before, cautions, info, correction, options, broken_off)


def refuse_without_source(given: Mapping[str, Any]) -> None:
    """Refuse what means nothing when a soak is only told of."""
    for option in ("line", "seconds", "until", "center", "gain", "keep"):
        if given[option] is not None:
            raise UsageError(f"--{option} needs --from: without it the soak is only told of")


def rate_before(text: str) -> RatePerHour:
    """The rate before the repair: ``30/2`` for 30 drop-outs in 2 hours, or another soak's folder.

    Raises
    ------
    UsageError
        When it is neither, or nothing was observed then.
    """
    found = re.fullmatch(r"\s*([0-9]{1,9})\s*/\s*(\S.*?)\s*", text)
    if found is None or Path(text).is_dir():
        rate = soak_rate(read(Path(text)))
    else:
        bare = re.fullmatch(r"[0-9.]+", found[2])
        seconds = float(found[2]) * HOUR_S if bare else parse_duration(found[2])
        rate = rate_per_hour(int(found[1]), seconds)
    if rate is None:
        raise UsageError(f"--before {text}: nothing was observed then")
    return rate


def _run(
    source: str, folder: Path, given: dict[str, Any]
) -> tuple[Ended, SourceInfo, Correction, tuple[Caution, ...]]:
    line_hz, most = line_of(given), until(given["until"])
    check_resolution(given)
    if source.partition(":")[0] == "dongle":
        given["wait"] = True  # a dongle that goes away is waited for: the gap is unobserved
    given["paced"] = not given["quiet"] and sys.stdin.isatty() and sys.stderr.isatty()
    with locked(folder), opened(source, given) as opened_source:
        correction, noted = clock_for(opened_source.info, given)
        aim = aimed(opened_source, line_hz, correction, given, row_s=ROW_S)
        watcher, info = aim.watcher, opened_source.info
        connection, damage = open_to_write(folder)
        with closing(connection):
            setup = Setup(line_hz=line_hz, resolution_s=given["resolution"])
            zero_s = time.time() if info.start_utc is None else info.start_utc.timestamp()
            run = Run(
                zero_utc_s=zero_s,
                indicated_hz=aim.indicated_hz,
                inverted=info.inverted,
                about=_about(info, correction),
            )
            writer = RunWriter(connection, setup, run, folder / NOTEBOOK)
            room = Room() if given["keep"] is None else replace(Room(), total_bytes=given["keep"])
            keeper = Keeper(
                _recorders(folder, opened_source, correction),
                room,
                used_bytes=read(folder).recording_bytes,
            )
            ended = _soak(opened_source, watcher, writer, keeper, correction, given, most=most)
        info = opened_source.info
    cautions = noted + aim.cautions + damage + watcher.cautions
    if ended.trouble is not None:
        cautions = (*cautions, Caution(code="cut-short", text=f"cut short: {ended.trouble}"))
    if keeper.trouble is not None:
        text = f"no IQ is kept any more: {keeper.trouble}"
        cautions = (*cautions, Caution(code="iq-not-kept", text=text))
    return ended, info, correction, all_cautions(info, correction, cautions)


def _soak(
    source: Source,
    watcher: Watcher,
    writer: RunWriter,
    keeper: Keeper,
    correction: Correction,
    given: Mapping[str, Any],
    *,
    most: int | None,
) -> Ended:
    seconds = None if given["seconds"] is None else seconds_of(source.info, given)
    with LiveStrip(correction) if not given["quiet"] else nullcontext() as strip:
        return soak(
            source.stream(seconds=seconds, start_s=given["start"]),
            watcher,
            writer,
            keeper,
            show=_shown(strip, bell=given["bell"]),
            enough=None if most is None else lambda now: now.dropouts >= most,
        )


def _shown(
    strip: LiveStrip | None, *, bell: bool
) -> Callable[[Instant, tuple[Row, ...], tuple[Dropout, ...]], None]:
    seconds = SecondRows()
    rung = 0

    def show(now: Instant, rows: tuple[Row, ...], complete: tuple[Dropout, ...]) -> None:
        nonlocal rung
        if strip is not None:
            strip.update(now, seconds.push(rows), complete)
        if bell and now.dropouts > rung:
            sys.stderr.write("\a")
            sys.stderr.flush()
        rung = now.dropouts

    return show


class SecondRows:
    """Makes the rows of a second, as the strip shows them, of shorter ones."""

    def __init__(self) -> None:
        self._waiting: list[Row] = []

    def push(self, rows: tuple[Row, ...]) -> list[Row]:
        """Take in rows; gives the seconds that they complete."""
        whole = []
        for row in rows:
            if self._waiting and _second(row) != _second(self._waiting[0]):
                whole.append(_joined(self._waiting))
                self._waiting = []
            self._waiting.append(row)
        return whole


def _second(row: Row) -> int:
    return int((row.start_s + ROW_S / 2) // STRIP_ROW_S)


def _joined(rows: list[Row]) -> Row:
    return replace(
        rows[-1],
        start_s=_second(rows[0]) * STRIP_ROW_S,
        observed_s=sum(row.observed_s for row in rows),
        present_s=sum(row.present_s for row in rows),
        dropouts=sum(row.dropouts for row in rows),
    )


def _recorders(
    folder: Path, source: Source, correction: Correction
) -> Callable[[str], LiveRecorder]:
    receiver, ahead = as_received(source)
    info = receiver.info
    fields = fields_of(info, ahead, correction=correction)

    def make(name: str) -> LiveRecorder:
        return LiveRecorder(
            folder / name,
            rate_hz=info.rate_hz,
            datatype=info.datatype,
            fields=fields,
            start_utc=info.start_utc,
            ahead=ahead,
        )

    return make


def _about(info: SourceInfo, correction: Correction) -> dict[str, Any]:
    return {
        "source": info.name,
        "serial": info.serial,
        "gain_db": info.gain_db,
        "clock_ppm": correction.ppm,
        "clock_u_ppm": correction.u_ppm,
        "clock_origin": correction.origin,
    }


def _tell(
    folder: Path,
    before: RatePerHour | None,
    cautions: tuple[Caution, ...],
    info: SourceInfo | None,
    correction: Correction | None,
    given: Mapping[str, Any],
    broken_off: int | None,
) -> int:
    kept = read(folder)
    result = summarize(kept, before=before)
    if result.says_bursts is not None:
        cautions = (*cautions, Caution(code="bursts", text=result.says_bursts))
    told = envelope("watch", result, source=info, correction=correction, cautions=cautions)
    if given["as_json"]:
        import click

        click.echo(told)
    else:
        print_soak(result, folder)
    code = EXITS[result.verdict] if broken_off is None else broken_off
    with Filing(told, given, code) as filed:
        if given["plot"] is not None:
            _draw(result, kept, cautions, given)
    say_unless_quiet(cautions, given)
    return filed.exit_code


def _draw(
    result: SoakResult, kept: Kept, cautions: tuple[Caution, ...], given: Mapping[str, Any]
) -> None:
    drawn = as_watch(result, kept)
    if drawn is None:
        if in_job(given):  # which asks for a picture of every watch, and can do without
            return
        raise UsageError("--plot: the line was not found, so there is nothing to draw")
    from sniff.report.plots import draw_watch, save

    left = max((run.about.get("clock_u_ppm") or 0.0 for run in kept.runs), default=0.0)
    clock = Correction(ppm=0.0, u_ppm=left, origin="left after each run's own correction")
    picture = draw_watch(drawn.result, drawn.trace, clock=clock, cautions=cautions)
    save(picture, given["plot"])
