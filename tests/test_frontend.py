"""What the instrument makes itself: planted by its cause, recovered by its mark."""

import numpy as np
import pytest

from calib.correction import Correction
from sniff.look import Look
from sniff.model import Mark, SourceInfo
from sniff.pipeline import look
from sniff.resolution import SpectrumSettings
from sniff.survey import LookSettings
from tests.signals import RATE_HZ, eight_bit, noise, take_of, tone

SAMPLES = 200_000


def info(**given: object) -> SourceInfo:
    facts: dict[str, object] = {
        "kind": "recording",
        "name": "test",
        "datatype": "cu8",
        "rail": 1.0,
        "rate_hz": RATE_HZ,
        "centers_hz": (100e6,),
        "duration_s": SAMPLES / RATE_HZ,
        "tunable": False,
    }
    return SourceInfo(**{**facts, **given})  # type: ignore[arg-type]


def seen(samples: np.ndarray, *, center_hz: float = 100e6, **given: object) -> Look:
    return look(
        take_of(samples, center_hz=center_hz),
        info(**given),
        LookSettings(spectrum=SpectrumSettings(segment=1024)),
        Correction(ppm=0.0, u_ppm=0.0, origin="exact"),
    )


def offsets(found: Look, mark: Mark | None, center_hz: float = 100e6) -> list[float]:
    return [
        line.indicated_hz - center_hz
        for line in found.result.peaks
        if (mark in line.marks if mark else not line.marks)
    ]


def test_a_converter_offset_is_marked_as_dc() -> None:
    rng = np.random.default_rng(1)
    samples = tone(SAMPLES, offset_hz=40_000.0) + 0.01 + noise(rng, SAMPLES, power=1e-4)
    found = seen(samples)
    assert offsets(found, Mark.DC) == pytest.approx([0.0], abs=1.0)
    assert offsets(found, None) == pytest.approx([40_000.0], abs=1.0)


def test_an_iq_imbalance_shows_as_an_image() -> None:
    """A gain error g of one arm makes an image of g/2: 1 % gives −46 dB (closed form)."""
    rng = np.random.default_rng(2)
    samples = tone(SAMPLES, offset_hz=-40_000.0)
    samples = samples.real * 1.01 + 1j * samples.imag + noise(rng, SAMPLES, power=1e-6)
    found = seen(samples)
    assert offsets(found, Mark.IMAGE) == pytest.approx([40_000.0], abs=1.0)
    image, line = (
        next(p for p in found.result.peaks if (Mark.IMAGE in p.marks) is kind)
        for kind in (True, False)
    )
    assert line.level_dbfs - image.level_dbfs == pytest.approx(46.1, abs=0.3)


def test_a_line_of_its_own_at_the_mirrored_place_is_not_an_image() -> None:
    rng = np.random.default_rng(3)
    samples = tone(SAMPLES, offset_hz=-40_000.0) + tone(SAMPLES, offset_hz=40_000.0, amplitude=0.2)
    assert not offsets(seen(samples + noise(rng, SAMPLES, power=1e-5)), Mark.IMAGE)


def test_a_multiple_of_the_clock_may_be_the_dongles_own() -> None:
    rng = np.random.default_rng(4)
    samples = tone(SAMPLES, offset_hz=20_000.0) + tone(SAMPLES, offset_hz=-50_000.0)
    samples = samples + noise(rng, SAMPLES, power=1e-5)
    found = seen(samples, center_hz=3 * 28.8e6 - 20_000.0)
    assert offsets(found, Mark.OWN_SPUR, 3 * 28.8e6 - 20_000.0) == pytest.approx([2e4], abs=1.0)


def test_without_a_known_clock_nothing_is_called_its_spur() -> None:
    rng = np.random.default_rng(4)
    samples = tone(SAMPLES, offset_hz=20_000.0) + noise(rng, SAMPLES, power=1e-5)
    found = seen(samples, center_hz=3 * 28.8e6 - 20_000.0, clock_hz=None)
    assert not offsets(found, Mark.OWN_SPUR, 3 * 28.8e6 - 20_000.0)


def test_a_clipped_line_is_cautioned_and_its_folded_harmonics_are_no_signals() -> None:
    """Clipping I and Q alike leaves orders 1 modulo 4: −3, 5, −7, ... (closed form: a quarter
    turn of the input is a quarter turn of the output)."""
    rng = np.random.default_rng(5)
    offset_hz = 37_123.0
    samples = tone(SAMPLES, offset_hz=offset_hz, amplitude=1.6) + noise(rng, SAMPLES, power=1e-4)
    found = seen(eight_bit(samples))
    assert [caution.code for caution in found.cautions] == ["overload"]
    folded = [(order * offset_hz + RATE_HZ / 2) % RATE_HZ - RATE_HZ / 2 for order in (-3, 5, -7, 9)]
    marked = offsets(found, Mark.OVERLOAD)
    for product_hz in folded:
        assert min(abs(place - product_hz) for place in marked) < 400.0
    # Only the line itself is offered as a signal.
    assert offsets(found, None) == pytest.approx([offset_hz], abs=1.0)


def test_a_line_below_the_rails_raises_no_overload() -> None:
    rng = np.random.default_rng(6)
    samples = tone(SAMPLES, offset_hz=37_123.0, amplitude=0.9) + noise(rng, SAMPLES, power=1e-4)
    found = seen(eight_bit(samples))
    assert not found.cautions
    assert not offsets(found, Mark.OVERLOAD)


def test_a_line_in_the_roll_off_is_marked() -> None:
    rng = np.random.default_rng(7)
    samples = tone(SAMPLES, offset_hz=0.45 * RATE_HZ) + noise(rng, SAMPLES, power=1e-4)
    found = seen(samples)
    assert offsets(found, Mark.EDGE) == pytest.approx([0.45 * RATE_HZ], abs=1.0)


@pytest.mark.parametrize(("noise_dbfs", "coarse"), [(-60.0, True), (-46.0, False)])
def test_noise_below_the_converters_steps_is_cautioned(noise_dbfs: float, coarse: bool) -> None:
    """An 8-bit converter's own noise is −49.89 dBFS (CHECKS 9)."""
    rng = np.random.default_rng(8)
    samples = tone(SAMPLES, offset_hz=33_001.0, amplitude=0.05)
    samples = eight_bit(samples + noise(rng, SAMPLES, power=10 ** (noise_dbfs / 10)))
    codes = [caution.code for caution in seen(samples).cautions]
    assert ("coarse" in codes) is coarse


def test_a_finer_converter_is_not_called_coarse() -> None:
    samples = tone(SAMPLES, offset_hz=33_001.0, amplitude=0.05)
    samples = samples + noise(np.random.default_rng(9), SAMPLES, power=1e-6)
    assert not seen(samples, datatype="ci16_le").cautions
