"""Sets planted in memory: lines at true frequencies and levels, heard by a dongle that is off."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from calib.correction import Correction
from sniff.board import Board
from sniff.compare import Pair, Sight
from sniff.model import SourceInfo
from sniff.pipeline import probe
from sniff.placings import combined, measured_spread
from sniff.resolution import SpectrumSettings
from sniff.superhet.expected import expected_lines
from sniff.superhet.plan import Plan, Side, carry
from sniff.survey import LookSettings
from tests.signals import RATE_HZ, MemoryTake, noise, take_of, tone
from tests.test_frontend import info

SAMPLES = 12_288
NOISE_POWER = 1e-6
SETTINGS = LookSettings(spectrum=SpectrumSettings(segment=1024))
CLOCK_PPM = 31.0
CLOCK = Correction(ppm=30.4, u_ppm=0.5, origin="planted, and known as badly as that")

GOOD_HZ, SUSPECT_HZ = 74.7e6, 72.9e6
SUSPECT = Plan(
    carrier_hz=SUSPECT_HZ,
    if_hz=10.7e6,
    side=Side.HIGH,
    second_if_hz=455e3,
    second_side=Side.LOW,
    multiplier=3,
    highest_multiple=3,
)
GOOD = carry(SUSPECT, GOOD_HZ)
THIRD_HZ = 3 * 10.245e6


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of a planted set."""

    hz: float
    level_dbfs: float


@dataclass(kw_only=True)
class PlantedSet:
    """A source that shows its lines at any tuning; one placing of the loop."""

    lines: Sequence[Line]
    rng: np.random.Generator
    ppm: float = CLOCK_PPM
    samples: int = SAMPLES
    center_hz: float = 0.0
    info: SourceInfo = field(init=False)

    def __post_init__(self) -> None:
        self.info = info(tunable=True, range_hz=(24e6, 1.7e9), clock_hz=None)

    def tune(self, center_hz: float) -> float:
        self.center_hz = center_hz
        return center_hz

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> MemoryTake:
        del seconds, start_s
        heard = noise(self.rng, self.samples, power=NOISE_POWER)
        for line in self.lines:
            # A clock that runs fast makes everything look too low.
            offset_hz = line.hz / (1.0 + self.ppm * 1e-6) - self.center_hz
            if abs(offset_hz) < RATE_HZ / 2.0:
                heard += tone(
                    self.samples,
                    offset_hz=offset_hz,
                    amplitude=10.0 ** (line.level_dbfs / 20.0),
                    phase=float(self.rng.uniform(0.0, 2.0 * np.pi)),
                )
        return take_of(heard, center_hz=self.center_hz)


def sight(plan: Plan, boards: Sequence[Board], *, correction: Correction = CLOCK) -> Sight:
    """What a set shows over several placings."""
    whole = combined(boards)
    return Sight(
        source="planted",
        plan=plan,
        carrier_hz=plan.carrier_hz,
        board=whole.result,
        looks=whole.looks,
        correction=correction,
        clock_hz=None,
        placings=len(boards),
    )


def boards(
    plan: Plan,
    lines: Sequence[Line],
    rng: np.random.Generator,
    *,
    placings: int = 1,
    spread_db: float = 0.0,
    ppm: float = CLOCK_PPM,
) -> list[Board]:
    """The boards of several placings, each of which moves every level by itself."""
    found = []
    for _ in range(placings):
        placed = [
            Line(hz=line.hz, level_dbfs=line.level_dbfs + spread_db * rng.standard_normal())
            for line in lines
        ]
        found.append(
            probe(
                PlantedSet(lines=placed, rng=rng, ppm=ppm),  # type: ignore[arg-type]
                [line for line in expected_lines(plan) if line.radiated],
                settings=SETTINGS,
                correction=CLOCK,
            )
        )
    return found


def healthy(plan: Plan, *, off_ppm: float = 0.0) -> dict[str, Line]:
    """The lines of a set in good health, its crystal a little off."""
    lo_hz = plan.lo_hz
    assert lo_hz is not None
    factor = 1.0 + off_ppm * 1e-6
    return {
        "LO": Line(hz=lo_hz * factor, level_dbfs=-40.0),
        "crystal": Line(hz=lo_hz / 3.0 * factor, level_dbfs=-55.0),
        "crystal × 2": Line(hz=lo_hz / 1.5 * factor, level_dbfs=-60.0),
        "second LO × 3": Line(hz=THIRD_HZ * (1.0 + 3e-6), level_dbfs=-50.0),
    }


def pair(
    good: Sequence[Line],
    suspect: Sequence[Line],
    rng: np.random.Generator,
    *,
    placings: int = 1,
    spread_db: float = 0.0,
) -> Pair:
    """Both sets, as often placed."""
    mine = boards(GOOD, good, rng, placings=placings, spread_db=spread_db)
    yours = boards(SUSPECT, suspect, rng, placings=placings, spread_db=spread_db)
    return Pair(
        place=None,
        good=sight(GOOD, mine),
        suspect=sight(SUSPECT, yours),
        spread=measured_spread(mine, yours),
    )
