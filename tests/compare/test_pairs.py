"""The right sentence over many pairs of sets, with a fault planted or none.

Truth: the fault that was planted. What a healthy pair may differ by is invented: crystals within
±2 ppm of each other, levels of one placing scattered by 2 dB.
"""

import re

import numpy as np
import pytest

from sniff.compare import CompareSettings, ComparisonVerdict, compare
from tests.compare.planted import GOOD, SUSPECT, Line, healthy, pair

PAIRS = 200
PLACINGS = {"missing": 2, "weak": 5, "moved": 2, "healthy": 5}
"""How often the loop is placed at each set: five times where it is the levels that count."""

SPREAD_DB = 2.0
SETTINGS = CompareSettings(one_clock=True)

RIGHT = {
    "missing": r"^the suspect lacks the LO that the good one has at 85\.4\d* MHz \(here it should "
    r"be at 83\.6 MHz\); all else agrees within the (loop's spread of ±)?\d+\.\d dB"
    r"( that two healthy sets may differ by)?\. Its crystal is",
    "weak": r"^the suspect has the LO weaker by (7|8|9|10|11|12|13) dB than in the good "
    r"one; all else",
    "moved": r"^the suspect has the LO, the crystal and the crystal × 2 too high by "
    r"((18|19|20|21|22) ppm to )?(18|19|20|21|22) ppm \(the LO by 1\.\d kHz\)",
    "healthy": r"^the suspect agrees with the good one: the LO, the crystal, the crystal × 2 and 1 "
    r"more within 10 ppm",
}
FAULTS = tuple(RIGHT)


def compared(seed: int) -> tuple[str, ComparisonVerdict, str]:
    """A planted fault, and the verdict and sentence that came of it."""
    rng = np.random.default_rng([20261128, seed])
    fault = FAULTS[seed % len(FAULTS)]
    good = healthy(GOOD, off_ppm=rng.uniform(-1.0, 1.0))
    off_ppm = rng.uniform(-1.0, 1.0) + (20.0 if fault == "moved" else 0.0)
    suspect = healthy(SUSPECT, off_ppm=off_ppm)
    if fault == "missing":
        del suspect["LO"]
    if fault == "weak":
        lo = suspect["LO"]
        suspect["LO"] = Line(hz=lo.hz, level_dbfs=lo.level_dbfs - 10.0)
    both = pair(
        tuple(good.values()),
        tuple(suspect.values()),
        rng,
        placings=PLACINGS[fault],
        spread_db=SPREAD_DB,
    )
    result = compare([both], SETTINGS).result
    return fault, result.verdict, result.sentence


@pytest.mark.parametrize("fault", FAULTS)
def test_the_sentence_is_right(fault: str) -> None:
    outcomes = [compared(seed) for seed in range(FAULTS.index(fault), PAIRS, len(FAULTS))]
    wrong = [sentence for _, _, sentence in outcomes if not re.search(RIGHT[fault], sentence)]
    assert len(wrong) <= 0.02 * len(outcomes), "\n".join(wrong)
    if fault == "healthy":
        assert not [found for _, verdict, found in outcomes if verdict is ComparisonVerdict.DIFFERS]
