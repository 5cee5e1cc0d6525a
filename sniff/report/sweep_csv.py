"""A sweep's spectrum as a table of comma-separated values, point by point."""

from pathlib import Path

import numpy as np

from calib.correction import Correction
from sniff.sweep.swept import Sweep
from sniff.wholefile import TemporaryBeside

_HEAD = "frequency_hz,indicated_hz,mean_dbfs,max_hold_dbfs,noise_dbfs,hops,interpolated"
_ROWS = 4096  # written at a time


def write_csv(sweep: Sweep, correction: Correction, path: Path) -> None:
    """Write the points that were observed; levels in one RBW, what is not known left empty.

    Raises
    ------
    SourceError
        When it cannot be written.
    """
    stitched = sweep.stitched
    indicated_hz = stitched.hz(0) + stitched.bin_hz * np.arange(stitched.psd.size)
    true_hz = indicated_hz * correction.factor + correction.offset_hz
    levels = [
        _dbfs(density, stitched.rbw_hz)
        for density in (stitched.psd, stitched.max_hold, sweep.noise)
    ]
    known = np.flatnonzero(~np.isnan(stitched.psd))
    with TemporaryBeside(path) as whole:
        whole.file.write(f"{_HEAD}\n".encode())
        for first in range(0, known.size, _ROWS):
            rows = [
                f"{true_hz[at]:.3f},{indicated_hz[at]:.3f},"
                + ",".join("" if level is None else _number(level[at]) for level in levels)
                + f",{stitched.hops[at]},{int(stitched.interpolated[at])}\n"
                for at in known[first : first + _ROWS]
            ]
            whole.file.write("".join(rows).encode())
        whole.move_to(path)


def _dbfs(
    density: np.ndarray[tuple[int, ...], np.dtype[np.float64]] | None, rbw_hz: float
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]] | None:
    return None if density is None else 10.0 * np.log10(np.maximum(density * rbw_hz, 1e-30))


def _number(level: float) -> str:
    return "" if np.isnan(level) else f"{level:.2f}"
