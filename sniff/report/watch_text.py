"""A watch as text: the drop-outs as a table, the verdict, and how sure one can be."""

from collections.abc import Sequence

from rich.text import Text

from calib.correction import Correction
from calib.stability import Deviation
from sniff.model import SourceInfo
from sniff.plainwords import rate_in_words
from sniff.report.look_text import clock_words
from sniff.report.text import console, table
from sniff.units import (
    format_db,
    format_dbfs,
    format_error,
    format_moment,
    format_reading,
    format_seconds,
    format_span,
)
from sniff.watch.nouns import Dropout, Kind, WatchResult, WatchVerdict

_MOST_SHOWN = 20
COLOURS = {
    WatchVerdict.STEADY: "bold green",
    WatchVerdict.INTERMITTENT: "bold red",
    WatchVerdict.ABSENT: "bold red",
    WatchVerdict.UNDECIDED: "bold yellow",
}
KINDS = {
    Kind.BREAK: ("╳", "abrupt, frequency unmoved: a contact, joint or crack"),
    Kind.PULL: ("↷", "the frequency moved as the level fell: a hand, or something near or loading"),
    Kind.FADE: ("╲", "slow, frequency unmoved: supply, warmth, or the loop was moved"),
}
"""A sign for each kind, and what it points to."""


def kind_words(dropout: Dropout) -> str:
    """``╳ break``; what was not seen going has no kind."""
    if dropout.kind is None:
        return "– not seen going"
    return f"{KINDS[dropout.kind][0]} {dropout.kind.value}"


def print_watch(result: WatchResult, info: SourceInfo, correction: Correction) -> None:
    """Print what a watch came to."""
    out = console()
    out.print(f"{info.name}: clock {clock_words(correction)}.")
    if result.frequency_hz is not None and result.u_hz is not None:
        out.print(_line(result))
    out.print()
    if result.dropouts:
        out.print(_table(result.dropouts[:_MOST_SHOWN]))
        more = result.dropout_count - min(_MOST_SHOWN, len(result.dropouts))
        if more > 0:
            out.print(f"... and {more} more; --json lists them")
        out.print()
        for kind in dict.fromkeys(dropout.kind for dropout in result.dropouts):
            if kind is not None:
                out.print(f"{kind.value}: {KINDS[kind][1]}")
    for mark in result.marks:
        out.print(f"marked at {format_moment(mark.at_s)}: {mark.label or 'tap'}", markup=False)
    out.print(
        Text.assemble((result.verdict.value.upper(), COLOURS[result.verdict]), f": {result.why}.")
    )
    if result.unobserved_s > 0:
        out.print(f"{format_seconds(result.unobserved_s)} were lost and not observed.")
    if result.rate_per_hour is not None:
        out.print(rate_in_words(result.rate_per_hour))


def _line(result: WatchResult) -> str:
    parts = [f"line at {format_reading(result.frequency_hz or 0.0, 2.0 * (result.u_hz or 0.0))}"]
    if result.level_dbfs is not None:
        spread = "" if result.level_spread_db is None else f" ± {result.level_spread_db:.1f} dB"
        parts.append(f"{format_dbfs(result.level_dbfs)}{spread}")
    if result.drift_hz_per_hour is not None:
        parts.append(f"drifts {format_error(result.drift_hz_per_hour, 0.0)} per hour")
    if result.level_slope_db_per_hour is not None:
        parts.append(f"{format_db(result.level_slope_db_per_hour)} per hour")
    if result.stability:
        wander = ", ".join(
            f"{format_span(each.value)} at {format_seconds(each.tau_s)}" for each in _few(result)
        )
        parts.append(f"Allan deviation {wander}")
    return "; ".join(parts)


def _few(result: WatchResult) -> list[Deviation]:
    ladder = result.stability
    return list(dict.fromkeys([ladder[0], ladder[len(ladder) // 2], ladder[-1]]))


def _table(dropouts: Sequence[Dropout]) -> object:
    rows = [
        (
            str(number),
            format_moment(dropout.start_s),
            format_seconds(dropout.duration_s) + ("" if dropout.ended else " and on"),
            format_db(-dropout.depth_db),
            format_error(dropout.pull_hz, 0.0) if dropout.pull_hz else "",
            kind_words(dropout),
        )
        for number, dropout in enumerate(dropouts, start=1)
    ]
    return table(["#", "at", "for", "to", "pulled", "<kind"], rows)
