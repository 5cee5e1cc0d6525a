"""Calibrating: from a reference on the air to where the instrument indicates it."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import sqrt

import numpy as np

from calib.fit import LARGEST_PPM, ReferencePoint
from calib.references import Reference
from sniff.errors import SourceError
from sniff.model import NOT_SIGNALS, Caution, Mark, Peak, Source, Take
from sniff.pipeline import LookSettings, view_of
from sniff.tuning import Window, choose_tunings
from sniff.units import format_db, format_dbfs, format_frequency, format_ppm, to_db
from sniff.zoom import MIN_HOP, Zoom, Zoomed

_RIVAL_DB = 10.0  # a second line so near in level may be the reference as well
_NOTABLE = 0.3  # of the reference's own doubt
_CLEAR = 10.0  # power over noise in the modulation's bandwidth
_BLOCKS = 20  # means of the frequency, whose scatter tells their own uncertainty
_PROBE_SHARE = 4.0  # frame rate over half-width: the modulation passes the filter


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One reference, measured.

    Attributes
    ----------
    point : ReferencePoint
    cautions : tuple of Caution
    """

    point: ReferencePoint
    cautions: tuple[Caution, ...]


def measure_reference(
    source: Source,
    reference: Reference,
    *,
    settings: LookSettings,
    seconds: float | None,
    start_s: float = 0.0,
) -> Measured:
    """Find a reference within ±200 ppm of its place and measure where it is indicated.

    A plain carrier is measured as any line; of a modulated one the mean frequency, with the
    scatter of twenty stretches as its uncertainty.

    Raises
    ------
    SourceError
        When it lies outside what the source can show, is not found, or two lines could be it: both
        are named, and none is chosen.
    UsageError
        As in `sniff.pipeline.look`.
    """
    reach_hz = reference.nominal_hz * LARGEST_PPM * 1e-6 + reference.limit_hz
    window = Window(
        low_hz=reference.nominal_hz - reach_hz - reference.half_width_hz,
        high_hz=reference.nominal_hz + reach_hz + reference.half_width_hz,
    )
    tunings = choose_tunings([window], source.info)
    if not tunings:
        raise SourceError(
            f"{reference.name}: lies outside what {source.info.name} can show; choose another "
            "reference, or another recording"
        )
    source.tune(tunings[0].center_hz)
    take = source.take(seconds=seconds, start_s=start_s)
    view = view_of(take, source.info, settings, window)
    inside = [
        peak
        for peak in view.peaks
        if window.low_hz <= peak.indicated_hz <= window.high_hz
        and not (NOT_SIGNALS | {Mark.OWN_SPUR}).intersection(peak.marks)
    ]
    if not inside:
        raise SourceError(
            f"{reference.name}: nothing is heard within ±{LARGEST_PPM:g} ppm of "
            f"{format_frequency(reference.nominal_hz)}; more gain, a better antenna, or another "
            "reference"
        )
    if view.overloaded:
        raise SourceError(f"{reference.name}: the front end is overloaded; less gain")
    if reference.half_width_hz:
        best = max(inside, key=lambda peak: peak.level_dbfs)
        density = float(np.median(view.floor.density))
        found = _mean_frequency(take, best, reference.half_width_hz, density)
        if found is None:
            raise SourceError(
                f"{reference.name}: too weak: less than {format_db(to_db(_CLEAR))} over the noise "
                "in its bandwidth; more gain, a better antenna, or another reference"
            )
        indicated_hz, u_hz = found
        cautions: tuple[Caution, ...] = ()
    else:
        best = _only(inside, reference)
        indicated_hz, u_hz = best.indicated_hz, best.u_indicated_hz
        restless = not best.steady and u_hz > _NOTABLE * reference.u_hz
        cautions = (_unsteady(reference, best),) if restless else ()
    point = ReferencePoint(
        name=reference.name,
        nominal_hz=reference.nominal_hz,
        u_nominal_hz=reference.u_hz,
        indicated_hz=indicated_hz,
        u_indicated_hz=u_hz,
    )
    return Measured(point=point, cautions=cautions)


def _only(inside: list[Peak], reference: Reference) -> Peak:
    """The strongest, when no other comes near it."""
    best = max(inside, key=lambda peak: peak.level_dbfs)
    rivals = [
        peak
        for peak in inside
        if peak is not best and best.level_dbfs - peak.level_dbfs < _RIVAL_DB
    ]
    if rivals:
        named = " and ".join(
            f"{format_frequency(peak.indicated_hz)} ({format_dbfs(peak.level_dbfs)}, "
            f"{format_ppm((reference.nominal_hz / peak.indicated_hz - 1) * 1e6)})"
            for peak in (best, rivals[0])
        )
        raise SourceError(
            f"{reference.name}: two lines could be it, {named}; they differ by less than "
            f"{format_db(_RIVAL_DB)}: use a reference that stands alone"
        )
    return best


def _unsteady(reference: Reference, peak: Peak) -> Caution:
    u_ppm = peak.u_indicated_hz / reference.nominal_hz * 1e6
    return Caution(
        code="reference-unsteady",
        text=f"{reference.name}: it drifted or was modulated while it was measured, by "
        f"{u_ppm:.2g} ppm (k = 1); that is in the result",
    )


def _mean_frequency(
    take: Take, peak: Peak, half_width_hz: float, noise_density: float
) -> tuple[float, float] | None:
    """Mean of the instantaneous frequency, Hz, and its standard uncertainty from block means; None
    where noise would pull it towards the middle of the filter."""
    hop = max(MIN_HOP, int(take.rate_hz / (_PROBE_SHARE * half_width_hz)))
    zoom = Zoom([peak.indicated_hz], hop=hop)
    means: list[float] = []
    weights: list[float] = []
    powers: list[float] = []
    for stretch in _stretches(zoom, take):
        values = stretch.values[np.isfinite(stretch.values)]
        turns = np.angle(values[1:] * np.conj(values[:-1])) / (2.0 * np.pi)
        powers.append(float((np.abs(values) ** 2).mean()))
        for part in np.array_split(turns, _BLOCKS):
            if part.size:
                means.append(float(part.mean()) * stretch.rate_hz)
                weights.append(float(part.size))
    if len(means) < 2 or np.mean(powers) < _CLEAR * 0.75 * noise_density * take.rate_hz / hop:
        return None
    mean = float(np.average(means, weights=weights))
    spread = float(np.average((np.array(means) - mean) ** 2, weights=weights))
    return peak.indicated_hz + mean, sqrt(spread / (len(means) - 1))


def _stretches(zoom: Zoom, take: Take) -> Iterator[Zoomed]:
    for block in take.blocks():
        for (stretch,) in zoom.push(block):
            yield stretch
    for (stretch,) in zoom.finish():
        yield stretch
