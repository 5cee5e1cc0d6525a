"""Whether a fleet's drop-outs come in bursts, and how many bursts they are.

Poisson's distribution holds for what comes by itself. A bad joint fails five times in a minute and
then not for an hour: those five are one event. A fleet of equal sets with bursts of five, counted
by drop-outs, has somebody named in two cases of three.

In one recording with n drop-outs in the time T, were they strewn evenly, a gap is shorter than g
with the chance ``1 - (1 - g / T)^n`` (David and Nagaraja, Order Statistics, 2003, section 6.4).
Such chances are combined over gaps and recordings (Fisher, Statistical Methods for Research
Workers, 1932); they depend on each other slightly, on the safe side. Only a recording's own rate
counts there, so that a set that drops out often, and evenly, makes no burst. A burst about as long
as its recording looks like a high rate, and cannot be told from one.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from math import log
from typing import Final

NEAR: Final = 0.2
"""Gaps that come more seldom by chance part no bursts. So one in five of single drop-outs is taken
together with its forerunner, in all sets alike."""
_DOUBTFUL: Final = 2.0 * NEAR
# What the bursts' own rate lets lie between the two: they are counted as `1 - NEAR` of what they
# are, so that their gaps are as much shorter.
_DOUBTFUL_SHARE: Final = 1.0 - ((1.0 - _DOUBTFUL) / (1.0 - NEAR)) ** (1.0 / (1.0 - NEAR))
_BY_CHANCE: Final = 0.01
_TOO_MANY: Final = 0.1
_LEAST: Final = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class Clumps:
    """How one recording's drop-outs lie in its time.

    Attributes
    ----------
    count : int
        Bursts; one that comes alone is one too.
    doubtful : int
        Of the gaps between them, those that are hardly longer than within one.
    chi2 : float
        Fisher's sum ``-2 Σ ln(chance)`` over the gaps between drop-outs.
    degrees : int
        Of chi² by chance alone.
    """

    count: int
    doubtful: int
    chi2: float
    degrees: int


def clumps_of(
    starts_s: Sequence[float], durations_s: Sequence[float], *, count: int, observed_s: float
) -> Clumps:
    """Count the bursts of a recording.

    Parameters
    ----------
    starts_s, durations_s : sequence of float
        Of the drop-outs that are listed, in the order of time.
    count : int
        Of all drop-outs; the list may end before them.
    observed_s : float
        Time that was observed, s; what it was gone of that is taken off.
    """
    listed = len(starts_s)
    if listed < 2:
        return Clumps(count=count, doubtful=0, chi2=0.0, degrees=0)
    pairs = zip(starts_s[:-1], durations_s[:-1], starts_s[1:], strict=True)
    gaps_s = sorted(max(0.0, after - start - gone) for start, gone, after in pairs)
    # Where the list is cut its last one is about where it ends.
    time_s = observed_s - sum(durations_s) if listed >= count else sum(gaps_s)
    if not time_s > 0:
        return Clumps(count=1, doubtful=0, chi2=0.0, degrees=0)
    chances = (_shorter(gap_s, time_s, listed) for gap_s in gaps_s)
    bursts, before = listed, 0
    while bursts != before:
        before = bursts
        parting = bisect_left(gaps_s, _gap_s(NEAR, time_s, bursts))
        bursts = listed - parting
    surely = bisect_left(gaps_s, _gap_s(_DOUBTFUL, time_s, bursts))
    all_of_listed = count / listed
    return Clumps(
        count=round(bursts * all_of_listed),
        doubtful=round((surely - parting) * all_of_listed),
        chi2=-2.0 * sum(log(max(chance, _LEAST)) for chance in chances),
        degrees=2 * len(gaps_s),
    )


def come_in_bursts(found: Sequence[Clumps]) -> bool:
    """Whether chance makes gaps so short in fewer than 1 % of fleets."""
    from scipy.special import chdtrc

    degrees = sum(each.degrees for each in found)
    return degrees > 0 and bool(chdtrc(degrees, sum(each.chi2 for each in found)) < _BY_CHANCE)


def are_told_apart(found: Sequence[Clumps]) -> bool:
    """Whether bursts that come by themselves would have such gaps between them; where too many are
    hardly longer than within one, bursts were cut in pieces."""
    from scipy.special import bdtrc

    doubtful = sum(each.doubtful for each in found)
    gaps = sum(each.count - 1 for each in found if each.count)
    return not doubtful or bool(bdtrc(doubtful - 1, gaps, _DOUBTFUL_SHARE) >= _TOO_MANY)


def _shorter(gap_s: float, time_s: float, count: int) -> float:
    """Chance of a gap as short, of so many strewn evenly."""
    share = min(gap_s / time_s, 1.0)
    return 1.0 if share == 1.0 else 1.0 - (1.0 - share) ** count if share > 1e-9 else share * count


def _gap_s(chance: float, time_s: float, count: int) -> float:
    return float(time_s * (1.0 - (1.0 - chance) ** (1.0 / count)))
