"""Loss of samples told from the host's clock, on synthetic arrivals."""

import random

import pytest

from sniff.sources.dongle.hostclock import HostClock

_RATE_HZ = 2.4e6
_BUFFER = 8192


def _run(
    seconds: float,
    *,
    ppm: float = 0.0,
    jitter_s: float = 0.0005,
    lose_at_s: float | None = None,
    lose: int = 0,
    trickle: float = 0.0,
    stalls: tuple[tuple[float, float], ...] = (),
) -> list[tuple[float, int]]:
    """Times and sizes of the losses that the clock reports.

    Buffers are made at the dongle's true rate, and arrive late by a random jitter, or at the end
    of a stall (start, length) of the host.
    """
    chance = random.Random(7)
    clock = HostClock(_RATE_HZ)
    true_hz = _RATE_HZ * (1 + ppm * 1e-6)
    end, made, reports, owed = 0, 0, [], 0.0
    last_s = 0.0
    while made / true_hz < seconds:
        made += _BUFFER
        at_s = made / true_hz
        if lose_at_s is not None and at_s > lose_at_s:
            made, lose_at_s = made + lose, None
            at_s = made / true_hz
        owed += trickle * _BUFFER
        if owed >= 1:
            made += int(owed)
            owed -= int(owed)
        at_s += chance.expovariate(1 / jitter_s)
        for start_s, length_s in stalls:
            if start_s <= at_s < start_s + length_s:
                at_s = start_s + length_s
        last_s = max(last_s, at_s)
        lost = clock.arrived(last_s, end + _BUFFER)
        end += _BUFFER + lost
        if lost:
            reports.append((last_s, lost))
    return reports


@pytest.mark.parametrize("ppm", [-150.0, 0.0, 150.0])
def test_no_loss_is_reported_where_only_the_clocks_differ(ppm: float) -> None:
    assert _run(120, ppm=ppm) == []


def test_a_host_that_is_busy_for_a_while_is_no_loss() -> None:
    assert _run(20, jitter_s=0.003, stalls=((3.2, 0.4), (7.0, 0.3), (7.9, 0.4))) == []


@pytest.mark.parametrize("lose", [16_384, 100_000, 2_400_000])
def test_a_sudden_loss_is_reported_once_within_three_seconds_and_to_a_millisecond(
    lose: int,
) -> None:
    reports = _run(20, ppm=40, lose_at_s=6.3, lose=lose)
    assert len(reports) == 1
    at_s, lost = reports[0]
    assert 6.3 < at_s < 6.3 + lose / _RATE_HZ + 3.1
    assert lost == pytest.approx(lose, abs=2400)


def test_a_loss_shorter_than_the_slack_is_left_alone() -> None:
    assert _run(20, lose_at_s=6.3, lose=8_000) == []


def test_a_slow_trickle_is_reported_within_a_minute() -> None:
    reports = _run(120, trickle=0.002)
    assert reports
    assert reports[0][0] < 60
    total = sum(lost for _, lost in reports)
    assert total == pytest.approx(0.002 * 120 * _RATE_HZ, rel=0.4)
    assert _run(120, trickle=0.0001) == []


def test_the_sample_made_now_does_not_wait_for_the_buffer_that_holds_it() -> None:
    clock = HostClock(_RATE_HZ)
    for count in range(1, 400):
        late_s = 0.05 if 200 < count < 220 else 0.0
        clock.arrived(count * _BUFFER / _RATE_HZ + late_s, count * _BUFFER)
    now_s = 400.5 * _BUFFER / _RATE_HZ
    assert clock.made_by(now_s) == pytest.approx(400.5 * _BUFFER, abs=2)
    assert HostClock(_RATE_HZ).made_by(3.0) == 0
