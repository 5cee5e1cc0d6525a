"""Thresholds: closed forms of noise alone, a plain Monte Carlo, and importance sampling."""

from math import exp, log

import numpy as np
import pytest

from sniff.watch.presence import GONE_BELOW, THERE_ABOVE
from sniff.watch.thresholds import (
    false_per_hour,
    line_below,
    noise_above,
    thresholds,
)
from tests.values.watch import FALSE_PER_HOUR

FRAMES = 2
PER_S = 4_000.0


def hann_frames(samples: np.ndarray, hop: int) -> np.ndarray:
    """Sums under Hann windows of two hops, a hop apart, along the last axis."""
    n = np.arange(2 * hop) + 0.5
    window = (0.5 - 0.5 * np.cos(np.pi * n / hop)) / hop
    rows = samples.reshape(*samples.shape[:-1], -1, hop)
    return rows[..., :-1, :] @ window[:hop] + rows[..., 1:, :] @ window[hop:]


def test_noise_alone_follows_the_closed_form_of_two_frames() -> None:
    """The mean of two exponentials, its noise taken as 4/3 for the frames' correlation."""
    x = 2.0 * (0.4 * 10.0 + 1.0) / (4.0 / 3.0)
    assert noise_above(0.4, snr=10.0, frames=2) == pytest.approx((1.0 + x) * exp(-x), rel=1e-9)


@pytest.mark.parametrize("snr_db", [9.0, 11.0])
def test_what_hann_frames_really_do_stays_below_the_bound(snr_db: float) -> None:
    """Plain Monte Carlo of overlapping frames, where false decisions are frequent enough."""
    rng = np.random.default_rng(round(10 * snr_db))
    hop, decisions = 8, 400_000
    noise = rng.standard_normal((hop * (decisions + 2), 2)).view(np.complex128)[:, 0]
    frames = hann_frames(noise, hop)
    frames /= np.sqrt(np.mean(np.abs(frames) ** 2))
    snr = 10.0 ** (snr_db / 10.0)
    power = np.abs(np.sqrt(snr) + frames) ** 2
    mean = (power[1:] + power[:-1]) / 2.0 - 1.0
    share = float((mean < GONE_BELOW * snr).mean())
    bound = line_below(GONE_BELOW, snr=snr, frames=FRAMES)
    assert 0.02 * bound < share <= bound


def test_importance_sampling_finds_far_less_than_one_false_dropout_in_24_h_at_20_db() -> None:
    """The noise is drawn about the point at which both frames just sink to the threshold, and each
    draw weighed by how much rarer it really is: ``exp(-(2 Re(μ̄ n) - |μ|²) ...)`` for complex noise
    whose two frames are correlated by 1/6, as two Hann windows half-way over each other are."""
    rng = np.random.default_rng(7)
    snr, draws = 100.0, 200_000
    covariance = np.array([[1.0, 1.0 / 6.0], [1.0 / 6.0, 1.0]])
    root, inverse = np.linalg.cholesky(covariance), np.linalg.inv(covariance)
    level = np.sqrt(snr)
    shift = np.full(2, -(1.0 - np.sqrt(GONE_BELOW)) * level)
    white = rng.standard_normal((draws, 2, 2)).view(np.complex128)[:, :, 0] / np.sqrt(2.0)
    noise = white @ root.T + shift
    # Density of complex Gaussian noise: exp(-n^H C^-1 n); the ratio of unshifted to shifted.
    log_weight = -2.0 * (noise @ inverse @ shift).real + float(shift @ inverse @ shift)
    power = np.mean(np.abs(level + noise) ** 2, axis=1) - 1.0
    chances = np.where(power < GONE_BELOW * snr, np.exp(log_weight), 0.0)
    chance, error = float(chances.mean()), float(chances.std() / np.sqrt(draws))
    assert error < 0.1 * chance
    assert log(chance) < log(line_below(GONE_BELOW, snr=snr, frames=FRAMES))
    assert 3600.0 * PER_S * chance < FALSE_PER_HOUR * 1e-6


def test_a_line_at_20_db_gets_the_full_thresholds() -> None:
    found = thresholds(100.0, frames=FRAMES, decisions_per_s=PER_S)
    assert found is not None
    assert found.gone_below == GONE_BELOW
    assert found.there_above == THERE_ABOVE
    assert found.false_per_hour < FALSE_PER_HOUR


def test_a_weaker_line_gets_lower_thresholds_and_keeps_the_false_rate() -> None:
    found = thresholds(10**1.5, frames=FRAMES, decisions_per_s=PER_S)
    assert found is not None
    assert found.gone_below < GONE_BELOW
    assert found.false_per_hour <= FALSE_PER_HOUR


def test_a_line_that_noise_would_make_come_and_go_gets_none() -> None:
    assert thresholds(10.0, frames=FRAMES, decisions_per_s=PER_S) is None


def test_more_frames_make_a_weak_line_possible() -> None:
    assert thresholds(10.0, frames=16, decisions_per_s=PER_S) is not None


def test_the_false_rate_grows_with_the_decisions() -> None:
    once = false_per_hour(20.0, gone_below=0.2, frames=2, decisions_per_s=1_000.0)
    assert false_per_hour(20.0, gone_below=0.2, frames=2, decisions_per_s=4_000.0) == (
        pytest.approx(4.0 * once)
    )
