"""Looks, boards and courses written down by hand: what a picture must show is then known."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from calib.correction import Correction
from sniff.board import Board, BoardLine, BoardResult, BoardVerdict, LineState
from sniff.look import Look, LookResult, see
from sniff.model import Caution, Course, Mark, Peak, Spectrum
from sniff.verdict import decide

CLOCK = Correction(ppm=42.0, u_ppm=1.5, origin="planted")
NOISE_DBFS_PER_HZ = -110.0


def look(
    tones: Sequence[tuple[float, float]] = (),
    *,
    center_hz: float = 83.2e6,
    rate_hz: float = 2.4e6,
    bins: int = 4096,
    marks: dict[int, tuple[Mark, ...]] | None = None,
    clock: Correction = CLOCK,
    u_indicated_hz: float = 0.3,
    max_hold: bool = True,
    cautions: tuple[Caution, ...] = (),
    noise_dbfs_per_hz: float = NOISE_DBFS_PER_HZ,
) -> Look:
    """A look at tones of (indicated frequency, level); `marks` by place in `tones`."""
    rng = np.random.default_rng(7)
    noise = np.full(bins, 10.0 ** (noise_dbfs_per_hz / 10.0))
    psd = noise * rng.gamma(200.0, 1.0 / 200.0, bins)
    bin_hz = rate_hz / bins
    rbw_hz = 1.5 * bin_hz
    first_hz = center_hz - (bins // 2) * bin_hz
    for hz, dbfs in tones:
        psd[min(bins - 1, max(0, round((hz - first_hz) / bin_hz)))] += (
            10.0 ** (dbfs / 10.0) / rbw_hz
        )
    spectrum = Spectrum(
        psd=psd,
        max_hold=4.0 * psd if max_hold else None,
        center_hz=center_hz,
        rate_hz=rate_hz,
        window="hann",
        enbw_bins=1.5,
        averages=200,
        effective_averages=140.0,
        samples=100 * bins,
    )
    seen = [
        see(
            Peak(
                indicated_hz=hz,
                u_indicated_hz=u_indicated_hz,
                level_dbfs=dbfs,
                snr_db=dbfs - noise_dbfs_per_hz,
                width_hz=0.0,
                marks=(marks or {}).get(number, ()),
            ),
            clock,
        )
        for number, (hz, dbfs) in enumerate(tones)
    ]
    return Look(
        result=LookResult(
            center_hz=center_hz,
            rate_hz=rate_hz,
            seconds=spectrum.seconds,
            rbw_hz=rbw_hz,
            averages=200,
            window="hann",
            noise_dbfs_per_hz=noise_dbfs_per_hz,
            false_alarm_rate=1e-3,
            peaks=tuple(sorted(seen, key=lambda line: -line.level_dbfs)),
        ),
        spectrum=spectrum,
        noise=noise,
        threshold=1.6 * noise,
        course=None,
        cautions=cautions,
    )


def line(
    name: str,
    expected_hz: float,
    tolerance_hz: float,
    state: LineState,
    *,
    found_in: Look | None = None,
    window_hz: float | None = None,
    why: str = "",
    **more: Any,
) -> BoardLine:
    """A board line; its reading is the line of `found_in` nearest to its place."""
    if found_in is not None:
        peak = min(found_in.result.peaks, key=lambda p: abs(p.frequency_hz - expected_hz))
        error_hz = peak.frequency_hz - expected_hz
        more = {
            "frequency_hz": peak.frequency_hz,
            "u_hz": peak.u_hz,
            "error_hz": error_hz,
            "error_ppm": error_hz / expected_hz * 1e6,
            "frequency_verdict": decide(
                error_hz=error_hz, expanded_hz=peak.expanded_hz, tolerance_hz=tolerance_hz
            ).outcome,
            "level_dbfs": peak.level_dbfs,
            "snr_db": peak.snr_db,
            **more,
        }
    return BoardLine(
        name=name,
        role="lo",
        formula="",
        wanted=True,
        expected_hz=expected_hz,
        tolerance_hz=tolerance_hz,
        window_hz=10.0 * tolerance_hz if window_hz is None else window_hz,
        state=state,
        why=why,
        **more,
    )


def board(
    lines: Sequence[BoardLine],
    looks: Sequence[Look],
    *,
    verdict: BoardVerdict = BoardVerdict.FAULT,
    why: str = "as planted",
) -> Board:
    """A board of these lines."""
    result = BoardResult(verdict=verdict, why=why, lines=tuple(lines))
    return Board(result=result, looks=tuple(looks), cautions=())


def quiet(
    rows: int = 300, columns: int = 512, *, noise_dbfs: float = -80.0
) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Power of flat noise by time and frequency, FS²; plant in it what is wanted."""
    return np.full((rows, columns), 10.0 ** (noise_dbfs / 10.0), dtype=np.float32)


def course(
    power: np.ndarray[Any, np.dtype[np.float32]],
    *,
    row_s: float = 0.04,
    start_s: float = 0.0,
    first_hz: float = 82.0e6,
    column_hz: float = 4.7e3,
) -> Course:
    """A course of this power: 12 s and 2.4 MHz when it is `quiet` by default."""
    return Course(
        tone_power=power, row_s=row_s, start_s=start_s, first_hz=first_hz, column_hz=column_hz
    )
