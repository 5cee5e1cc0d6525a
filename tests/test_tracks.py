"""Tracks: birth, misses, death, drift, and two that cross; planted, then recovered."""

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.correction import Correction
from sniff.model import Peak
from sniff.pipeline import look
from sniff.resolution import SpectrumSettings
from sniff.survey import LookSettings
from sniff.tracks import Track, follow
from tests.signals import CENTER_HZ, noise, take_of, tone
from tests.test_frontend import info

RBW_HZ = 100.0


def peak(hz: float, level_dbfs: float = -40.0, u_hz: float = 1.0) -> Peak:
    return Peak(
        indicated_hz=hz, u_indicated_hz=u_hz, level_dbfs=level_dbfs, snr_db=30.0, width_hz=0.0
    )


def run(*spectra: list[Peak], misses_allowed: int = 3) -> tuple[Track, ...]:
    tracks: tuple[Track, ...] = ()
    for second, peaks in enumerate(spectra):
        tracks = follow(
            tracks, peaks, time_s=float(second), rbw_hz=RBW_HZ, misses_allowed=misses_allowed
        )
    return tracks


def test_a_line_seen_again_is_one_track_and_another_is_born() -> None:
    first, second = run([peak(1e6)], [peak(1e6 + 3)], [peak(1e6 - 2), peak(2e6)])
    assert [p.indicated_hz for p in first.peaks] == [1e6, 1e6 + 3, 1e6 - 2]
    assert (second.number, second.born_s) == (1, 2.0)


def test_a_line_missed_for_a_while_goes_on_and_its_misses_are_counted() -> None:
    (track,) = run([peak(1e6)], [], [], [peak(1e6)])
    assert len(track.peaks) == 2
    assert (track.misses, track.missed, track.dead) == (0, 2, False)


def test_a_line_missed_too_often_is_dead_and_a_later_one_is_new() -> None:
    old, new = run([peak(1e6)], [], [], [peak(1e6)], misses_allowed=1)
    assert old.dead
    assert len(old.peaks) == 1
    assert new.born_s == 3.0


def test_a_line_missed_as_often_as_allowed_still_lives() -> None:
    (track,) = run([peak(1e6)], [], [], [peak(1e6)], misses_allowed=2)
    assert not track.dead
    assert len(track.peaks) == 2


def test_a_line_does_not_jump() -> None:
    """Steady for five spectra, then five RBW away: another line."""
    old, new = run(*[[peak(1e6)]] * 5, [peak(1e6 + 5 * RBW_HZ)])
    assert (old.misses, new.born_s) == (1, 5.0)


def test_unobserved_time_is_no_miss() -> None:
    tracks = follow((), [peak(1e6)], time_s=0.0, rbw_hz=RBW_HZ)
    tracks = follow(tracks, [peak(1e6)], time_s=500.0, rbw_hz=RBW_HZ)
    assert len(tracks) == 1
    assert tracks[0].missed == 0


def test_a_drifting_line_is_taken_up_after_unobserved_time() -> None:
    """The drift is known to its u only, and that grows with the time it is carried on."""
    rng = np.random.default_rng(4)
    for _ in range(50):
        tracks: tuple[Track, ...] = ()
        for t in (*range(5), 60):
            seen = peak(1e6 + 8.0 * t + rng.normal() * 10.0, u_hz=10.0)
            tracks = follow(tracks, [seen], time_s=float(t), rbw_hz=RBW_HZ)
        assert [len(track.peaks) for track in tracks] == [6]


@settings(max_examples=30)
@given(st.integers(3, 15), st.integers(0, 2**32 - 1))
def test_drift_is_scipys_weighted_straight_line(n: int, seed: int) -> None:
    """`curve_fit` with absolute and with fitted sigma; the larger u is ours (Birge, floor 1)."""
    rng = np.random.default_rng(seed)
    t = np.arange(float(n))
    u_hz = rng.uniform(1.0, 6.0, n)
    hz = 1e6 - 7.0 * t + rng.normal(size=n) * u_hz * rng.uniform(0.3, 3.0)
    peaks = tuple(peak(f, u_hz=u) for f, u in zip(hz, u_hz, strict=True))
    track = Track(number=0, times_s=tuple(t), peaks=peaks)

    def straight(t: np.ndarray, slope: float, start: float) -> np.ndarray:
        return start + slope * t

    fits = [
        scipy.optimize.curve_fit(straight, t, hz - 1e6, (0.0, 0.0), u_hz, absolute_sigma=absolute)
        for absolute in (True, False)
    ]
    assert track.drift is not None
    assert track.drift.hz_per_s == pytest.approx(fits[0][0][0], rel=1e-4, abs=1e-4)
    widest = max(np.sqrt(covariance[0, 0]) for _, covariance in fits)
    assert track.drift.u_hz_per_s == pytest.approx(widest, rel=1e-4)


def test_drift_is_recovered_within_its_uncertainty_in_95_of_100() -> None:
    """±2u of a weighted straight line covers 95 % (GUM G.1)."""
    rng = np.random.default_rng(1)
    right = 0
    for _ in range(200):
        slope = rng.uniform(-20, 20)
        spectra = [[peak(1e6 + slope * t + rng.normal() * 2.0, u_hz=2.0)] for t in range(12)]
        (track,) = run(*spectra)
        drift = track.drift
        assert drift is not None
        right += abs(drift.hz_per_s - slope) <= 2 * drift.u_hz_per_s
    assert 0.91 <= right / 200 <= 1.0


def test_scatter_beyond_the_stated_u_widens_the_drifts_u() -> None:
    rng = np.random.default_rng(2)
    spectra = [[peak(1e6 + rng.normal() * 5.0, u_hz=1.0)] for _ in range(12)]
    (track,) = run(*spectra)
    assert track.drift is not None
    assert track.drift.u_hz_per_s > 3.0 / np.sqrt(143)


def test_two_peaks_tell_no_drift() -> None:
    (track,) = run([peak(1e6)], [peak(1e6 + 5)])
    assert track.drift is None


@pytest.mark.parametrize("levels", [(-40.0, -40.0), (-40.0, -60.0)])
@pytest.mark.parametrize("merged", [False, True])
def test_two_lines_that_cross_keep_their_identity(
    levels: tuple[float, float], merged: bool
) -> None:
    """Up at +70 Hz/s and down at −70 Hz/s, crossing at 10 s; merged: one peak while close."""
    spectra = []
    for t in range(20):
        up, down = 1e6 + 70.0 * (t - 10.2), 1e6 - 70.0 * (t - 10.2)
        both = [peak(up, levels[0]), peak(down, levels[1])]
        close = merged and abs(up - down) < 150.0
        spectra.append(
            [peak(1e6, max(levels))] if close else sorted(both, key=lambda p: p.indicated_hz)
        )
    tracks = run(*spectra)
    assert len(tracks) == 2
    slopes = sorted(track.drift.hz_per_s for track in tracks if track.drift is not None)
    assert slopes == pytest.approx([-70.0, 70.0], abs=5.0)


def test_where_two_lines_cross_the_level_tells_them_apart() -> None:
    """Just before they cross, noise puts each on the other's side."""
    spectra = []
    for t in range(21):
        shift = 16.0 if t == 10 else 0.0
        up, down = 1e6 + 40.0 * (t - 10.1) + shift, 1e6 - 40.0 * (t - 10.1) - shift
        spectra.append([peak(down, -60.0, u_hz=8.0), peak(up, -40.0, u_hz=8.0)])
    for track in run(*spectra):
        assert len({p.level_dbfs for p in track.peaks}) == 1


def test_a_line_hidden_under_a_stronger_one_is_not_missed() -> None:
    """A weak line creeps past a strong one at 10 Hz/s: for 30 s the two are one peak."""
    spectra = []
    for t in range(80):
        weak_hz = 10.0 * (t - 40)
        lines = [peak(1e6, -40.0)]
        if abs(weak_hz) >= 150.0:
            lines.append(peak(1e6 + weak_hz, -60.0))
        spectra.append(lines)
    strong, weak = run(*spectra)
    assert len(strong.peaks) == 80
    assert weak.missed == 0
    assert (weak.times_s[0], weak.times_s[-1], len(weak.peaks)) == (0.0, 79.0, 51)


def test_a_weaker_line_nearby_hides_nothing() -> None:
    spectra = [[peak(1e6, -40.0), peak(1e6 + 250.0, -70.0)]] * 5
    spectra += [[peak(1e6 + 190.0, -70.0)]] * 2
    strong = run(*spectra)[0]
    assert strong.misses == 2


def test_a_stronger_line_five_rbw_away_hides_nothing() -> None:
    spectra = [[peak(1e6, -40.0), peak(1e6 + 5 * RBW_HZ, -70.0)]] * 5
    spectra += [[peak(1e6, -40.0)]] * 2
    assert [track.misses for track in run(*spectra)] == [0, 2]


def test_time_does_not_run_backwards() -> None:
    tracks = run([peak(1e6)])
    with pytest.raises(ValueError, match="not later"):
        follow(tracks, [peak(1e6)], time_s=0.0, rbw_hz=RBW_HZ)


@settings(max_examples=60)
@given(st.lists(st.lists(st.floats(0, 1e5), max_size=6), max_size=8))
def test_every_peak_belongs_to_exactly_one_track(spectra: list[list[float]]) -> None:
    tracks = run(*[[peak(1e6 + hz) for hz in sorted(set(places))] for places in spectra])
    held = sorted(
        (t, p.indicated_hz)
        for track in tracks
        for t, p in zip(track.times_s, track.peaks, strict=True)
    )
    given_ = sorted((float(t), 1e6 + hz) for t, places in enumerate(spectra) for hz in set(places))
    assert held == given_
    assert [track.number for track in tracks] == list(range(len(tracks)))


def test_through_real_spectra_a_drifting_and_a_steady_line_are_two_tracks() -> None:
    rng = np.random.default_rng(3)
    samples = 40_000
    exact = Correction(ppm=0.0, u_ppm=0.0, origin="exact")
    asked = LookSettings(spectrum=SpectrumSettings(segment=1024))
    tracks: tuple[Track, ...] = ()
    for second in range(10):
        drifting_hz = -40_000.0 + 90.0 * second
        both = tone(samples, offset_hz=drifting_hz, phase=rng.uniform(0, 7))
        both = both + tone(samples, offset_hz=30_000.0, amplitude=0.1, phase=rng.uniform(0, 7))
        seen = look(take_of(both + noise(rng, samples, power=1e-3)), info(), asked, exact)
        peaks = [
            peak(line.indicated_hz, line.level_dbfs, line.u_indicated_hz)
            for line in seen.result.peaks
        ]
        tracks = follow(tracks, peaks, time_s=float(second), rbw_hz=seen.result.rbw_hz)
    drifting, steady = tracks
    assert drifting.drift is not None
    assert steady.drift is not None
    assert drifting.drift.hz_per_s == pytest.approx(90.0, abs=4 * drifting.drift.u_hz_per_s)
    assert abs(steady.drift.hz_per_s) < 4 * steady.drift.u_hz_per_s
    assert drifting.latest.indicated_hz == pytest.approx(CENTER_HZ - 40_000 + 810, abs=0.1)
