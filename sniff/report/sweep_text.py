"""A sweep as text: what stays unexplained first."""

from collections.abc import Sequence
from dataclasses import replace

from rich.text import Text

from calib.correction import Correction
from sniff.model import Mark, SourceInfo
from sniff.naming import Family, names_in_words
from sniff.report.look_text import at_input, clock_words, remarks
from sniff.report.text import console, table
from sniff.sweep.swept import Stay, Sweep, SweptLine
from sniff.units import (
    format_db,
    format_dbfs,
    format_expanded,
    format_frequency,
    format_seconds,
    format_span,
)

_MOST_SHOWN = 24
_MOST_GONE = 8


def print_sweep(sweep: Sweep, info: SourceInfo, correction: Correction, *, planned: bool) -> None:
    """Print the lines: unexplained, explained, and those that were gone when looked at again.

    Parameters
    ----------
    sweep : Sweep
    info : SourceInfo
    correction : Correction
    planned : bool
        Whether a plan was given, by which lines could be explained.
    """
    out = console()
    result = sweep.result
    ends_hz = result.stop_hz - result.start_hz
    stays = f" and {format_seconds(result.stay_seconds)} at lines" if result.stay_seconds else ""
    out.print(
        f"{info.name}: {format_frequency(result.start_hz, ends_hz / 10)} to "
        f"{format_frequency(result.stop_hz, ends_hz / 10)}, {_times(result.hops, result.passes)}, "
        f"{format_seconds(result.seconds)}{stays}, RBW {format_span(result.rbw_hz)} "
        f"({result.window}, {result.points} points)"
    )
    noise = (
        "Noise not known"
        if result.noise_dbfs_per_hz is None
        else f"Noise {format_dbfs(result.noise_dbfs_per_hz)}/Hz"
    )
    out.print(f"{noise}. Clock {clock_words(correction)}.")
    there = [line for line in result.peaks if line.is_signal]
    gone = [line for line in result.peaks if line.stay is Stay.GONE]
    own = [line for line in result.peaks if not line.is_signal and line.stay is not Stay.GONE]
    out.print()
    if not there:
        out.print("No line stands out of the noise.")
    headings = (
        ("Unexplained:", f"Explained, mixing products up to order {result.mixing_order} tried:")
        if planned
        else ("Lines:", "Lines that may be known:")
    )
    for heading, explained in zip(headings, (False, True), strict=True):
        _print(heading, [line for line in there if line.explained is explained], sweep, info)
    _print("Made by the receiver itself, not signals:", own, sweep, info)
    _print("Gone when looked at again:", gone, sweep, info, most=_MOST_GONE)


def _times(hops: int, passes: int) -> str:
    words = "1 hop" if hops == 1 else f"{hops} hops"
    return words if passes == 1 else f"{words} {passes} times"


def _print(
    heading: str,
    lines: Sequence[SweptLine],
    sweep: Sweep,
    info: SourceInfo,
    *,
    most: int = _MOST_SHOWN,
) -> None:
    if not lines:
        return
    out = console()
    out.print(heading)
    out.print(_table(lines[:most], sweep, info))
    if len(lines) > most:
        left = len(lines) - most
        out.print(f"and {left} weaker {'one' if left == 1 else 'ones'}; --json lists all")
    out.print()


def _table(lines: Sequence[SweptLine], sweep: Sweep, info: SourceInfo) -> object:
    calibrated = any(line.level_dbm is not None for line in lines)
    return table(
        [
            *["frequency", "U (k = 2)", "level"],
            *(["at the input"] if calibrated else []),
            *["over noise", "<what it may be", "<remarks"],
        ],
        [
            (
                format_frequency(line.frequency_hz, line.expanded_hz),
                f"± {format_expanded(line.expanded_hz)}",
                format_dbfs(line.level_dbfs),
                *([at_input(line)] if calibrated else []),
                format_db(line.snr_db),
                Text(names_in_words(line.explanations)),
                Text(_remarks(line, sweep.result.rbw_hz, info.clock_hz)),
            )
            for line in lines
        ],
        left=0,
    )


def _remarks(line: SweptLine, rbw_hz: float, clock_hz: float | None) -> str:
    words = []
    if line.stay is Stay.REFINED:
        named = any(one.likely and one.family is Family.OWN_SPUR for one in line.explanations)
        marks = tuple(mark for mark in line.marks if not (named and mark is Mark.OWN_SPUR))
        words.append(remarks(replace(line, marks=marks), rbw_hz, clock_hz))
    elif line.marks:
        words.append("shown by a stronger line, at one tuning")
    elif line.once:
        words.append("seen in one of several hops")
    if line.stay is Stay.TOO_WEAK:
        words.append("too weak to be refined; more --stay")
    if line.stay is Stay.NONE:
        words.append("seen for a moment only" if line.momentary else "not looked at again")
    if line.beside:
        more = "1 more" if line.beside == 1 else f"{line.beside} more"
        words.append(f"{more} within the RBW")
    return ", ".join(word for word in words if word)
