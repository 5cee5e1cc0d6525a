"""The decision rule with guard bands (JCGM 106:2012, 8.3)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.verdict import Outcome, decide

SIZES = st.floats(0, 1e6)


@pytest.mark.parametrize(
    ("error_hz", "expanded_hz", "outcome"),
    [
        (0.0, 0.0, Outcome.PASS),
        (90.0, 10.0, Outcome.PASS),  # exactly on the guarded limit
        (-90.0, 10.0, Outcome.PASS),
        (90.0, 10.5, Outcome.UNDECIDED),
        (110.0, 10.0, Outcome.UNDECIDED),  # |e| − U exactly on the tolerance is no failure yet
        (110.5, 10.0, Outcome.FAIL),
        (-200.0, 99.0, Outcome.FAIL),
        (0.0, 101.0, Outcome.UNDECIDED),
        (100.0, 0.0, Outcome.PASS),
    ],
)
def test_the_three_outcomes_at_a_tolerance_of_100_hz(
    error_hz: float, expanded_hz: float, outcome: Outcome
) -> None:
    found = decide(error_hz=error_hz, expanded_hz=expanded_hz, tolerance_hz=100.0)
    assert found.outcome is outcome


@given(st.floats(-1e6, 1e6), SIZES, SIZES)
def test_the_outcome_does_not_depend_on_the_side(
    error_hz: float, expanded_hz: float, tolerance_hz: float
) -> None:
    one, other = (
        decide(error_hz=e, expanded_hz=expanded_hz, tolerance_hz=tolerance_hz)
        for e in (error_hz, -error_hz)
    )
    assert one == other


@given(st.floats(-1e6, 1e6), SIZES, SIZES)
def test_a_smaller_u_never_undecides_and_the_needed_one_decides(
    error_hz: float, expanded_hz: float, tolerance_hz: float
) -> None:
    found = decide(error_hz=error_hz, expanded_hz=expanded_hz, tolerance_hz=tolerance_hz)
    if found.outcome is Outcome.UNDECIDED:
        assert found.needed_expanded_hz is not None
        assert found.needed_expanded_hz <= expanded_hz
        better = decide(
            error_hz=error_hz,
            expanded_hz=found.needed_expanded_hz * 0.99,
            tolerance_hz=tolerance_hz,
        )
        assert better.outcome is not Outcome.UNDECIDED or found.needed_expanded_hz == 0
    else:
        surer = decide(error_hz=error_hz, expanded_hz=expanded_hz / 2, tolerance_hz=tolerance_hz)
        assert surer.outcome is found.outcome


def test_negative_sizes_are_a_programmers_mistake() -> None:
    with pytest.raises(ValueError, match="must not be negative"):
        decide(error_hz=0.0, expanded_hz=-1.0, tolerance_hz=1.0)
