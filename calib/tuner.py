"""What a dongle's synthesiser and resampler really do with the frequency and rate asked for.

Everything here is at the nominal clock with the driver's own ppm setting at 0: the result is an
*indicated* frequency, and a `Correction` takes care of the crystal. The arithmetic is integer, in
the order of the shipped driver; tests/calib/test_tuner_registers.py holds it against the registers
that this driver writes.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import isfinite, sqrt

RTL_CLOCK_HZ = 28_800_000
"""Clock of the demodulator, its NCO and its resampler; also of most tuners."""

R828D_CLOCK_HZ = 16_000_000
"""Clock of an R828D that has a crystal of its own."""

UNKNOWN_TUNER_LIMIT_PPM = 1.5
"""Half-width of the centre's error where tuner or driver is unknown: above the worst that the
drivers in use leave (1.3 ppm, a greedy search in whole kilohertz at 50 MHz and 1090 MHz)."""

_NCO_STEPS = 1 << 22
_SDM_STEPS = 1 << 16

# -3 dB width that the driver sets, and the IF it then uses, kHz. The first list is walked while
# the bandwidth reaches the middle to the next entry; above its last limit the second list counts.
_FINE_FILTERS_KHZ = (
    (290, 1925),
    (375, 1857),
    (420, 2121),
    (470, 1788),
    (600, 1706),
    (860, 1558),
    (950, 2205),
    (1100, 2125),
    (1200, 1350),
    (1300, 2043),
    (1503, 1276),
    (1600, 1900),
    (1753, 1412),
    (1800, 1400),
    (1953, 1530),
    (2200, 1600),
    (3000, 2000),
    (5000, 3570),
)
_COARSE_FILTERS_KHZ = ((4500, 6000, 3570), (6000, 7000, 4570), (7000, 8000, 4570))

_R82XX_VCO_KHZ = (1_770_000, 3_540_000)
_R82XX_DIVIDERS = (2, 4, 8, 16, 32, 64)

_E4000_DIVIDERS = (
    (72_400_000, 48),
    (81_200_000, 40),
    (108_300_000, 32),
    (162_500_000, 24),
    (216_600_000, 16),
    (325_000_000, 12),
    (350_000_000, 8),
    (432_000_000, 8),
    (667_000_000, 6),
    (1_200_000_000, 4),
)
_E4000_LAST_DIVIDER = 2
_E4000_RANGE_HZ = (52_000_000, 2_200_000_000)  # public reports; the driver itself has no limit

_FC001X_DIVIDERS = (
    (37_084_000, 96),
    (55_625_000, 64),
    (74_167_000, 48),
    (111_250_000, 32),
    (148_334_000, 24),
    (222_500_000, 16),
    (296_667_000, 12),
    (445_000_000, 8),
    (593_334_000, 6),
    (950_000_000, 4),
)
_FC0013_LAST_DIVIDER = 2
_FC001X_LARGEST_RATIO = 31 * 8 + 15  # the counters' registers, rounded ratio
_FC0012_RANGE_HZ = (22_000_000, 948_599_999)  # low end: public reports; high end: the counters
_FC0013_RANGE_HZ = (22_000_000, 1_100_000_000)  # public reports


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """One setting of tuner and NCO at the nominal clock.

    Attributes
    ----------
    request_hz : float
        What was asked for, Hz.
    center_hz : float
        Indicated frequency that lies at DC in the samples, Hz.
    lo_hz : float
        Frequency of the tuner's local oscillator, Hz; 0 in direct sampling.
    if_hz : float
        Frequency that the NCO moves to DC, Hz; 0 for a zero-IF tuner.
    step_hz : float
        Distance of two settings of the coarser of synthesiser and NCO, Hz.
    u_center_hz : float
        Standard uncertainty (k = 1) of `center_hz` by not knowing the tuner, Hz; 0 where the
        arithmetic is known.
    divider : int
        From the VCO down to the LO; 0 where there is none.
    nint, sdm : int
        Whole part and fraction (16 bits, FC001x 15) of the synthesiser's ratio.
    nco : int
        The NCO's word, in units of its clock / 2**22.
    """

    request_hz: float
    center_hz: float
    lo_hz: float
    if_hz: float
    step_hz: float
    u_center_hz: float = 0.0
    divider: int = 0
    nint: int = 0
    sdm: int = 0
    nco: int = 0


def r82xx_filter(bandwidth_hz: float) -> tuple[float, float]:
    """The IF filter and the IF that the shipped driver chooses for an R820T, R828D or kin.

    Parameters
    ----------
    bandwidth_hz : float
        Bandwidth set; a driver whose bandwidth is 0 takes the sample rate instead, Hz.

    Returns
    -------
    width_hz, if_hz : float
        -3 dB width of the filter, and intermediate frequency, Hz.

    Raises
    ------
    ValueError
        When the bandwidth is not a positive number.
    """
    if not isfinite(bandwidth_hz) or bandwidth_hz <= 0:
        raise ValueError(f"bandwidth {bandwidth_hz!r} Hz must be above zero")
    asked_hz = int(bandwidth_hz)
    if asked_hz > _COARSE_FILTERS_KHZ[0][0] * 1000:
        _, width_khz, if_khz = [c for c in _COARSE_FILTERS_KHZ if asked_hz > c[0] * 1000][-1]
        return width_khz * 1e3, if_khz * 1e3
    chosen = _FINE_FILTERS_KHZ[0]
    for narrow, wide in pairwise(_FINE_FILTERS_KHZ):
        if asked_hz < (narrow[0] + wide[0]) * 500:
            break
        chosen = wide
    return chosen[0] * 1e3, chosen[1] * 1e3


def r82xx_tuning(
    request_hz: float, *, bandwidth_hz: float, tuner_clock_hz: float = RTL_CLOCK_HZ
) -> Tuning:
    """Tuning of an R820T, R820T2, R828D or kin: low IF, LO above the signal.

    Parameters
    ----------
    request_hz : float
        Centre asked for, Hz; the driver drops the fraction of a hertz.
    bandwidth_hz : float
        Bandwidth set, or the sample rate where none was set, Hz: it decides the IF.
    tuner_clock_hz : float
        Clock of the tuner, Hz.

    Raises
    ------
    ValueError
        When the synthesiser cannot reach it, or a number is not one.

    Notes
    -----
    ``LO = 2 T N / 2**16 / m`` with ``N = round(2**16 L m / 2T)`` for the LO wanted, L, and the
    divider m that brings the VCO to 1.77 ... 3.54 GHz (register description of the R820T2,
    ``Ndiv = 2 (Nint + SDM / 2**16)``). The rest is not trimmed by anything, so the centre is off
    by up to half a step, and by the NCO's quantum of 6.9 Hz.
    """
    asked_hz = _whole_hertz(request_hz)
    _, if_hz = r82xx_filter(bandwidth_hz)
    clock_hz = int(tuner_clock_hz)
    lo_wanted_hz = asked_hz + int(if_hz)
    lo_khz = (lo_wanted_hz + 500) // 1000
    divider = next(
        (m for m in _R82XX_DIVIDERS if _R82XX_VCO_KHZ[0] <= lo_khz * m < _R82XX_VCO_KHZ[1]), None
    )
    if divider is None:
        low_hz, high_hz = r82xx_range(bandwidth_hz=bandwidth_hz)
        raise ValueError(_outside(request_hz, low_hz, high_hz))
    ratio = (clock_hz + _SDM_STEPS * lo_wanted_hz * divider) // (2 * clock_hz)
    nco = _nco_word(int(if_hz))
    lo_hz = 2 * clock_hz * ratio / _SDM_STEPS / divider
    return Tuning(
        request_hz=request_hz,
        center_hz=lo_hz - _nco_hz(nco),
        lo_hz=lo_hz,
        if_hz=_nco_hz(nco),
        step_hz=2 * clock_hz / _SDM_STEPS / divider,
        divider=divider,
        nint=ratio >> 16,
        sdm=ratio & 0xFFFF,
        nco=nco,
    )


def r82xx_range(*, bandwidth_hz: float) -> tuple[float, float]:
    """Lowest and highest whole-hertz centre that `r82xx_tuning` accepts, Hz.

    Raises
    ------
    ValueError
        When the bandwidth is not a positive number.
    """
    _, if_hz = r82xx_filter(bandwidth_hz)
    lowest_khz = -(-_R82XX_VCO_KHZ[0] // _R82XX_DIVIDERS[-1])
    highest_khz = (_R82XX_VCO_KHZ[1] - 1) // _R82XX_DIVIDERS[0]
    return lowest_khz * 1000 - 500 - if_hz, highest_khz * 1000 + 499 - if_hz


def e4000_tuning(request_hz: float) -> Tuning:
    """Tuning of an E4000: zero IF, error always low.

    Raises
    ------
    ValueError
        When the tuner cannot reach it. A gap near 1.1 ... 1.25 GHz, where the synthesiser of
        most samples does not lock, differs from one to the next and is not refused here.
    """
    asked_hz = _whole_hertz(request_hz)
    if not _E4000_RANGE_HZ[0] <= asked_hz <= _E4000_RANGE_HZ[1]:
        raise ValueError(_outside(request_hz, *_E4000_RANGE_HZ))
    divider = next((r for below, r in _E4000_DIVIDERS if asked_hz < below), _E4000_LAST_DIVIDER)
    whole, rest = divmod(asked_hz * divider, RTL_CLOCK_HZ)
    fraction = rest * _SDM_STEPS // RTL_CLOCK_HZ
    lo_hz = RTL_CLOCK_HZ * (whole + fraction / _SDM_STEPS) / divider
    return Tuning(
        request_hz=request_hz,
        center_hz=lo_hz,
        lo_hz=lo_hz,
        if_hz=0.0,
        step_hz=RTL_CLOCK_HZ / _SDM_STEPS / divider,
        divider=divider,
        nint=whole,
        sdm=fraction,
    )


def fc0012_tuning(request_hz: float) -> Tuning:
    """Tuning of an FC0012: zero IF, error always low.

    Raises
    ------
    ValueError
        When the tuner cannot reach it.
    """
    return _fc001x_tuning(request_hz, _FC0012_RANGE_HZ)


def fc0013_tuning(request_hz: float) -> Tuning:
    """Tuning of an FC0013: zero IF, error always low.

    Raises
    ------
    ValueError
        When the tuner cannot reach it, which includes a gap from 948.6 to 950 MHz.
    """
    return _fc001x_tuning(request_hz, _FC0013_RANGE_HZ)


def _fc001x_tuning(request_hz: float, range_hz: tuple[float, float]) -> Tuning:
    """The fraction is cut to whole kilohertz of the VCO before it becomes a register."""
    asked_hz = _whole_hertz(request_hz)
    if not range_hz[0] <= asked_hz <= range_hz[1]:
        raise ValueError(_outside(request_hz, *range_hz))
    divider = next((m for below, m in _FC001X_DIVIDERS if asked_hz < below), _FC0013_LAST_DIVIDER)
    reference_hz = RTL_CLOCK_HZ // 2
    whole, rest_hz = divmod(asked_hz * divider, reference_hz)
    fraction = (rest_hz // 1000 << 15) // (reference_hz // 1000)
    rounded = whole + (fraction >> 14)
    if rounded > _FC001X_LARGEST_RATIO:
        raise ValueError(
            f"{request_hz / 1e6:.6f} MHz cannot be tuned: it lies in the FC0013's gap,"
            " 948.600 ... 950.000 MHz"
        )
    lo_hz = reference_hz * (whole + fraction / (1 << 15)) / divider
    return Tuning(
        request_hz=request_hz,
        center_hz=lo_hz,
        lo_hz=lo_hz,
        if_hz=0.0,
        step_hz=1000 / divider,
        divider=divider,
        nint=whole,
        sdm=fraction,
    )


def direct_sampling_tuning(request_hz: float) -> Tuning:
    """Tuning without a tuner: the NCO alone moves the centre to DC.

    Raises
    ------
    ValueError
        When it lies outside 0 ... 14.4 MHz, the first zone of the sampler.
    """
    asked_hz = _whole_hertz(request_hz)
    if not 0 <= asked_hz <= RTL_CLOCK_HZ // 2:
        raise ValueError(_outside(request_hz, 0, RTL_CLOCK_HZ // 2))
    nco = _nco_word(asked_hz)
    return Tuning(
        request_hz=request_hz,
        center_hz=_nco_hz(nco),
        lo_hz=0.0,
        if_hz=_nco_hz(nco),
        step_hz=RTL_CLOCK_HZ / _NCO_STEPS,
        nco=nco,
    )


def unknown_tuning(request_hz: float) -> Tuning:
    """Tuning of a tuner whose arithmetic is not known: where it was asked, with an uncertainty.

    The error is taken as rectangular within half a step of ``2 UNKNOWN_TUNER_LIMIT_PPM``, so
    ``u = step / 2 / sqrt(3)`` (JCGM 100:2008, 4.3.7).

    Raises
    ------
    ValueError
        When the frequency is not a positive number.
    """
    if _whole_hertz(request_hz) <= 0:
        raise ValueError(f"frequency {request_hz!r} Hz must be above zero")
    step_hz = 2e-6 * UNKNOWN_TUNER_LIMIT_PPM * request_hz
    return Tuning(
        request_hz=request_hz,
        center_hz=request_hz,
        lo_hz=request_hz,
        if_hz=0.0,
        step_hz=step_hz,
        u_center_hz=step_hz / 2 / sqrt(3.0),
    )


def resampler_rate(request_hz: float) -> float:
    """Sample rate that the resampler really makes, at the nominal clock, Hz.

    Parameters
    ----------
    request_hz : float
        Rate asked for, Hz; the driver drops the fraction of a hertz.

    Raises
    ------
    ValueError
        When the chip cannot do it.
    """
    asked_hz = int(request_hz) if isfinite(request_hz) else -1
    if not (225_001 <= asked_hz <= 300_000 or 900_001 <= asked_hz <= 3_200_000):
        raise ValueError(
            f"a rate of {request_hz:g} Hz is none the chip can do:"
            " 225001 ... 300000 Hz or 900001 ... 3200000 Hz"
        )
    return RTL_CLOCK_HZ * _NCO_STEPS / resampler_ratio(asked_hz)


def resampler_ratio(rate_hz: int) -> int:
    """The resampler's ratio as the chip uses it, in units of 2**-22.

    The two low bits of the register are fixed, and its top bit is not stored but doubled from
    the one below.
    """
    ratio = (RTL_CLOCK_HZ * _NCO_STEPS // rate_hz) & 0x0FFF_FFFC
    return ratio | ((ratio & 0x0800_0000) << 1)


def _whole_hertz(request_hz: float) -> int:
    if not isfinite(request_hz):
        raise ValueError(f"frequency {request_hz!r} Hz is not a number")
    return int(request_hz)


def _nco_word(frequency_hz: int) -> int:
    return frequency_hz * _NCO_STEPS // RTL_CLOCK_HZ


def _nco_hz(word: int) -> float:
    return word * RTL_CLOCK_HZ / _NCO_STEPS


def _outside(request_hz: float, low_hz: float, high_hz: float) -> str:
    return (
        f"{request_hz / 1e6:.6f} MHz cannot be tuned:"
        f" the range is {low_hz / 1e6:.3f} ... {high_hz / 1e6:.3f} MHz"
    )
