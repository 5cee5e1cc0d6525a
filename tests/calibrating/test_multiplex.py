"""A multiplex heard by an instrument that can be tuned: where it tunes, and how sure it is."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from calib.references import KINDS, Reference, reference_of
from sniff.calibrating.multiplex import measure_multiplex
from sniff.errors import SourceError
from sniff.model import IQBlock, SourceInfo
from sniff.multiplex.systems import SYSTEMS
from tests.multiplex.ofdm import dab, dvbt, heard
from tests.signals import MemoryTake, take_of
from tests.values import references as published

RATE_HZ = 2.4e6
CLOCK_PPM = -47.3


class OnTheAir:
    """A tuner with a fast or slow clock under a DAB block or a DVB-T channel."""

    def __init__(self, reference: Reference, *, u_center_hz: float = 0.0) -> None:
        self.reference = reference
        self.tuned_hz: list[float] = []
        self.info = SourceInfo(
            kind="dongle",
            name="dongle",
            datatype="cf32_le",
            rail=8.0,
            rate_hz=RATE_HZ,
            centers_hz=(100e6,),
            duration_s=None,
            tunable=True,
            range_hz=(24e6, 1766e6),
            u_center_hz=u_center_hz,
        )

    def tune(self, center_hz: float) -> float:
        self.tuned_hz.append(center_hz)
        self.info = replace(self.info, centers_hz=(center_hz,))
        return center_hz

    def set_gain(self, gain_db: float | None) -> float | None:
        return gain_db

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        return self.take(seconds=seconds, start_s=start_s).blocks()

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> MemoryTake:
        assert seconds is not None
        rng = np.random.default_rng(8)
        (center_hz,) = self.info.centers_hz
        off_hz = center_hz - self.reference.nominal_hz
        view_hz = (off_hz - RATE_HZ / 2, off_hz + RATE_HZ / 2)
        if self.reference.system == "dab":
            sent = dab(rng, seconds=seconds, view_hz=view_hz)
        else:
            sent = dvbt(
                rng,
                seconds=seconds,
                mode=2,
                guard_part=8,
                pilots=SYSTEMS["dvbt8"][1].pilots,
                view_hz=view_hz,
            )
        samples = heard(
            sent,
            rng,
            seconds=seconds,
            channel_hz=self.reference.nominal_hz,
            center_hz=center_hz,
            rate_hz=RATE_HZ,
            ppm=CLOCK_PPM,
            snr_db=15.0,
            echo=(0.2 * sent.guard_s, 0.3 + 0.3j),
        )
        return take_of(samples, rate_hz=RATE_HZ, center_hz=center_hz)

    def close(self) -> None:
        pass


BLOCK = reference_of(KINDS["dab"], published.DAB_MHZ["11A"] * 1e6, channel="11A")
CHANNEL = reference_of(KINDS["dvbt8"], published.DVBT_MHZ["21"] * 1e6, channel="21")


@pytest.mark.parametrize(("reference", "seconds"), [(BLOCK, 1.0), (CHANNEL, 0.3)])
def test_one_tuning_tells_the_clock_to_0_02_ppm(reference: Reference, seconds: float) -> None:
    """The block fits into the span; of the channel's 7.6 MHz a quarter is in view."""
    source = OnTheAir(reference)
    measured = measure_multiplex(source, reference, seconds=seconds, start_s=0.0)
    (point,) = measured.ways
    assert point.ppm == pytest.approx(CLOCK_PPM, abs=0.02)
    assert measured.cautions == ()
    (center_hz,) = source.tuned_hz
    # A block of 1.536 MHz lies wholly in the usable 1.92 MHz.
    assert abs(center_hz - reference.nominal_hz) < 0.4 * RATE_HZ - 768e3


def test_a_doubt_about_the_tuners_centre_is_in_u() -> None:
    source = OnTheAir(CHANNEL, u_center_hz=40.0)
    (point,) = measure_multiplex(source, CHANNEL, seconds=0.3, start_s=0.0).ways
    assert point.u_indicated_hz == pytest.approx(40.0, rel=0.01)
    assert point.ppm == pytest.approx(CLOCK_PPM, abs=0.02)


def test_what_the_tuner_cannot_reach_is_said() -> None:
    source = OnTheAir(replace(CHANNEL, nominal_hz=2.2e9))
    with pytest.raises(SourceError, match="outside what dongle can show"):
        measure_multiplex(source, source.reference, seconds=0.3, start_s=0.0)
    assert source.tuned_hz == []
