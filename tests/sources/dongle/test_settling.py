"""Settled or not, on synthetic samples."""

import numpy as np
import numpy.typing as npt
import pytest

from sniff.sources.dongle.settling import Settling, SettlingRule

_RATE_HZ = 2.4e6
_RULE = SettlingRule()


def _bytes(frequency_hz: npt.NDArray[np.float64], amplitude: npt.NDArray[np.float64]) -> np.ndarray:
    """A tone of changing frequency and amplitude in noise, as the dongle codes it."""
    noise = np.random.default_rng(3).normal(0, 0.01, (2, frequency_hz.size))
    phase = 2 * np.pi * np.cumsum(frequency_hz) / _RATE_HZ
    samples = amplitude * np.exp(1j * phase) + noise[0] + 1j * noise[1]
    parts = np.stack((samples.real, samples.imag), axis=1).ravel()
    return np.clip(np.rint(127.5 + 127.5 * parts), 0, 255).astype(np.uint8)


def _settled_s(native: np.ndarray, chunk: int = 8192) -> float:
    """Time of the first sample that is handed on, s."""
    settling = Settling(_RATE_HZ)
    for end in range(chunk, native.size // 2 + 1, chunk):
        settled = settling.push(native[2 * (end - chunk) : 2 * end])
        if settled is not None:
            return (end - settled) / _RATE_HZ
    raise AssertionError("never")


_T = np.arange(round(0.1 * _RATE_HZ)) / _RATE_HZ


@pytest.mark.parametrize("amplitude", [0.0, 0.4])
def test_what_is_steady_from_the_start_is_held_for_the_least_time_only(amplitude: float) -> None:
    native = _bytes(np.full(_T.size, 123e3), np.full(_T.size, amplitude))
    assert _settled_s(native) == pytest.approx(_RULE.least_s, abs=2e-3)


@pytest.mark.parametrize("chunk", [256, 8192, 100_000])
def test_a_synthesizer_that_still_slides_is_waited_for(chunk: int) -> None:
    slide_s = 15e-3
    native = _bytes(123e3 + 600e3 * np.exp(-_T / slide_s), np.full(_T.size, 0.4))
    settled_s = _settled_s(native, chunk)
    # From the first agreeing window to the last the frequency moves by less than the rule's
    # 0.05 rad per sample, and a little for the noise.
    span_s = (_RULE.windows - 1) * _RULE.window_s
    first_hz = 600e3 * np.exp(-settled_s / slide_s)
    moved_hz = first_hz * (1 - np.exp(-span_s / slide_s))
    assert moved_hz < 1.15 * _RULE.turn * _RATE_HZ / (2 * np.pi)
    assert 15e-3 < settled_s < 50e-3


def test_a_level_that_still_rises_is_waited_for() -> None:
    native = _bytes(np.full(_T.size, -300e3), np.minimum(0.4, 0.4 * _T / 30e-3))
    assert 20e-3 < _settled_s(native) < 32e-3


def test_a_signal_that_never_rests_is_taken_as_it_is_after_the_longest_time() -> None:
    bursts = np.where((_T / 1.5e-3).astype(int) % 2 == 0, 0.4, 0.02)
    native = _bytes(np.full(_T.size, 200e3), bursts)
    assert _settled_s(native) == pytest.approx(_RULE.most_s, abs=5e-3)


def test_all_samples_alike_are_settled_too() -> None:
    assert _settled_s(np.full(2 * _T.size, 128, dtype=np.uint8)) == pytest.approx(
        _RULE.least_s, abs=2e-3
    )
