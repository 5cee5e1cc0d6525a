"""A tap test as text: the spots as a table, most suspect first, and what may be said of them."""

from rich.text import Text

from sniff.report.text import console, table
from sniff.taps.nouns import (
    IN_WORDS,
    Control,
    SpotResult,
    SpotVerdict,
    Stroke,
    TapResult,
    Windows,
)
from sniff.units import format_chance, format_db, format_error, format_moment, format_seconds

_STATES = {
    SpotVerdict.REACTS: ("● reacts", "bold red"),
    SpotVerdict.NOT_SHOWN: ("○ not shown", ""),
    SpotVerdict.TOO_FEW: ("◌ too few", "yellow"),
    SpotVerdict.NO_CONTROL: ("◌ no control", "yellow"),
    SpotVerdict.NO_EVIDENCE: ("– no evidence", "yellow"),
}
_MOST_NOT_COUNTED = 10


def print_taps(result: TapResult, windows: Windows) -> None:
    """Print what a tap test came to."""
    out = console()
    out.print()
    out.print(_table(result))
    out.print()
    for stroke in _not_counted(result):
        out.print(
            f"not counted: {stroke.tap.spot} at {format_moment(stroke.tap.at_s)}, "
            f"{stroke.why_not_counted}",
            markup=False,
        )
    if any(spot.pulls for spot in result.spots):
        out.print("pulls are no answers: something near detuned the oscillator, its contact held")
    out.print(_how(result, windows))
    out.print(result.says, markup=False, style="bold")


def _table(result: TapResult) -> object:
    rows = [
        (
            spot.spot,
            IN_WORDS[spot.by],
            Text(*_STATES[spot.verdict]),
            f"{spot.answered} of {spot.taps}",
            f"{100 * spot.fraction_low:.0f} to {100 * spot.fraction_high:.0f} %",
            _control(spot),
            "" if spot.p_adjusted is None else format_chance(spot.p_adjusted),
            f"{spot.pulls}" if spot.pulls else "",
            _drift(spot),
            spot.why,
        )
        for spot in result.spots
    ]
    return table(
        [
            "spot",
            "<by",
            "<verdict",
            "answered",
            "at 95 %",
            "control",
            "p",
            "pulls",
            "drift",
            "<because",
        ],
        rows,
    )


def _control(spot: SpotResult) -> str:
    if spot.control is None:
        return "–"
    name = "sibling" if spot.control is Control.SIBLING else "untouched"
    return f"{name} {spot.control_answered} of {spot.control_taps}"


def _drift(spot: SpotResult) -> str:
    parts = []
    if spot.drift_hz is not None:
        parts.append(format_error(spot.drift_hz, 0.0))
    if spot.drift_db is not None:
        parts.append(format_db(spot.drift_db))
    return ", ".join(parts)


def _not_counted(result: TapResult) -> list[Stroke]:
    left_out = [stroke for stroke in result.strokes if stroke.why_not_counted is not None]
    return left_out[:_MOST_NOT_COUNTED]


def _how(result: TapResult, windows: Windows) -> str:
    used = list(dict.fromkeys(spot.by for spot in result.spots))
    lengths = {format_seconds(windows.after_s(by)) for by in used}
    each = ", ".join(f"{IN_WORDS[by]} {format_seconds(windows.after_s(by))}" for by in used)
    within = lengths.pop() if len(lengths) == 1 else f"its time ({each})"
    text = (
        f"A drop-out answers a tap when it begins within {within} after it, or "
        f"{format_seconds(windows.reaction_s)} before."
    )
    if result.tested:
        spots = "1 spot" if result.tested == 1 else f"{result.tested} spots"
        text += f" p: Fisher's exact test against the control, for {spots} tested (Holm)."
    return text
