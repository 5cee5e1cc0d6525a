"""The budget against the GUM's own examples."""

from math import cos, inf, sin

import pytest

from calib.budget import Budget, Term, budget_of
from tests.values import budget as published


def test_the_end_gauge() -> None:
    terms = [
        Term(source=name, u=u, distribution="normal", degrees=degrees)
        for name, (u, degrees) in published.H1_TERMS_NM.items()
    ]
    found = budget_of(terms)
    assert found.u == pytest.approx(published.H1_COMBINED_NM, abs=0.05)
    assert found.degrees == pytest.approx(published.H1_DEGREES, abs=0.15)
    assert found.expanded == pytest.approx(2 * found.u)


def test_resistance_and_reactance_with_correlated_inputs() -> None:
    volts, amperes, phase = published.H2_MEANS
    cases = (
        (published.H2_RESISTANCE, cos, (cos(phase), -cos(phase), -sin(phase)), 0.002),
        (published.H2_REACTANCE, sin, (sin(phase), -sin(phase), cos(phase)), 0.002),
    )
    for (value, u), part, slopes, room in cases:
        ratio = volts / amperes
        sensitivities = (slopes[0] / amperes, slopes[1] * volts / amperes**2, slopes[2] * ratio)
        terms = tuple(
            Term(source=str(n), u=u_in, distribution="normal", sensitivity=c)
            for n, (u_in, c) in enumerate(zip(published.H2_U, sensitivities, strict=True))
        )
        found = Budget(terms=terms, correlations=published.H2_CORRELATIONS)
        assert ratio * part(phase) == pytest.approx(value, abs=room)
        assert found.u == pytest.approx(u, abs=0.0005)
        # Without the correlations it would be visibly another number.
        assert budget_of(terms).u != pytest.approx(u, rel=0.1)


def test_known_figures_have_no_end_of_degrees() -> None:
    assert budget_of([Term(source="a", u=1.0, distribution="rectangular")]).degrees == inf
