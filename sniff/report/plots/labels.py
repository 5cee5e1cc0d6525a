"""Where labels go so that none covers another and no leader line crosses a label."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sniff.model import Doubles
from sniff.report.plots.style import LINE_MM

_ROW_SPACE_MM = 1.2
_SLANT_MM = (5.0, 14.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a label's box stands: its middle, and its foot's height above the slanted leaders."""

    x_mm: float
    above_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The strip above a picture that holds its labels: one or two rows, slanted leaders below.

    Attributes
    ----------
    places : tuple of Place
        One for each label, in order.
    rows_mm : tuple of float
        Heights of the rows, from the picture upwards.
    slant_mm : float
        Height of the strip in which leaders run aslant.
    """

    places: tuple[Place, ...]
    rows_mm: tuple[float, ...]
    slant_mm: float

    @property
    def height_mm(self) -> float:
        """Height of the whole band; a little air when there is no label."""
        return sum(self.rows_mm) + self.slant_mm if self.places else 1.0


def spread(wanted_mm: Sequence[float], *, gap_mm: float, low_mm: float, high_mm: float) -> Doubles:
    """Move places apart to at least `gap_mm`, order kept, as little as possible in squares.

    Parameters
    ----------
    wanted_mm : sequence of float
        Wanted places in rising order.
    gap_mm : float
        Least distance of two neighbours.
    low_mm, high_mm : float
        Borders for the places.

    Returns
    -------
    ndarray of float64
        The places. With the gaps taken off, the task is an isotonic regression with borders.

    Raises
    ------
    ValueError
        When they do not fit between the borders.
    """
    from scipy.optimize import isotonic_regression  # 0.3 s, only for a picture with labels

    if not len(wanted_mm):
        return np.empty(0)
    steps = gap_mm * np.arange(len(wanted_mm))
    if steps[-1] > high_mm - low_mm + 1e-9:
        raise ValueError(f"{len(wanted_mm)} places {gap_mm} mm apart need more than the room given")
    rising = isotonic_regression(np.asarray(wanted_mm, dtype=np.float64) - steps).x
    return np.asarray(np.clip(rising, low_mm, high_mm - steps[-1]) + steps, dtype=np.float64)


def most_labels(*, width_mm: float, low_mm: float, high_mm: float) -> int:
    """How many labels of this width two staggered rows can take."""
    return int((high_mm - low_mm - width_mm) // (width_mm / 2.0)) + 1


def stagger(
    at_mm: Sequence[float],
    texts: Sequence[str],
    *,
    width_mm: float,
    low_mm: float,
    high_mm: float,
) -> Band:
    """Place boxes of one width in one row, or in two when one is too crowded.

    Parameters
    ----------
    at_mm : sequence of float
        Where the labelled things are, in rising order.
    texts : sequence of str
        Their labels; only the number of lines counts here.
    width_mm : float
        Width of a box with the space beside it.
    low_mm, high_mm : float
        Left and right border of the boxes.

    Returns
    -------
    Band
        In two rows neighbours take turns and lie half a box apart: a leader that comes down from
        the upper row meets the gap between two boxes of the lower one. Since the order is kept,
        leaders that run down, then aslant, then down again never cross.

    Raises
    ------
    ValueError
        When there are more than `most_labels`.
    """
    first, last = low_mm + width_mm / 2.0, high_mm - width_mm / 2.0
    wanted = np.asarray(at_mm, dtype=np.float64)
    one_row = len(at_mm) * width_mm <= high_mm - low_mm
    if one_row:
        places = spread(at_mm, gap_mm=width_mm, low_mm=first, high_mm=last)
        one_row = bool(np.all(np.abs(places - wanted) < width_mm))
    if not one_row:
        places = spread(at_mm, gap_mm=width_mm / 2.0, low_mm=first, high_mm=last)
    rows = [0 if one_row else number % 2 for number in range(len(places))]
    heights = [0.0] * (max(rows, default=-1) + 1)
    for row, text in zip(rows, texts, strict=True):
        lines = text.count("\n") + 1
        heights[row] = max(heights[row], LINE_MM * lines + _ROW_SPACE_MM)
    # The further a leader goes sideways, the more height it needs not to lie flat.
    furthest = float(np.max(np.abs(places - wanted), initial=0.0))
    return Band(
        places=tuple(
            Place(x_mm=float(x), above_mm=sum(heights[:row]))
            for x, row in zip(places, rows, strict=True)
        ),
        rows_mm=tuple(heights),
        slant_mm=float(np.clip(0.15 * furthest, *_SLANT_MM)),
    )
