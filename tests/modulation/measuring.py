"""From samples to a measured carrier, as the pipeline goes, without a source."""

import numpy as np

from sniff.modulation.carrier import measure_carrier
from sniff.modulation.extent import extents
from sniff.modulation.measured import CarrierSettings, MeasuredCarrier, Unmeasured
from sniff.peaks import noise_floor
from sniff.resolution import SpectrumSettings
from sniff.spectrum import estimate
from tests.signals import MemoryTake, block

CENTER_HZ = 100e6


def tried(
    samples: np.ndarray, *, rate_hz: float, settings: CarrierSettings | None = None
) -> MeasuredCarrier | Unmeasured:
    """What comes of the strongest signal."""
    blocks = [
        block(samples[first : first + 65_536], rate_hz=rate_hz, center_hz=CENTER_HZ, index=first)
        for first in range(0, samples.size, 65_536)
    ]
    spectrum = estimate(blocks, SpectrumSettings(segment=4096))
    floor = noise_floor(spectrum)
    signals = extents(spectrum, floor)
    return measure_carrier(
        MemoryTake(parts=tuple(blocks)),
        spectrum=spectrum,
        floor=floor,
        extent=signals[0],
        others=signals[1:],
        peak=None,
        settings=settings or CarrierSettings(),
    )


def measured(
    samples: np.ndarray, *, rate_hz: float, settings: CarrierSettings | None = None
) -> MeasuredCarrier:
    """The same, where it must succeed."""
    found = tried(samples, rate_hz=rate_hz, settings=settings)
    assert isinstance(found, MeasuredCarrier), found
    return found
