"""A multiplex tells the clock: on synthetic ones, built from the published parameters by cause."""

import numpy as np
import numpy.typing as npt
import pytest

from sniff.multiplex.estimate import MultiplexEstimate, estimate_multiplex
from sniff.multiplex.recognize import Recognized, Silence, recognize
from sniff.multiplex.systems import SYSTEMS
from tests.multiplex.ofdm import dab, dvbt, heard
from tests.signals import MemoryTake, block, noise, take_of, tone

DAB_HZ, DVBT_HZ = 227.36e6, 618e6
RATE_HZ = 2.4e6
# Two thirds of a DAB block, with its empty middle: enough where the whole is not the point.
PART_HZ = 1.024e6
Samples = npt.NDArray[np.complex64]


def dab_samples(
    ppm: float,
    *,
    rate_hz: float = RATE_HZ,
    center_hz: float = DAB_HZ - 130e3,
    snr_db: float = 15.0,
    seconds: float = 1.1,
    echo: tuple[float, complex] | None = None,
) -> Samples:
    rng = np.random.default_rng(5)
    middle_hz = center_hz - DAB_HZ
    view_hz = (middle_hz - 0.48 * rate_hz, middle_hz + 0.48 * rate_hz)
    return heard(
        dab(rng, seconds=seconds, view_hz=view_hz),
        rng,
        seconds=seconds,
        channel_hz=DAB_HZ,
        center_hz=center_hz,
        rate_hz=rate_hz,
        ppm=ppm,
        snr_db=snr_db,
        echo=echo,
    )


def dvbt_samples(
    ppm: float,
    *,
    mode: int,
    guard_part: int,
    rate_hz: float = RATE_HZ,
    center_hz: float = DVBT_HZ + 48e3,
    seconds: float = 0.4,
) -> Samples:
    rng = np.random.default_rng(6)
    system = SYSTEMS["dvbt8"][{8: 0, 2: 1}[mode]]
    middle_hz = center_hz - DVBT_HZ
    sent = dvbt(
        rng,
        seconds=seconds,
        mode=mode,
        guard_part=guard_part,
        pilots=system.pilots,
        view_hz=(middle_hz - 0.48 * rate_hz, middle_hz + 0.48 * rate_hz),
    )
    return heard(
        sent,
        rng,
        seconds=seconds,
        channel_hz=DVBT_HZ,
        center_hz=center_hz,
        rate_hz=rate_hz,
        ppm=ppm,
        snr_db=15.0,
    )


def measured(
    take: MemoryTake, system: str, *, nominal_hz: float, usable_fraction: float = 0.8
) -> MultiplexEstimate:
    found = estimate_multiplex(
        take, SYSTEMS[system], nominal_hz=nominal_hz, usable_fraction=usable_fraction
    )
    assert isinstance(found, MultiplexEstimate)
    return found


def clock_ppm(found: MultiplexEstimate) -> float:
    (candidate,) = found.candidates
    return candidate.clock_ppm


@pytest.mark.parametrize(
    ("ppm", "rate_hz", "center_hz"),
    [(-43.7, 2.048e6, DAB_HZ - 20e3), (57.3, RATE_HZ, DAB_HZ + 170e3), (3.1, RATE_HZ, DAB_HZ)],
)
def test_dab_tells_the_clock_to_0_02_ppm(ppm: float, rate_hz: float, center_hz: float) -> None:
    take = take_of(
        dab_samples(ppm, rate_hz=rate_hz, center_hz=center_hz),
        rate_hz=rate_hz,
        center_hz=center_hz,
    )
    found = measured(take, "dab", nominal_hz=DAB_HZ)
    error_ppm = clock_ppm(found) - ppm
    assert abs(error_ppm) < 0.02
    assert abs(error_ppm) < 3.0 * found.u_hz / DAB_HZ * 1e6
    assert found.u_hz / DAB_HZ * 1e6 < 0.01
    # Where it is indicated and the clock's error say the same.
    indicated_hz = found.candidates[0].indicated_hz
    assert indicated_hz * (1.0 + clock_ppm(found) * 1e-6) == pytest.approx(DAB_HZ, abs=1e-3)
    assert abs(found.sampler_ppm - ppm) < 3.0 * found.u_sampler_ppm
    assert found.steady


@pytest.mark.parametrize(
    ("mode", "guard_part", "ppm"), [(2, 32, -58.9), (2, 4, 12.3), (8, 8, 57.3), (8, 32, -9.4)]
)
def test_dvbt_tells_the_clock_to_0_02_ppm(mode: int, guard_part: int, ppm: float) -> None:
    """A quarter of the channel is in view: mode, guard and carriers are found from that."""
    take = take_of(
        dvbt_samples(ppm, mode=mode, guard_part=guard_part),
        rate_hz=RATE_HZ,
        center_hz=DVBT_HZ + 48e3,
    )
    found = measured(take, "dvbt8", nominal_hz=DVBT_HZ)
    assert found.system == f"DVB-T {mode}k in 8 MHz"
    assert found.guard_share == pytest.approx(1.0 / guard_part)
    error_ppm = clock_ppm(found) - ppm
    assert abs(error_ppm) < 0.02
    assert abs(error_ppm) < 3.0 * found.u_hz / DVBT_HZ * 1e6
    assert abs(found.sampler_ppm - ppm) < 3.5 * found.u_sampler_ppm


def test_an_echo_within_the_guard_does_no_harm() -> None:
    """Half as strong, 60 µs late: notches every 17 kHz, and no place in doubt."""
    take = take_of(
        dab_samples(21.7, rate_hz=PART_HZ, echo=(60e-6, 0.6 - 0.4j)),
        rate_hz=PART_HZ,
        center_hz=DAB_HZ - 130e3,
    )
    assert clock_ppm(measured(take, "dab", nominal_hz=DAB_HZ)) == pytest.approx(21.7, abs=0.02)


def test_a_spike_at_the_centre_does_no_harm() -> None:
    samples = dab_samples(-31.0, rate_hz=PART_HZ) + np.complex64(0.05 + 0.1j)
    take = take_of(samples, rate_hz=PART_HZ, center_hz=DAB_HZ - 130e3)
    assert clock_ppm(measured(take, "dab", nominal_hz=DAB_HZ)) == pytest.approx(-31.0, abs=0.02)


def test_a_gap_does_no_harm() -> None:
    samples = dab_samples(40.2, rate_hz=PART_HZ, seconds=1.4)
    cut = 430_000
    parts = tuple(
        block(samples[a:b], index=a, rate_hz=PART_HZ, center_hz=DAB_HZ - 130e3)
        for a, b in ((0, cut), (cut + 54_321, samples.size))
    )
    found = measured(MemoryTake(parts=parts), "dab", nominal_hz=DAB_HZ)
    assert clock_ppm(found) == pytest.approx(40.2, abs=0.02)


def test_how_the_samples_come_in_blocks_changes_nothing() -> None:
    samples = dvbt_samples(5.5, mode=8, guard_part=4)
    whole = take_of(samples, rate_hz=RATE_HZ, center_hz=DVBT_HZ + 48e3)
    parts = tuple(
        block(samples[a : a + 77_777], index=a, rate_hz=RATE_HZ, center_hz=DVBT_HZ + 48e3)
        for a in range(0, samples.size, 77_777)
    )
    assert clock_ppm(measured(MemoryTake(parts=parts), "dvbt8", nominal_hz=DVBT_HZ)) == (
        pytest.approx(clock_ppm(measured(whole, "dvbt8", nominal_hz=DVBT_HZ)), abs=1e-6)
    )


def test_a_clock_that_drifts_is_said_and_its_drift_is_in_u() -> None:
    """The whole tuning moves by 30 Hz: the middle stands, ±U holds the ends."""
    samples = dab_samples(10.0, rate_hz=PART_HZ)
    t = np.arange(samples.size) / PART_HZ
    t -= t.mean()
    drifting = samples * np.exp(1j * np.pi * 27.0 * t**2)
    take = take_of(drifting, rate_hz=PART_HZ, center_hz=DAB_HZ - 130e3)
    found = measured(take, "dab", nominal_hz=DAB_HZ)
    assert not found.steady
    assert 2.0 * found.u_hz > 15.0
    assert clock_ppm(found) == pytest.approx(10.0, abs=0.02)


def test_what_cannot_be_told_apart_is_given_whole_and_not_chosen_from() -> None:
    """A 200 kHz slice beside the middle of a DAB block shows neither edge nor empty carrier."""
    center_hz = DAB_HZ + 400e3
    samples = dab_samples(-20.0, rate_hz=250e3, center_hz=center_hz)
    take = take_of(samples, rate_hz=250e3, center_hz=center_hz)
    found = measured(take, "dab", nominal_hz=DAB_HZ)
    clocks = np.array([candidate.clock_ppm for candidate in found.candidates])
    assert clocks.size > 1
    assert np.abs(clocks + 20.0).min() < 0.02
    # They stand one carrier apart: 1 kHz of 227.76 MHz.
    assert np.diff(clocks) == pytest.approx(-1e3 / center_hz * 1e6, rel=1e-3)


def test_the_symbols_rhythm_tells_where_no_pattern_is_in_view() -> None:
    """A slice of DVB-T 2k holds a pilot or two, but its rhythm is sure to a part of the 7 ppm by
    which a carrier moves."""
    center_hz, rate_hz = DVBT_HZ + 1.9e6, 400e3
    samples = dvbt_samples(
        33.3, mode=2, guard_part=8, rate_hz=rate_hz, center_hz=center_hz, seconds=5.0
    )
    take = take_of(samples, rate_hz=rate_hz, center_hz=center_hz)
    assert clock_ppm(measured(take, "dvbt8", nominal_hz=DVBT_HZ)) == pytest.approx(33.3, abs=0.02)


def test_a_multiplex_that_cannot_be_there_leaves_no_candidate() -> None:
    """Tuned 100 kHz from where it says: the carriers tell one clock, the symbols another."""
    samples = dab_samples(15.0, rate_hz=PART_HZ, center_hz=DAB_HZ)
    take = take_of(samples, rate_hz=PART_HZ, center_hz=DAB_HZ + 40e3)
    found = measured(take, "dab", nominal_hz=DAB_HZ)
    assert found.candidates == ()


def test_what_is_no_multiplex_is_none() -> None:
    rng = np.random.default_rng(7)
    nothing = noise(rng, 700_000, power=0.01)
    carrier = nothing + tone(nothing.size, offset_hz=123e3, rate_hz=PART_HZ)
    for samples in (nothing, carrier):
        take = take_of(samples, rate_hz=PART_HZ, center_hz=DAB_HZ)
        for system in ("dab", "dvbt8"):
            found = estimate_multiplex(
                take, SYSTEMS[system], nominal_hz=DAB_HZ, usable_fraction=0.8
            )
            assert found is Silence.NOTHING


def test_another_system_is_not_taken_for_this_one() -> None:
    take = take_of(
        dvbt_samples(0.0, mode=8, guard_part=4, seconds=1.1),
        rate_hz=RATE_HZ,
        center_hz=DVBT_HZ + 48e3,
    )
    found = estimate_multiplex(take, SYSTEMS["dab"], nominal_hz=DVBT_HZ, usable_fraction=0.8)
    assert found is Silence.NOTHING


def test_the_other_system_is_recognized() -> None:
    take = take_of(
        dvbt_samples(12.0, mode=2, guard_part=16, seconds=0.2),
        rate_hz=RATE_HZ,
        center_hz=DVBT_HZ + 48e3,
    )
    found = recognize(take, SYSTEMS["dvbt8"], nominal_hz=DVBT_HZ, usable_fraction=0.8)
    assert isinstance(found, Recognized)
    assert found.system.name == "DVB-T 2k in 8 MHz"
    assert found.rhythm.guard_s == pytest.approx(found.rhythm.useful_s / 16)


@pytest.mark.parametrize(
    ("snr_db", "seconds", "center_hz", "silence"),
    [
        (15.0, 0.5, DAB_HZ, Silence.SHORT),
        (15.0, 0.03, DAB_HZ, Silence.SHORT),
        (-14.0, 1.1, DAB_HZ, Silence.WEAK),
        (-30.0, 1.1, DAB_HZ, Silence.NOTHING),
        (15.0, 1.1, DAB_HZ + 2.5e6, Silence.NARROW),
    ],
)
def test_why_there_is_no_estimate_is_said(
    snr_db: float, seconds: float, center_hz: float, silence: Silence
) -> None:
    samples = dab_samples(8.0, center_hz=DAB_HZ, rate_hz=PART_HZ, snr_db=snr_db, seconds=seconds)
    take = take_of(samples, rate_hz=PART_HZ, center_hz=center_hz)
    found = estimate_multiplex(take, SYSTEMS["dab"], nominal_hz=DAB_HZ, usable_fraction=0.8)
    assert found is silence


@pytest.mark.slow
def test_twice_its_u_covers_the_true_clock_as_often_as_it_should() -> None:
    """Narrow slices of DAB and DVB-T at 15 dB, clocks within ±100 ppm, every other one with an
    echo half as strong within the guard's first quarter. The reference's own
    limit is left out: it is rectangular, and 2 u hold it whole."""
    covered = trials = 0
    for number in range(80):
        rng = np.random.default_rng([4, number])
        ppm = float(rng.uniform(-100.0, 100.0))
        is_dab = number % 2 == 0
        nominal_hz, rate_hz = (DAB_HZ, 256e3) if is_dab else (DVBT_HZ, 512e3)
        center_hz = nominal_hz - (30e3 if is_dab else 110e3)
        seconds = 1.0 if is_dab else 0.3
        guard_part = 4 if number % 4 == 1 else 16
        view_hz = (-0.75 * rate_hz, 0.75 * rate_hz)
        if is_dab:
            sent = dab(rng, seconds=seconds, view_hz=view_hz)
        else:
            sent = dvbt(
                rng,
                seconds=seconds,
                mode=8,
                guard_part=guard_part,
                pilots=SYSTEMS["dvbt8"][0].pilots,
                view_hz=view_hz,
            )
        delay_s = float(rng.uniform(0.0, 0.25 * sent.guard_s))
        echo = (delay_s, 0.5 * np.exp(2j * np.pi * rng.random()))
        samples = heard(
            sent,
            rng,
            seconds=seconds,
            channel_hz=nominal_hz,
            center_hz=center_hz,
            rate_hz=rate_hz,
            ppm=ppm,
            snr_db=15.0,
            echo=echo if number % 4 > 1 else None,
        )
        found = measured(
            take_of(samples, rate_hz=rate_hz, center_hz=center_hz),
            "dab" if is_dab else "dvbt8",
            nominal_hz=nominal_hz,
        )
        errors = [abs(candidate.clock_ppm - ppm) for candidate in found.candidates]
        # Where a slice leaves several open, none is chosen, and the true one is among them.
        assert min(errors) < 0.02
        if len(errors) == 1:
            trials += 1
            covered += errors[0] <= 2.0 * found.u_hz / nominal_hz * 1e6
    assert trials >= 75
    assert 0.93 <= covered / trials <= 0.98
