"""From candidates and what stays showed to lines: each once, and rightly called gone."""

from dataclasses import replace

import numpy as np
import pytest

from sniff.model import Mark, Peak
from sniff.sweep.candidates import Candidate, find_candidates
from sniff.sweep.folding import Folding, marked_images
from sniff.sweep.stays import Visit, lines_of
from sniff.sweep.stitch import Stitched
from sniff.sweep.swept import Stay, SweptLine
from sniff.tuning import Window as Searched
from sniff.windows import Window
from tests.sweep.conftest import EXACT

RBW_HZ = 10e3


def candidate(hz: float, *, run: int, level: float = -50.0, ratio: float = np.inf) -> Candidate:
    return Candidate(
        indicated_hz=hz,
        rbw_hz=RBW_HZ,
        window=Searched(low_hz=hz - 1.5 * RBW_HZ, high_hz=hz + 1.5 * RBW_HZ),
        run=run,
        valley_ratio=ratio,
        level_dbfs=level,
        snr_db=20.0,
        hops=2,
        once=False,
        strongest_hz=100e6,
    )


def peak(hz: float, level: float = -50.0, *marks: Mark) -> Peak:
    return Peak(
        indicated_hz=hz,
        u_indicated_hz=0.1,
        level_dbfs=level,
        snr_db=30.0,
        width_hz=0.0,
        marks=marks,
    )


def visit(numbers: tuple[int, ...], *peaks: Peak, would_see: float = -90.0) -> Visit:
    return Visit(
        numbers=numbers,
        would_see_dbfs=(would_see,) * len(numbers),
        peaks=peaks,
        seconds=0.25,
    )


def test_two_stays_that_show_one_line_give_one() -> None:
    candidates = [candidate(100.000e6, run=0), candidate(100.012e6, run=1, level=-60.0)]
    seen = peak(100.004e6)
    (line,) = lines_of(candidates, [visit((0,), seen), visit((1,), seen)], EXACT)
    assert line.frequency_hz == 100.004e6


def test_the_ripple_of_one_signal_is_one_line() -> None:
    """Three summits in one run; the stay, finer, showed one signal."""
    candidates = [
        candidate(100.00e6, run=4),
        candidate(100.04e6, run=4, level=-53.0, ratio=4.0),
        candidate(100.08e6, run=4, level=-55.0, ratio=4.0),
    ]
    (line,) = lines_of(candidates, [visit((0, 1, 2), peak(100.001e6))], EXACT)
    assert line.stay is Stay.REFINED
    (line,) = lines_of(candidates, [], EXACT)
    assert line.stay is Stay.NONE


def test_the_shoulder_of_a_neighbour_is_not_a_line_that_is_gone() -> None:
    candidates = [candidate(100.000e6, run=0), candidate(100.009e6, run=1, level=-70.0)]
    (line,) = lines_of(candidates, [visit((0, 1), peak(99.9985e6))], EXACT)
    assert line.stay is Stay.REFINED


def test_gone_is_only_what_would_have_been_seen() -> None:
    alone = [candidate(100e6, run=0, level=-80.0)]
    for would_see, state in ((-85.0, Stay.GONE), (-75.0, Stay.TOO_WEAK)):
        (line,) = lines_of(alone, [visit((0,), would_see=would_see)], EXACT)
        assert line.stay is state
        assert line.u_indicated_hz == pytest.approx(RBW_HZ / np.sqrt(3.0))


def test_a_signal_is_taken_before_what_the_front_end_made() -> None:
    made, real = peak(100.001e6, -40.0, Mark.IMAGE), peak(99.998e6, -45.0)
    (line,) = lines_of([candidate(100e6, run=0)], [visit((0,), made, real)], EXACT)
    assert line.frequency_hz == 99.998e6
    assert line.beside == 1


FOLDING = Folding(
    centers_hz=(90e6, 90.9e6),
    rate_hz=2.4e6,
    half_hz=0.96e6,
    image_offset_hz=3.2e6,
    reach_hz=1e3,
)


@pytest.mark.parametrize(
    ("line_hz", "at_hz", "shown"),
    [
        # Beyond the edge it folds in by the rate: 91.3 MHz heard at 88.9 MHz, and back.
        (91.3e6, 88.9e6, True),
        (88.9e6, 91.3e6, True),
        # About the centre 90 MHz, and about 90.9 MHz.
        (90.3e6, 89.7e6, True),
        (91.2e6, 90.6e6, True),
        # A low-IF tuner at 90 MHz hears 2 (90 + 1.6) - 90.5 = 92.7 MHz at 90.5 MHz.
        (92.7e6, 90.5e6, True),
        (92.8e6, 90.5e6, False),
        (90.3e6, 89.6e6, False),
        # The mirror about 90 MHz lies outside what counts of that hop.
        (91.1e6, 88.9e6, False),
    ],
)
def test_what_a_strong_line_leaves_elsewhere(line_hz: float, at_hz: float, shown: bool) -> None:
    assert FOLDING.shows(line_hz, at_hz) is shown


def test_only_what_is_gone_and_weaker_is_an_image() -> None:
    candidates = [candidate(91.3e6, run=0, level=-40.0), candidate(88.9e6, run=1, level=-60.0)]
    strong, weak = lines_of(candidates, [visit((0, 1), peak(91.3e6, -40.0))], EXACT)
    assert [line.marks for line in marked_images([strong, weak], FOLDING)] == [(), (Mark.IMAGE,)]
    # The mirror of I and Q moves with the tuning: what is there at another one is a line.
    there = replace(weak, stay=Stay.REFINED, indicated_hz=88.7e6, u_indicated_hz=1.0)
    assert [line.marks for line in marked_images([strong, there], FOLDING)] == [(), ()]
    as_strong = replace(weak, level_dbfs=-42.0)
    assert [line.marks for line in marked_images([strong, as_strong], FOLDING)] == [(), ()]
    assert isinstance(strong, SweptLine)


@pytest.mark.parametrize(
    ("off_hz", "marks"), [(0.0, (Mark.IMAGE,)), (3.0, (Mark.IMAGE,)), (90.0, ())]
)
def test_what_folds_in_is_there_at_every_tuning_but_to_the_hertz_at_the_rates_distance(
    off_hz: float, marks: tuple[Mark, ...]
) -> None:
    """91.3 MHz sampled at 2.4 MS/s is the same sequence as 88.9 MHz: e^(2 pi i n) = 1."""
    candidates = [candidate(91.3e6, run=0, level=-40.0), candidate(88.9e6, run=1, level=-60.0)]
    strong, weak = lines_of(candidates, [visit((0, 1), peak(91.3e6, -40.0))], EXACT)
    folded = replace(
        weak,
        stay=Stay.REFINED,
        indicated_hz=strong.indicated_hz - 2.4e6 + off_hz,
        u_indicated_hz=0.1,
    )
    assert [line.marks for line in marked_images([strong, folded], FOLDING)] == [(), marks]
    assert folded.is_signal
    assert marked_images([strong, folded], FOLDING)[1].is_signal is not bool(marks)


def stitched_of(psd: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Stitched:
    return Stitched(
        first_bin=9_000,
        bin_hz=6_666.0,
        psd=psd,
        max_hold=None,
        hop_low=psd.astype(np.float32),
        hop_high=psd.astype(np.float32),
        hops=np.full(psd.size, 2, dtype=np.uint8),
        centers_hz=(100e6,),
        strongest=np.zeros(psd.size, dtype=np.int32),
        interpolated=np.zeros(psd.size, dtype=bool),
        window=Window.HANN,
        averages=200,
        most_averages=400,
        effective_averages=200.0,
    )


def uneven(points: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Noise with a rise of 8 dB over 90 MHz in its middle, as of a tuner's gain."""
    rng = np.random.default_rng(6)
    place = (np.arange(points) - points / 2) / (90e6 / 6_666.0)
    return 10.0 ** (-10.0 + 0.8 * np.exp(-4.0 * place**2)) * rng.gamma(200.0, 1 / 200.0, points)


def test_a_tuners_uneven_gain_over_a_wide_sweep_is_no_signal() -> None:
    found = find_candidates(stitched_of(uneven(60_000)), false_alarm_rate=1e-3)
    assert found.candidates == ()
    truth_db = 10.0 * np.log10(found.noise / uneven(60_000))
    assert np.abs(np.convolve(truth_db, np.full(400, 1 / 400), mode="valid")).max() < 0.3


def test_lines_and_a_wide_signal_at_the_borders_of_parts_are_found() -> None:
    psd = uneven(60_000)
    for at in (12_288, 20_479, 28_672):
        psd[at] *= 20.0
    psd[36_000:36_400] *= 10.0  # 2.7 MHz wide
    found = find_candidates(stitched_of(psd), false_alarm_rate=1e-3)
    bins = sorted({round(one.indicated_hz / 6_666.0) - 9_000 for one in found.candidates})
    assert [at for at in bins if at < 30_000] == [12_288, 20_479, 28_672]
    assert any(36_000 <= at < 36_400 for at in bins)
