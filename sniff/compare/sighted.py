"""What a set shows besides the plan's lines, and whether a place was in its view at all."""

from collections.abc import Sequence

import numpy as np

from sniff.compare.nouns import Sight
from sniff.look import Look, SeenLine
from sniff.model import NOT_SIGNALS, Mark
from sniff.peaks import Floor, would_see_ratio
from sniff.units import to_db

_NOT_OF_THE_SET = NOT_SIGNALS | {Mark.OWN_SPUR, Mark.EDGE}


def other_lines(sight: Sight) -> tuple[SeenLine, ...]:
    """Lines in view that are not among the plan's, strongest first, each once."""
    rows = () if sight.board is None else sight.board.lines
    taken_hz = [row.frequency_hz for row in rows if row.frequency_hz is not None]
    found: list[SeenLine] = []
    lines = [(line, look) for look in sight.looks for line in look.result.peaks]
    for line, look in sorted(lines, key=lambda each: -each[0].level_dbfs):
        if _NOT_OF_THE_SET.intersection(line.marks) or not _usable(line.indicated_hz, look, sight):
            continue
        reach_hz = max(2.0 * look.result.rbw_hz, 2.0 * line.u_indicated_hz)
        known_hz = [*taken_hz, *(other.frequency_hz for other in found)]
        if all(abs(line.frequency_hz - hz) > reach_hz for hz in known_hz):
            found.append(line)
    return tuple(found)


def would_see_dbfs(sight: Sight, true_hz: float) -> float | None:
    """Level at which a line there would have been seen; None where it was not in view."""
    indicated_hz = sight.correction.indicate(true_hz)
    levels = [
        level
        for look in sight.looks
        if _usable(indicated_hz, look, sight)
        and (level := _would_see(look, indicated_hz)) is not None
    ]
    return min(levels, default=None)


def extent_hz(sights: Sequence[Sight]) -> tuple[float, float]:
    """Lowest and highest true frequency in any view, Hz."""
    ends = [
        sight.correction.apply(end_hz, 0.0).value_hz
        for sight in sights
        for look in sight.looks
        for end_hz in (
            look.spectrum.first_hz,
            look.spectrum.first_hz + look.spectrum.psd.size * look.spectrum.bin_hz,
        )
    ]
    return (min(ends), max(ends)) if ends else (0.0, 0.0)


def _usable(indicated_hz: float, look: Look, sight: Sight) -> bool:
    spectrum = look.spectrum
    return abs(indicated_hz - spectrum.center_hz) <= sight.usable_fraction * spectrum.rate_hz / 2.0


def _would_see(look: Look, indicated_hz: float) -> float | None:
    spectrum = look.spectrum
    at = round((indicated_hz - spectrum.first_hz) / spectrum.bin_hz)
    if not 0 <= at < look.noise.size or not np.isfinite(look.threshold[at]):
        return None
    here = Floor(
        density=look.noise[at : at + 1].copy(), threshold=look.threshold[at : at + 1].copy()
    )
    ratio = float(would_see_ratio(spectrum, here)[0])
    return to_db(ratio * float(here.density[0]) * look.result.rbw_hz)
