"""Results that need no layout of their own: all their figures by name, unit and uncertainty."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from sniff.job.entries import Reading
from sniff.report.html.boards import tone_of
from sniff.report.html.fields import Fields, number, table, words
from sniff.report.html.pairing import Sides, of_command
from sniff.report.html.ruler import Ruler, ruler_of
from sniff.units import (
    format_db,
    format_dbfs,
    format_error,
    format_frequency,
    format_ppm,
    format_reading,
    format_seconds,
)

_SHOWN_ELSEWHERE = frozenset({"verdict", "why", "u_hz", "expanded_hz"})
_OF_A_CARRIER = {
    "frequency, U (k = 2)": "carrier, U (k = 2)",
    "error": "error",
    "error ppm": "error, relative",
    "tolerance": "allowed",
    "level": "level",
    "snr": "over the noise",
    "channel": "channel",
    "modulation: kind": "modulation",
    "modulation: deviation positive": "deviation up",
    "modulation: deviation negative": "deviation down",
    "modulation: deviation rms": "deviation, rms",
    "modulation: depth": "depth",
    "modulation: audio": "test tone",
    "modulation: sinad": "SINAD",
    "modulation: thd": "THD",
    "modulation: residual": "residual FM",
    "pilot: frequency": "pilot",
    "pilot: deviation": "pilot's deviation",
    "occupied bandwidth": "occupied bandwidth (99 %)",
    "drift": "drift",
    "observed": "observed",
}
"""What a transmitter is asked, in the order of asking; the rest of its figures is in the JSON."""
_BY_SUFFIX: tuple[tuple[str, Callable[[float], str]], ...] = (
    ("_dbfs_per_hz", lambda value: f"{format_dbfs(value)}/Hz"),
    ("_hz_per_s", lambda value: f"{value:.3g} Hz/s".replace("-", "−")),
    ("_hz_per_hour", lambda value: f"{value:.3g} Hz/h".replace("-", "−")),
    ("_db_per_hour", lambda value: f"{value:.3g} dB/h".replace("-", "−")),
    ("_dbfs", format_dbfs),
    ("_db", format_db),
    ("_hz", format_frequency),
    ("_ppm", format_ppm),
    ("_percent", lambda value: f"{value:.3g} %"),
    ("_s", format_seconds),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure with its name, before and after."""

    name: str
    before: str
    after: str


@dataclass(frozen=True, kw_only=True)
class FigurePair:
    """All figures of one command, the latest reading of each side."""

    command: str
    place: str
    before: Reading | None
    after: Reading | None
    before_tone: str
    after_tone: str
    figures: tuple[Figure, ...]
    ruler: Ruler | None


def figure_pairs(sides: Sides, command: str) -> tuple[FigurePair, ...]:
    """The figures of a command, by place."""
    before = {r.place or "": r for r in of_command(sides.before, command)}
    after = {r.place or "": r for r in of_command(sides.after, command)}
    return tuple(
        _pair(command, place, before.get(place), after.get(place))
        for place in dict.fromkeys([*before, *after])
    )


def figures_of(result: Fields) -> dict[str, str]:
    """The figures of a result, by name; lists are left to the JSON."""
    return dict(_figures(result, ""))


def _pair(command: str, place: str, before: Reading | None, after: Reading | None) -> FigurePair:
    old, new = (
        {} if each is None else _asked(command, figures_of(each.result)) for each in (before, after)
    )
    return FigurePair(
        command=command,
        place=place,
        before=before,
        after=after,
        before_tone=tone_of((before.verdict or "") if before else ""),
        after_tone=tone_of((after.verdict or "") if after else ""),
        figures=tuple(
            Figure(name=name, before=old.get(name, ""), after=new.get(name, ""))
            for name in dict.fromkeys([*old, *new])
        ),
        ruler=ruler_of(
            None if before is None else before.result, None if after is None else after.result
        ),
    )


def _asked(command: str, figures: dict[str, str]) -> dict[str, str]:
    if command != "carrier":
        return figures
    return {label: figures[name] for name, label in _OF_A_CARRIER.items() if name in figures}


def _figures(result: Fields, within: str) -> Iterator[tuple[str, str]]:
    for key, value in result.items():
        if key in _SHOWN_ELSEWHERE:
            continue
        name = f"{within}{key}"
        if isinstance(value, dict):
            yield from _figures(table(result, key), f"{name.replace('_', ' ')}: ")
        elif isinstance(value, str):
            if words(result, key):
                yield name.replace("_", " "), value
        elif (size := number(result, key)) is not None:
            yield _shown(name, size, result)


def _shown(name: str, value: float, result: Fields) -> tuple[str, str]:
    u_hz = number(result, "u_hz")
    if name == "frequency_hz" and u_hz is not None:
        return "frequency, U (k = 2)", format_reading(value, 2.0 * u_hz)
    if name == "error_hz" and u_hz is not None:
        return "error", format_error(value, 2.0 * u_hz)
    if name == "error_ppm":
        return "error ppm", format_ppm(value)
    for suffix, shown in _BY_SUFFIX:
        if name.endswith(suffix):
            return name.removesuffix(suffix).replace("_", " "), shown(value)
    return name.replace("_", " "), f"{value:.6g}"
