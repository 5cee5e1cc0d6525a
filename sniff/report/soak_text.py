"""A soak as text: what was observed, how often the line went, how sure, when, and which way."""

from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from rich.text import Text

from sniff.regularity import HourOfDay, TimeOfDay
from sniff.report.text import console, table
from sniff.report.watch_text import COLOURS
from sniff.soak.summary import SoakedDropout, SoakResult
from sniff.units import (
    format_chance,
    format_db,
    format_dbfs,
    format_error,
    format_frequency,
    format_rate,
    format_seconds,
    format_span,
)

_LAST_SHOWN = 10
_GAPS_SHOWN = 5
_BAR = 20


def print_soak(result: SoakResult, folder: Path) -> None:
    """Print what a soak came to."""
    out = console()
    out.print(_head(result, folder), markup=False)
    if (line := _line(result)) is not None:
        out.print(line)
    for text in _gaps(result):
        out.print(text)
    if result.dropouts:
        out.print()
        out.print(_last(result.dropouts[-_LAST_SHOWN:]))
        out.print(_kinds(result))
    if result.time_of_day.depends is not None or _hours(result.time_of_day) > 1:
        out.print()
        out.print(_by_hour(result.time_of_day))
    out.print()
    if result.dropout_count:
        out.print(f"Trend: {result.trend.why}{_p(result.trend.p)}.")
        out.print(f"Time of day: {result.time_of_day.why}{_p(result.time_of_day.p)}.")
    out.print(
        Text.assemble((result.verdict.value.upper(), COLOURS[result.verdict]), f": {result.why}.")
    )
    for says in (result.says, result.says_against_before):
        if says is not None:
            out.print(says)


def _head(result: SoakResult, folder: Path) -> str:
    text = f"{folder}: soak of {format_frequency(result.line_hz)}"
    if result.began_utc is None or result.ended_utc is None:
        return f"{text}, nothing observed yet."
    runs = "" if result.runs == 1 else f", in {result.runs} runs"
    kept = f", {result.recording_bytes / 1e6:.0f} MB of IQ" if result.recording_bytes else ""
    return f"{text}, {_when(result.began_utc)} to {_when(result.ended_utc)} UTC{runs}{kept}."


def _line(result: SoakResult) -> str | None:
    if result.level_dbfs is None or result.offset_hz is None:
        return None
    spreads = (
        ""
        if result.level_spread_db is None or result.offset_spread_hz is None
        else f", from minute to minute ± {result.level_spread_db:.1f} dB"
        f" and ± {format_span(result.offset_spread_hz)}"
    )
    offset = format_error(result.offset_hz, 0.0)
    return f"line {offset} off, {format_dbfs(result.level_dbfs)}{spreads}"


def _gaps(result: SoakResult) -> list[str]:
    if result.unobserved_s < 0.5:
        return []
    longest = sorted(result.gaps, key=lambda gap: -gap.duration_s)[:_GAPS_SHOWN]
    listed = ", ".join(
        f"{format_seconds(gap.duration_s)} from {_when(gap.start_utc)}"
        for gap in sorted(longest, key=lambda gap: gap.start_utc)
    )
    text = f"{format_seconds(result.unobserved_s)} were not observed and count for nothing"
    return [f"{text}: {listed}" if listed else text]


def _last(dropouts: tuple[SoakedDropout, ...]) -> Any:
    rows = [
        (
            _when(dropout.start_utc, "milliseconds"),
            "not seen to end" if dropout.duration_s is None else format_seconds(dropout.duration_s),
            "" if dropout.depth_db is None else format_db(-dropout.depth_db),
            format_error(dropout.pull_hz, 0.0) if dropout.pull_hz else "",
            dropout.kind or "–",
            dropout.recording or "",
        )
        for dropout in dropouts
    ]
    return table(["last ones, UTC", "for", "to", "pulled", "<kind", "<IQ"], rows)


def _kinds(result: SoakResult) -> str:
    kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(result.kinds.items()))
    text = f"{result.dropout_count} in all: {kinds}"
    if result.longest_s is not None and result.median_s is not None:
        text += (
            f"; the longest {format_seconds(result.longest_s)}, "
            f"half of them up to {format_seconds(result.median_s)}"
        )
    return text


def _hours(found: TimeOfDay) -> int:
    return sum(hour.rate is not None for hour in found.hours)


def _by_hour(found: TimeOfDay) -> Any:
    largest = max((hour.rate.value for hour in found.hours if hour.rate is not None), default=0.0)
    rows = [_hour(hour, largest) for hour in found.hours if hour.rate is not None]
    return table(["hour", "there for", "drop-outs", "rate", "level", "<"], rows)


def _hour(hour: HourOfDay, largest: float) -> tuple[str, ...]:
    rate = hour.rate
    assert rate is not None
    bar = "█" * round(_BAR * rate.value / largest) if largest > 0 else ""
    return (
        f"{hour.hour:02d} to {(hour.hour + 1) % 24:02d}",
        format_seconds(rate.observed_s),
        str(rate.events),
        format_rate(rate.value) if rate.events else "none",
        "" if hour.level_dbfs is None else format_dbfs(hour.level_dbfs),
        bar,
    )


def _p(p: float | None) -> str:
    if p is None:
        return ""
    said = format_chance(p)
    return f" (p {said})" if said.startswith("<") else f" (p = {said})"


def _when(moment: datetime, precision: str = "seconds") -> str:
    utc = moment.astimezone(timezone.utc).replace(tzinfo=None)
    return utc.isoformat(sep=" ", timespec=precision)
