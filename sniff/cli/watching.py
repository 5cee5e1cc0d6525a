"""The work of ``sniff watch``: which line, the loop, and the showing of what it came to."""

import re
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from math import hypot
from typing import Any

from calib.correction import Correction
from sniff.cli.aiming import aimed
from sniff.cli.clocks import clock_for
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import Filing, in_job, with_job
from sniff.cli.keys import Keys
from sniff.cli.marking import Marking
from sniff.cli.plan_options import plan_from
from sniff.cli.running import all_cautions, opened, say_unless_quiet, seconds_of
from sniff.cli.tapping import check_tap_options, tap_result, windows_from
from sniff.errors import SourceError, UsageError
from sniff.frontend import RailCount
from sniff.model import Caution, Source, SourceInfo
from sniff.report.envelope import envelope, plain
from sniff.report.taps_text import print_taps
from sniff.report.watch_strip import LiveStrip, PlainRun
from sniff.report.watch_text import print_watch
from sniff.superhet.expected import expected_lines
from sniff.survey import CUT_SHORT
from sniff.taps.nouns import TapResult
from sniff.watch.nouns import WatchResult, WatchVerdict
from sniff.watch.watcher import Watcher

ROW_S = 1.0
"""Rows of the summary: cells of the strip."""

EXITS = {
    WatchVerdict.STEADY: 0,
    WatchVerdict.INTERMITTENT: 1,
    WatchVerdict.ABSENT: 1,
    WatchVerdict.UNDECIDED: 3,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """How the loop ended."""

    interrupted: bool
    cautions: tuple[Caution, ...]
    marking: Marking


def watch_source(source: str | None, given: Mapping[str, Any]) -> int:
    """Watch as the options say; returns the exit code."""
    if source is None:
        raise UsageError("which source? Give --from")
    for option in ("before", "keep"):
        if given[option] is not None:
            raise UsageError(f"--{option} goes with --soak DIR")
    check_tap_options(source, given)
    source, options = with_defaults(source, with_job("watch", given))
    line_hz = line_of(options)
    most = until(options["until"])
    check_resolution(options)
    # Marks are of use in real time only, which a simulated bench must be told to keep.
    options["paced"] = not options["quiet"] and sys.stdin.isatty() and sys.stderr.isatty()
    with opened(source, options) as opened_source:
        correction, noted = clock_for(opened_source.info, options)
        aim = aimed(opened_source, line_hz, correction, options, row_s=ROW_S)
        watcher = aim.watcher
        run = _run(opened_source, watcher, correction, options, most=most)
        info = opened_source.info
    result = corrected(watcher.result(), correction, info)
    result = replace(result, marks=tuple(run.marking.marks))
    cautions = all_cautions(
        info,
        correction,
        noted + aim.cautions + run.cautions + watcher.cautions,
    )
    taps = None
    if options["taps"] is not None:
        taps, noted = tap_result(result, watcher.trace, info, options)
        cautions += noted
    code = 130 if run.interrupted else EXITS[result.verdict]
    if any(caution.code == CUT_SHORT for caution in run.cautions):
        code = 4
    return _show(result, taps, watcher, info, correction, cautions, options, code)


def line_of(given: Mapping[str, Any]) -> float:
    """The line's true frequency: as said, or the LO (of a transmitter: the carrier) of the plan.

    The plan is the one stated, or that of the job.

    Raises
    ------
    UsageError
        When neither, or both, are given.
    """
    stated = given["plan_file"] is not None or given["carrier"] is not None
    if given["line"] is not None:
        if stated:
            raise UsageError("--line and a plan do not go together; the plan's LO is watched")
        if not given["line"] > 0:
            raise UsageError(f"--line {given['line']:g} must be above zero")
        line_hz: float = given["line"]
        return line_hz
    if not stated and given["planned"] is None:
        raise UsageError("which line? Give --line, or --carrier (and --if, --side), or --plan FILE")
    wanted = [line for line in expected_lines(plan_from(given)) if line.wanted and line.radiated]
    if not wanted:
        raise UsageError("this plan has no line that must be there; give --line")
    return wanted[0].expected_hz


def check_resolution(given: Mapping[str, Any]) -> None:
    """Refuse a time resolution that no watch has.

    Raises
    ------
    UsageError
    """
    if not 1e-4 <= given["resolution"] <= 1.0:
        raise UsageError("--resolution must lie within 0.1ms and 1s")


def until(text: str | None) -> int | None:
    """How many drop-outs are enough: ``3 drop-outs``, ``3``.

    Raises
    ------
    UsageError
        When it is not a count above zero.
    """
    if text is None:
        return None
    found = re.fullmatch(r"\s*([0-9]{1,9})\s*(?:drop-?outs?)?\s*", text)
    if not found or int(found[1]) < 1:
        raise UsageError(f"--until {text!r} is not a count; write '3 drop-outs'")
    return int(found[1])


def corrected(result: WatchResult, correction: Correction, info: SourceInfo) -> WatchResult:
    """The same with the line's true frequency: corrected once, last."""
    if result.indicated_hz is None:
        return result
    u_hz = hypot(result.u_indicated_hz or 0.0, info.u_center_hz)
    reading = correction.apply(result.indicated_hz, u_hz)
    return replace(result, frequency_hz=reading.value_hz, u_hz=reading.u_hz)


def _run(
    source: Source,
    watcher: Watcher,
    correction: Correction,
    given: Mapping[str, Any],
    *,
    most: int | None,
) -> _Run:
    info = source.info
    live = info.duration_s is None
    seconds = seconds_of(info, given) if given["seconds"] is not None or not live else None
    rails = RailCount(info.rail)
    marking = Marking()
    trouble: list[Caution] = []
    interrupted = False
    with _shown(correction, given, live=live, seconds=seconds or info.duration_s) as shown:
        with Keys(None if live and shown is not None else -1) as keys:
            rung = 0
            try:
                for block in source.stream(seconds=seconds, start_s=given["start"]):
                    ended = watcher.push(block)
                    rails.push(block)
                    now = watcher.now
                    marking.take_in(keys.pressed(), now_s=now.time_s)
                    rows = watcher.rows()  # taken also where nothing shows them: they would pile up
                    if shown is not None:
                        words = marking.words if keys.listening else ""
                        shown.update(now, rows, ended, marks=marking.marks, words=words)
                    if given["bell"] and now.dropouts > rung:
                        sys.stderr.write("\a")
                        sys.stderr.flush()
                    rung = now.dropouts
                    if marking.ended or (most is not None and now.dropouts >= most):
                        break
            except KeyboardInterrupt:
                interrupted = True
            except SourceError as error:
                if watcher.now.observed_s == 0:
                    raise
                trouble.append(Caution(code=CUT_SHORT, text=f"cut short: {error}"))
        rest = watcher.finish()
        if shown is not None and live:
            shown.update(watcher.now, watcher.rows(), rest, marks=marking.marks)
    overload = rails.caution()
    return _Run(
        interrupted=interrupted,
        cautions=tuple(trouble) + (() if overload is None else (overload,)),
        marking=marking,
    )


@contextmanager
def _shown(
    correction: Correction, given: Mapping[str, Any], *, live: bool, seconds: float | None
) -> Iterator[LiveStrip | PlainRun | None]:
    if given["quiet"]:
        yield None
    elif live:
        with LiveStrip(correction) as strip:
            yield strip
    else:
        with PlainRun(seconds) as bar:
            yield bar


def _show(
    result: WatchResult,
    taps: TapResult | None,
    watcher: Watcher,
    info: SourceInfo,
    correction: Correction,
    cautions: tuple[Caution, ...],
    given: Mapping[str, Any],
    code: int,
) -> int:
    whole = result if taps is None else {**plain(result), "taps": taps}
    told = envelope("watch", whole, source=info, correction=correction, cautions=cautions)
    if given["as_json"]:
        import click

        click.echo(told)
    else:
        print_watch(result, info, correction)
        if taps is not None:
            print_taps(taps, windows_from(given))
    with Filing(told, given, code) as filed:
        if given["plot"] is not None:
            _draw(result, watcher, correction, cautions, given)
    say_unless_quiet(cautions, given)
    return filed.exit_code


def _draw(
    result: WatchResult,
    watcher: Watcher,
    correction: Correction,
    cautions: tuple[Caution, ...],
    given: Mapping[str, Any],
) -> None:
    if watcher.trace is None:
        if in_job(given):  # which asks for a picture of every watch, and can do without
            return
        raise UsageError("--plot: the line was not found, so there is nothing to draw")
    from sniff.report.plots import draw_watch, save

    save(draw_watch(result, watcher.trace, clock=correction, cautions=cautions), given["plot"])
