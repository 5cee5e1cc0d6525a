"""How sure one can be of a rate of failures: exact intervals, before against after, in words.

Failures are taken to come by chance at a steady rate (a Poisson process). Where they come in bursts
or the rate moves, the intervals are too narrow: `sniff.regularity` tells.
"""

from dataclasses import dataclass
from enum import Enum
from math import isfinite

CONFIDENCE = 0.95
HOUR_S = 3600.0
TIMES = (1.0, 2.0, 10.0, 100.0)
"""Improvements for which it is said what would show them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RatePerHour:
    """A rate of failures, per hour of observed time.

    Attributes
    ----------
    value : float
        Failures over hours: the most likely rate.
    low, high : float
        Two-sided interval that holds the true rate with at least `confidence`.
    at_most : float
        One-sided bound: with `confidence` the true rate is no higher. Lower than `high`, which
        spends half its doubt on the other side.
    confidence : float
    events : int
    observed_s : float
        Unobserved time is not in it.
    """

    value: float
    low: float
    high: float
    at_most: float
    confidence: float
    events: int
    observed_s: float


def rate_per_hour(
    events: int, observed_s: float, *, confidence: float = CONFIDENCE
) -> RatePerHour | None:
    """The rate of failures, from how many there were in how long.

    Parameters
    ----------
    events : int
    observed_s : float
        Time in which a failure would have been seen, s.
    confidence : float
        Above 0, below 1.

    Returns
    -------
    RatePerHour or None
        None when nothing was observed.

    Raises
    ------
    ValueError
        When an argument is out of range.
    """
    if not observed_s >= 0 or not isfinite(observed_s):
        raise ValueError(f"{observed_s=} must be a length of time")
    low, high = poisson_interval(events, confidence)
    if observed_s == 0:
        return None
    hours = observed_s / HOUR_S
    return RatePerHour(
        value=events / hours,
        low=low / hours,
        high=high / hours,
        at_most=poisson_at_most(events, confidence) / hours,
        confidence=confidence,
        events=events,
        observed_s=observed_s,
    )


def poisson_at_most(events: int, confidence: float) -> float:
    """Upper bound of a Poisson mean: half the `confidence` quantile of chi² with 2r + 2 degrees.

    Exact (NIST/SEMATECH e-Handbook 8.3.1.2); with no event ``-ln(1 - confidence)``.
    """
    from scipy.special import gammaincinv

    _check(events, confidence)
    return float(gammaincinv(events + 1, confidence))


def poisson_interval(events: int, confidence: float) -> tuple[float, float]:
    """Two-sided interval of a Poisson mean, half the doubt on each side (Garwood 1936)."""
    from scipy.special import gammaincinv

    _check(events, confidence)
    doubt = (1.0 - confidence) / 2.0
    low = float(gammaincinv(events, doubt)) if events else 0.0
    return low, float(gammaincinv(events + 1, 1.0 - doubt))


def clopper_pearson(successes: int, trials: int, confidence: float) -> tuple[float, float]:
    """Two-sided exact interval of a proportion (Clopper and Pearson, Biometrika 26, 1934).

    Raises
    ------
    ValueError
        When there are more successes than trials, or an argument is out of range.
    """
    doubt = (1.0 - confidence) / 2.0
    _check(successes, confidence)
    if successes > trials:
        raise ValueError(f"{successes=} of {trials=}")
    return _proportion_low(successes, trials, doubt), _proportion_high(successes, trials, doubt)


class Change(str, Enum):
    """What may be said of the rate after a repair against that before it."""

    BETTER = "better"
    WORSE = "worse"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """How much longer without a failure would show an improvement of so many times."""

    times: float
    more_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Improvement:
    """The rate before over the rate after.

    Attributes
    ----------
    before, after : RatePerHour
    change : Change
    times_better : float or None
        Most likely ratio; None when there was no failure after (it has no upper end), or none
        before.
    at_least_times : float
        With `confidence` the rate before was at least so many times the rate after.
    at_most_times : float or None
        With `confidence` it was at most so many times as high; None without an upper end.
    confidence : float
        Of each of the two bounds by itself.
    needs : tuple of Needed
        What would show more than `at_least_times`; empty when nothing failed before, as then
        nothing can be improved on.
    """

    before: RatePerHour
    after: RatePerHour
    change: Change
    times_better: float | None
    at_least_times: float
    at_most_times: float | None
    confidence: float
    needs: tuple[Needed, ...]


def improvement(
    before: RatePerHour, after: RatePerHour, *, confidence: float = CONFIDENCE
) -> Improvement:
    """Judge a repair by the failures before and after it.

    Given how many failures there were in all, those before are binomial with
    ``p = x T0 / (x T0 + T1)``, x being the ratio of the rates; so the exact bounds of p give those
    of x (Przyborowski and Wilenski, Biometrika 31, 1940).
    """
    failed, total = before.events, before.events + after.events
    scale = after.observed_s / before.observed_s
    doubt = 1.0 - confidence
    low = _odds(_proportion_low(failed, total, doubt)) or 0.0
    high = _odds(_proportion_high(failed, total, doubt))
    at_least, at_most = low * scale, None if high is None else high * scale
    if at_least > 1.0:
        change = Change.BETTER
    elif at_most is not None and at_most < 1.0:
        change = Change.WORSE
    else:
        change = Change.UNDECIDED
    return Improvement(
        before=before,
        after=after,
        change=change,
        times_better=before.value / after.value if before.events and after.events else None,
        at_least_times=at_least,
        at_most_times=at_most,
        confidence=confidence,
        needs=tuple(
            Needed(times=times, more_s=times * before.observed_s / low - after.observed_s)
            for times in TIMES
            if low > 0 and times > at_least
        ),
    )


def _proportion_low(successes: int, trials: int, doubt: float) -> float:
    from scipy.special import betaincinv

    return float(betaincinv(successes, trials - successes + 1, doubt)) if successes else 0.0


def _proportion_high(successes: int, trials: int, doubt: float) -> float:
    from scipy.special import betaincinv

    if successes == trials:
        return 1.0
    return float(betaincinv(successes + 1, trials - successes, 1.0 - doubt))


def _odds(proportion: float) -> float | None:
    return None if proportion == 1.0 else proportion / (1.0 - proportion)


def _check(events: int, confidence: float) -> None:
    if events < 0 or not 0.0 < confidence < 1.0:
        raise ValueError(f"{events=} must not be negative, {confidence=} lie between 0 and 1")
