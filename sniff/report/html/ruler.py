"""A line's error against its tolerance, before and after, as a small drawing."""

from dataclasses import dataclass

from sniff.report.html.fields import Fields, number
from sniff.units import format_span

_MIDDLE, _HALF = 50.0, 46.0
_BAND = 0.62
"""Part of the half width that the tolerance takes, unless an error lies farther out."""
_LEAST = 0.06
"""The band stays to be seen, also beside an error of many tolerances."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """An error with its U, in percent of the drawing's width."""

    x: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruler:
    """The drawing: the allowed band from `low` to `high`, and the marks, in percent of its width.

    `words` say the same to whom it is read out.
    """

    low: float
    high: float
    allowed: str
    before: Mark | None
    after: Mark | None
    words: str


def ruler_of(before: Fields | None, after: Fields | None) -> Ruler | None:
    """Lay out both errors on one scale; None where there is no error to show."""
    stated = before if after is None else after
    tolerance_hz = None if stated is None else number(stated, "tolerance_hz")
    errors = [_error(side) for side in (before, after)]
    if not tolerance_hz or tolerance_hz <= 0 or errors == [None, None]:
        return None
    farthest_hz = max(abs(error[0]) for error in errors if error is not None)
    scale_hz = max(tolerance_hz / _BAND, 1.1 * farthest_hz)
    band = max(tolerance_hz / scale_hz, _LEAST) * _HALF
    told = [
        f"{side} {100.0 * error[0] / tolerance_hz:+.0f} % of it".replace("-", "−")
        for side, error in zip(("before", "after"), errors, strict=True)
        if error is not None
    ]
    return Ruler(
        low=_MIDDLE - band,
        high=_MIDDLE + band,
        allowed=f"± {format_span(tolerance_hz)}",
        before=_mark(errors[0], scale_hz),
        after=_mark(errors[1], scale_hz),
        words=f"Error against the allowed ± {format_span(tolerance_hz)}: {', '.join(told)}",
    )


def _error(side: Fields | None) -> tuple[float, float] | None:
    if side is None:
        return None
    error_hz, u_hz = number(side, "error_hz"), number(side, "u_hz")
    return None if error_hz is None else (error_hz, 2.0 * (u_hz or 0.0))


def _mark(error: tuple[float, float] | None, scale_hz: float) -> Mark | None:
    if error is None:
        return None
    error_hz, expanded_hz = error
    return Mark(
        x=_place(error_hz / scale_hz),
        low=_place((error_hz - expanded_hz) / scale_hz),
        high=_place((error_hz + expanded_hz) / scale_hz),
    )


def _place(part: float) -> float:
    return _MIDDLE + _HALF * min(max(part, -1.0), 1.0)
