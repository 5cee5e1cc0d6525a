"""The last stages: an IF amplifier that may follow the level, and the 8-bit converter."""

from itertools import accumulate

import numpy as np

from sniff.model import ComplexSamples, Doubles
from sniff.sources.bench.grid import ROW
from sniff.sources.bench.schema import Dongle
from sniff.sources.recording.datatypes import DATATYPES

# Range of the IF amplifier about the 16 dB at which it is frozen: -12 ... 40.5 dB.
_IF_RANGE_DB = (-28.0, 24.5)
_CU8 = DATATYPES["cu8"]


def loop_gains_db(
    samples: ComplexSamples, start_db: float, *, dongle: Dongle, rate_hz: float
) -> Doubles:
    """Gain of the automatic IF amplifier at the beginning of each row of samples.

    Parameters
    ----------
    samples : ndarray of complex64, shape (rows * ROW,)
        What comes in, at the frozen gain.
    start_db : float
        Gain over the frozen one at the first row, dB.
    dongle : Dongle
        Target and time constant.
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    ndarray of float64, shape (rows + 1,)
        Over the frozen gain, dB; the last one is for the row that follows.
    """
    parts = samples.view(np.float32).reshape(-1, 2 * ROW)
    power = np.einsum("ij,ij->i", parts, parts).astype(np.float64) / ROW
    wanted = np.clip(dongle.target_dbfs - 10 * np.log10(power + 1e-20), *_IF_RANGE_DB)
    share = -np.expm1(-ROW / (rate_hz * dongle.loop_s))
    steps = accumulate(
        wanted.tolist(), lambda gain, goal: gain + share * (goal - gain), initial=start_db
    )
    return np.fromiter(steps, np.float64, wanted.size + 1)


def digitize(samples: ComplexSamples, *, dongle: Dongle) -> ComplexSamples:
    """What the 8-bit converter makes of a signal, full scale 1.0.

    Beyond the rails a signal stays at them, I and Q each for itself; the odd harmonics of an
    overdriven line, folded at the sample rate, follow from that.
    """
    codes = samples.view(np.float32) * np.float32(_CU8.full_scale)
    codes[0::2] += np.float32(_CU8.midpoint + dongle.dc_i_lsb)
    codes[1::2] += np.float32(_CU8.midpoint + dongle.dc_q_lsb)
    np.rint(codes, out=codes)
    np.clip(codes, 0, 255, out=codes)
    return _CU8.to_complex64(codes.astype(np.uint8))
