"""Sweeps of the small stage, from hops to result."""

from collections.abc import Callable

import pytest

from calib.correction import Correction
from sniff.model import Source
from sniff.sweep.hops import Span, SweepSettings
from sniff.sweep.run import SweepRun
from sniff.sweep.swept import Sweep

EXACT = Correction(ppm=0.0, u_ppm=0.0, origin="exact")
SPAN = Span(low_hz=2.0e6, high_hz=2.15e6)
SETTINGS = SweepSettings(rbw_hz=150.0, seconds=0.12, stay_s=0.25)

Swept = Callable[..., Sweep]


def sweep_of(
    source: Source,
    span: Span = SPAN,
    settings: SweepSettings = SETTINGS,
    correction: Correction = EXACT,
) -> Sweep:
    """A whole sweep."""
    run = SweepRun(source, span, settings, correction)
    for hop in run.hops():
        for _ in hop.blocks:
            pass
    for _ in run.stays():
        pass
    return run.result()


@pytest.fixture
def swept() -> Swept:
    return sweep_of
