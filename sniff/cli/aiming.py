"""Tune to where a line shows, and set a watcher on it."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot
from typing import Any

from calib.correction import Correction
from sniff.errors import UsageError
from sniff.model import Caution, Source
from sniff.reach import out_of_reach
from sniff.tuning import Window, choose_tunings
from sniff.units import format_frequency
from sniff.watch.nouns import WatchSettings
from sniff.watch.watcher import Watcher

_OFF_PPM = 50.0
_LEAST_WITHIN_HZ = 1_000.0
_ON_CENTER_HZ = 1_000.0

_ON_CENTER = Caution(
    code="on-centre",
    text="the line lies on the centre, where the receiver has a line of its own that never goes: "
    "set --center beside it",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """A watcher set on a line of a source that was tuned for it.

    Attributes
    ----------
    indicated_hz : float
        Where the line is looked for on the source's own scale, Hz.
    watcher : Watcher
    cautions : tuple of Caution
        What is wrong with the place.
    """

    indicated_hz: float
    watcher: Watcher
    cautions: tuple[Caution, ...]


def aimed(
    source: Source,
    line_hz: float,
    correction: Correction,
    given: Mapping[str, Any],
    *,
    row_s: float,
) -> Aim:
    """Tune a source so that a line shows, unless the user said where to, and set a watcher on it.

    Parameters
    ----------
    line_hz : float
        Its true frequency, Hz.
    row_s : float
        Length of the rows of the summary, s.

    Raises
    ------
    UsageError
        When the source cannot show it, or --within is not above zero.
    """
    indicated_hz = correction.indicate(line_hz)
    within_hz = given["within"]
    if within_hz is None:
        within_hz = hypot(2.0 * correction.u_at(indicated_hz), _OFF_PPM * 1e-6 * line_hz)
    if within_hz <= 0:
        raise UsageError("--within must be above zero")
    within_hz = max(_LEAST_WITHIN_HZ, within_hz)
    center_hz = _tuned(source, indicated_hz, within_hz, given)
    settings = WatchSettings(resolution_s=given["resolution"], within_hz=within_hz, row_s=row_s)
    return Aim(
        indicated_hz=indicated_hz,
        watcher=Watcher(indicated_hz, settings, source.info.rate_hz, center_hz),
        cautions=(_ON_CENTER,) if abs(indicated_hz - center_hz) <= _ON_CENTER_HZ else (),
    )


def _tuned(
    source: Source, indicated_hz: float, within_hz: float, given: Mapping[str, Any]
) -> float:
    info = source.info
    if info.duration_s is not None:
        return source.tune(indicated_hz)
    if given["center"] is not None:
        return info.centers_hz[0]
    window = Window(low_hz=indicated_hz - within_hz, high_hz=indicated_hz + within_hz)
    chosen = choose_tunings([window], info)
    if not chosen:
        raise UsageError(f"{format_frequency(indicated_hz)} is {out_of_reach(info)}")
    return source.tune(chosen[0].center_hz)
