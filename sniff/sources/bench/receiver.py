"""One setting of the dongle: where it is tuned, how much it amplifies, which ways lead in."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from calib.tuner import (
    RTL_CLOCK_HZ,
    Tuning,
    e4000_tuning,
    r82xx_filter,
    r82xx_range,
    r82xx_tuning,
)
from sniff.sources.bench.noise import lo_phase_response
from sniff.sources.bench.passband import Passband
from sniff.sources.bench.schema import Dongle, TunerKind

GAINS_DB = (
    *(0.0, 0.9, 1.4, 2.7, 3.7, 7.7, 8.7, 12.5, 14.4, 15.7, 16.6, 19.7, 20.7, 22.9, 25.4),
    *(28.0, 29.7, 32.8, 33.8, 36.4, 37.2, 38.6, 40.2, 42.1, 43.4, 43.9, 44.5, 48.0, 49.6),
)
"""Steps of the tuner's gain, relative, from the driver's table."""

UNHEARD_DBFS = -140.0
"""Lines weaker than this are left out: an hour's resolution bandwidth holds more noise."""

_BANDWIDTH_OF_RATE = 0.8
"""Bandwidth set, as a part of the sample rate: the demodulator's own filter does not follow."""

_E4000_RANGE_HZ = (52e6, 1100e6)  # public reports; above comes a gap where it does not lock


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """A way by which a signal comes to the converter.

    Attributes
    ----------
    center_hz : float
        Frequency, by the dongle's own clock, that this way brings to 0 Hz.
    mirrored : bool
        Whether what lies above it comes out below.
    gain_db : float
        Gain relative to the wanted way.
    """

    center_hz: float
    mirrored: bool
    gain_db: float


@dataclass(frozen=True, kw_only=True)
class Receiver:
    """The dongle at one tuning and gain.

    Attributes
    ----------
    dongle : Dongle
        What the scene says of it.
    tuning : Tuning
        What tuner and NCO do at the nominal clock.
    rate_hz : float
        Sample rate at the nominal clock, Hz.
    gain_db : float
        Step of the tuner's gain, dB.
    """

    dongle: Dongle
    tuning: Tuning
    rate_hz: float
    gain_db: float

    @cached_property
    def passband(self) -> Passband:
        """Its filters."""
        width_hz = self.rate_hz
        if self.dongle.tuner is TunerKind.LOW_IF:
            width_hz, _ = r82xx_filter(_BANDWIDTH_OF_RATE * self.rate_hz)
        return Passband(if_width_hz=width_hz, rate_hz=self.rate_hz)

    @cached_property
    def paths(self) -> tuple[Path, ...]:
        """The wanted way, and for a low-IF tuner its image, twice the IF above.

        Behind a mixer with its LO above the signal, what is as far above the LO comes to the
        same IF, turned about.
        """
        wanted = Path(center_hz=self.tuning.center_hz, mirrored=False, gain_db=0.0)
        if self.dongle.tuner is TunerKind.ZERO_IF:
            return (wanted,)
        image = Path(
            center_hz=self.tuning.lo_hz + self.tuning.if_hz,
            mirrored=True,
            gain_db=-self.dongle.image_rejection_db,
        )
        return wanted, image

    @property
    def relative_gain_db(self) -> float:
        """Gain over the one at which the scene's levels are stated, dB."""
        return self.gain_db - self.dongle.reference_gain_db

    @cached_property
    def noise_response(self) -> npt.NDArray[np.complex64]:
        """Filter for its thermal noise; see `Passband.noise_response`."""
        return self.passband.noise_response()

    @property
    def noise_rms(self) -> float:
        """Effective value of its noise in the whole band, before the filter."""
        early = 10 ** ((self.dongle.noise_dbfs_per_hz + self.relative_gain_db) / 10)
        late = 10 ** (self.dongle.late_noise_dbfs_per_hz / 10)
        return float(np.sqrt((early + late) * self.rate_hz))

    @cached_property
    def lo_phase_response(self) -> npt.NDArray[np.complex64]:
        """Filter for its LO's phase noise; see `noise.lo_phase_response`."""
        return lo_phase_response(
            self.dongle.phase_noise_dbc_per_hz,
            loop_hz=self.dongle.loop_bandwidth_hz,
            rate_hz=self.rate_hz,
        )

    def heard(self, nominal_hz: float, level_dbfs: float) -> tuple[tuple[Path, float], ...]:
        """The ways by which a line of this level at the reference gain is heard, and how loud.

        The filters weigh it by its nominal frequency: a crystal's error moves it by a few
        kilohertz at most, and no filter changes within that.
        """
        levels = (
            (
                path,
                level_dbfs
                + path.gain_db
                + float(self.passband.gain_db(nominal_hz - path.center_hz))
                + self.relative_gain_db,
            )
            for path in self.paths
        )
        return tuple((path, level) for path, level in levels if level >= UNHEARD_DBFS)

    @property
    def own_lines(self) -> tuple[tuple[float, float], ...]:
        """Frequency by the dongle's own clock, and level at the reference gain, of its spurs
        that may come in by any way."""
        half_hz = RTL_CLOCK_HZ / 2
        numbers = {
            round(path.center_hz / half_hz) + step for path in self.paths for step in (-1, 0, 1)
        }
        return tuple(
            (n * half_hz, self.dongle.half_spur_dbfs if n % 2 else self.dongle.spur_dbfs)
            for n in sorted(numbers)
            if n > 0
        )


def tuner_range_hz(dongle: Dongle, rate_hz: float) -> tuple[float, float]:
    """Lowest and highest centre, Hz."""
    if dongle.tuner is TunerKind.ZERO_IF:
        return _E4000_RANGE_HZ
    return r82xx_range(bandwidth_hz=_BANDWIDTH_OF_RATE * rate_hz)


def tuning_for(dongle: Dongle, request_hz: float, rate_hz: float) -> Tuning:
    """What the tuner makes of a request.

    Raises
    ------
    ValueError
        When it cannot be tuned there.
    """
    if dongle.tuner is TunerKind.LOW_IF:
        return r82xx_tuning(request_hz, bandwidth_hz=_BANDWIDTH_OF_RATE * rate_hz)
    low_hz, high_hz = _E4000_RANGE_HZ
    if not low_hz <= request_hz <= high_hz:
        raise ValueError(
            f"{request_hz / 1e6:.6f} MHz cannot be tuned:"
            f" the range is {low_hz / 1e6:g} ... {high_hz / 1e6:g} MHz"
        )
    return e4000_tuning(request_hz)


def nearest_gain_db(gain_db: float) -> float:
    """The gain step nearest to what was asked, dB."""
    return min(GAINS_DB, key=lambda step_db: abs(step_db - gain_db))
