"""Warm-ups in closed form for the tests of their text and picture."""

import numpy as np

from calib.references import Reference
from sniff.following import Pace, Point, Track
from sniff.recording import Stopped
from sniff.units import Tolerance
from sniff.warmed import Warmed, judge_track

NOMINAL_HZ = 100e6
REFERENCE = Reference(name="lab 100.000000 MHz", nominal_hz=NOMINAL_HZ, limit_hz=10.0)


def warmed(
    *settling: tuple[float, float],
    line_ppm: float = -23.0,
    steps: int = 360,
    step_s: float = 5.0,
    noise_ppm: float = 0.004,
    jump_ppm: float = 0.0,
    away: range = range(0),
    lost: range = range(0),
    tolerance: Tolerance | None = None,
) -> Warmed:
    """A clock with these amplitudes (ppm) and time constants (s); points in `away` and `lost` are
    not observed, and in the later half all are higher by `jump_ppm`."""
    rng = np.random.default_rng(1)
    t = step_s * (np.arange(steps) + 0.5)
    ppm = line_ppm + noise_ppm * rng.standard_normal(steps)
    ppm += sum((a * np.exp(-t / tau) for a, tau in settling), np.zeros(steps))
    ppm[steps // 2 :] += jump_ppm
    u_hz = noise_ppm * 1e-6 * NOMINAL_HZ
    points = tuple(
        Point(time_s=float(t[n]), indicated_hz=None, u_hz=None, level_dbfs=None, lost=n in lost)
        if n in away or n in lost
        else Point(
            time_s=float(t[n]),
            indicated_hz=float(NOMINAL_HZ / (1.0 + ppm[n] * 1e-6)),
            u_hz=u_hz,
            level_dbfs=-40.0,
        )
        for n in range(steps)
    )
    return judge_track(
        Track(points=points, stopped=Stopped.DONE, trouble=None),
        reference=REFERENCE,
        pace=Pace(seconds=steps * step_s, step_s=step_s, mean_s=step_s),
        tolerance=tolerance,
    )
