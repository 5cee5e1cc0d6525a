"""The work of ``sniff sweep``."""

import signal
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from calib.correction import Correction
from sniff.cli.clocks import clock_for
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import Filing, with_job
from sniff.cli.levels import level_points
from sniff.cli.picture_targets import check_targets
from sniff.cli.plan_options import plan_from
from sniff.cli.running import all_cautions, exit_code, opened, say_unless_quiet
from sniff.cli.sweep_recording import check_target, recorded
from sniff.errors import UsageError
from sniff.levelling import look_in_dbm
from sniff.model import Source, SourceInfo
from sniff.naming import Family, explain_lines
from sniff.report.envelope import envelope
from sniff.report.progress import shown_progress
from sniff.report.sweep_text import print_sweep
from sniff.sources.opening import files_of, is_live
from sniff.superhet.expected import plan_cautions
from sniff.superhet.plan import Plan
from sniff.sweep.hops import Span, SweepSettings
from sniff.sweep.run import INTERRUPTED, Hop, SweepRun
from sniff.sweep.swept import Stay, Sweep, SweptLine
from sniff.units import format_frequency, parse_frequency
from sniff.windows import Window

_TUNED_HZ = (30e6, 1_000e6)  # where every known tuner can stand while its gain is found
_PLAN_WORDS = ("carrier", "if_hz", "side", "multiplier", "second_if", "second_side", "tolerance")


def sweep_from(source: str, text: str, given: Mapping[str, Any]) -> int:
    """Sweep as the options say; returns the exit code."""
    span = parse_span(text)
    live = is_live(source)
    if live and given["center"] is not None:
        raise UsageError("--center does not go with a sweep; the span says where to tune")
    if given["start"]:
        raise UsageError("--start does not go with a sweep; all that a recording holds is read")
    if given["seconds"] == 0:
        raise UsageError("--seconds 0 hears nothing; leave it out, or give the time at each hop")
    check_targets(given)
    source, options = with_defaults(source, with_job("sweep", given))
    plan = _plan(options)
    if live:
        options["center"] = _first_center_hz(source, span, options)
    with opened(source, options) as opened_source:
        correction, noted = clock_for(opened_source.info, options)
        run = SweepRun(opened_source, span, _settings(options), correction)
        _go(run, source, opened_source, correction, options)
        info = opened_source.info
        swept = run.result()
    swept = _named(swept, plan, info, correction, options)
    points = level_points(info, options)
    if points:
        in_dbm = look_in_dbm(swept.look.result, points, gain_db=info.gain_db)
        lines = tuple(line for line in in_dbm.peaks if isinstance(line, SweptLine))
        swept = replace(swept, result=replace(swept.result, peaks=lines))
    planned = () if plan is None else plan_cautions(plan)
    swept = replace(swept, cautions=planned + noted + swept.cautions)
    return _show(swept, info, correction, options, planned=plan is not None)


def parse_span(text: str) -> Span:
    """Read ``60M:110M``.

    Raises
    ------
    UsageError
        When it is not two frequencies, the lower one first.
    """
    low, colon, high = text.partition(":")
    if not colon:
        raise UsageError(f"{text!r} is not a span; write its two ends, as in 60M:110M")
    span = Span(low_hz=parse_frequency(low), high_hz=parse_frequency(high))
    if not 0.0 <= span.low_hz < span.high_hz:
        raise UsageError(
            f"a span from {format_frequency(span.low_hz)} to {format_frequency(span.high_hz)} is "
            "empty; give the lower end first, as in 60M:110M"
        )
    return span


def _plan(given: Mapping[str, Any]) -> Plan | None:
    stated = given["plan_file"] is not None or any(given[word] is not None for word in _PLAN_WORDS)
    return plan_from(given) if stated or given["planned"] is not None else None


def _first_center_hz(source: str, span: Span, given: Mapping[str, Any]) -> float | None:
    """Where a dongle's best gain is found: in the middle of the span, where a tuner can stand."""
    if source.partition(":")[0] != "dongle" or given["direct"] or given["converter"] is not None:
        return None
    return min(max((span.low_hz + span.high_hz) / 2.0, _TUNED_HZ[0]), _TUNED_HZ[1])


def _settings(given: Mapping[str, Any]) -> SweepSettings:
    if not given["rbw"] > 0:
        raise UsageError(f"--rbw {given['rbw']:g} Hz must be above zero")
    return SweepSettings(
        rbw_hz=given["rbw"],
        window=Window.named(given["window"]),
        seconds=given["seconds"],
        stay_s=given["stay"],
        repeat=given["repeat"],
        hold=given["hold"],
    )


def _go(
    run: SweepRun,
    name: str,
    source: Source,
    correction: Correction,
    given: Mapping[str, Any],
) -> None:
    """Drive the sweep; the first Ctrl-C ends it with what was seen, the second breaks it off."""
    quiet = given["quiet"] or given["as_json"]
    if given["record"] is not None:
        check_target(given["record"], name)
    with _stopped_by_ctrl_c(run):
        with shown_progress("sweeping", run.hop_count, quiet=quiet) as step:
            hops = _stepped(run, step)
            if given["record"] is not None:
                recorded(hops, given["record"], source, correction, overwrite=given["overwrite"])
            else:
                for hop in hops:
                    for _ in hop.blocks:
                        pass
        with shown_progress("looking at lines again", run.stay_count(), quiet=quiet) as step:
            for _ in run.stays():
                step()


def _stepped(run: SweepRun, step: Any) -> Iterator[Hop]:
    for hop in run.hops():
        yield hop
        step()


@contextmanager
def _stopped_by_ctrl_c(run: SweepRun) -> Iterator[None]:
    def stop(number: int, frame: Any) -> None:
        signal.signal(signal.SIGINT, before)
        run.stop()

    before = signal.getsignal(signal.SIGINT)
    signal.signal(signal.SIGINT, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _named(
    swept: Sweep,
    plan: Plan | None,
    info: SourceInfo,
    correction: Correction,
    given: Mapping[str, Any],
) -> Sweep:
    """The lines with what they may be; unexplained first, each group strongest first."""
    result = swept.result
    explanations = explain_lines(
        result.peaks,
        low_hz=result.start_hz,
        high_hz=result.stop_hz,
        correction=correction,
        plan=plan,
        clock_hz=info.clock_hz,
        mixing_order=given["order"],
    )
    lines = [
        replace(
            line,
            # What was gone again is no broadcast; an oscillator of the set it may well be.
            explanations=tuple(
                one
                for one in mine
                if line.stay is not Stay.GONE or one.family is not Family.REFERENCE
            ),
        )
        for line, mine in zip(result.peaks, explanations, strict=True)
    ]
    lines.sort(key=lambda line: (line.explained, not line.is_signal, -line.level_dbfs))
    order = None if plan is None else given["order"]
    return replace(swept, result=replace(result, peaks=tuple(lines), mixing_order=order))


def _show(
    swept: Sweep,
    info: SourceInfo,
    correction: Correction,
    given: Mapping[str, Any],
    *,
    planned: bool,
) -> int:
    cautions = all_cautions(info, correction, swept.cautions)
    told = envelope("sweep", swept.result, source=info, correction=correction, cautions=cautions)
    if given["as_json"]:
        import click

        click.echo(told)
    else:
        print_sweep(swept, info, correction, planned=planned)
    interrupted = any(caution.code == INTERRUPTED for caution in swept.cautions)
    code = 130 if interrupted else exit_code(0, swept.cautions)
    with Filing(told, given, code, recordings=_recordings(info, given)) as filed:
        if given["csv"] is not None:
            from sniff.report.sweep_csv import write_csv

            write_csv(swept, correction, given["csv"])
        if given["plot"] is not None:
            from sniff.report.plots import save
            from sniff.report.plots.sweep import draw_sweep

            save(draw_sweep(swept, clock=correction), given["plot"])
    say_unless_quiet(cautions, given)
    return filed.exit_code


def _recordings(info: SourceInfo, given: Mapping[str, Any]) -> list[Path]:
    """What was swept, and what was kept of it."""
    heard = files_of(info.name) if info.kind == "recording" else ()
    stem = given["record"]
    return [*heard, *(() if stem is None else files_of(f"{stem}.sigmf-meta"))]
