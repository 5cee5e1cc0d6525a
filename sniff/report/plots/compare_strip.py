"""The strip of differences: suspect minus good, line by line."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from sniff.compare import ComparedLine, Likeness, PlaceComparison
from sniff.report.compare_words import OF_THE_ROOM, name_of
from sniff.report.plots import style
from sniff.report.plots.page import wrap
from sniff.report.plots.trace import MARKER_PT, label_beside
from sniff.units import format_db

_MOST = 11
_ARROW_PT = 11.0
_WORDS_PT = 4.5
_WORDS_MM = 23.0
"""Room from bar to bar in which a bound finds words beside its shape."""
_AIR = 0.16
"""Part of the height kept free above and below: the arrow of a bound needs it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One line's difference.

    Attributes
    ----------
    row : ComparedLine
    difference_db : float
        Or the bound, where only one set has the line.
    expanded_db : float or None
        U (k = 2); None for a bound.
    """

    row: ComparedLine
    difference_db: float
    expanded_db: float | None


def differences_of(rows: Sequence[ComparedLine]) -> list[Difference]:
    """Differences worth showing, in the order of the rows; the room's tell nothing of the sets."""
    bars = []
    for row in rows:
        if row.origin in OF_THE_ROOM:
            continue
        bound_db = row.difference_bound_db
        if row.difference_db is not None and row.expanded_difference_db is not None:
            expanded_db = row.expanded_difference_db
            bars.append(
                Difference(row=row, difference_db=row.difference_db, expanded_db=expanded_db)
            )
        elif bound_db is not None:
            bars.append(Difference(row=row, difference_db=bound_db, expanded_db=None))
    return bars[:_MOST]


def names_of(bars: Sequence[Difference], *, width_mm: float) -> list[list[str]]:
    """The names below the bars of a strip of this width, broken to their room."""
    room_mm = width_mm / len(bars) - 1.0
    return [wrap(name_of(bar.row), room_mm) for bar in bars]


def reach_db(bars: Sequence[Difference], place: PlaceComparison) -> tuple[float, float]:
    """Lowest and highest difference that a strip must show, dB."""
    ends = [-place.weak_below_db, place.weak_below_db]
    for bar in bars:
        expanded_db = bar.expanded_db or 0.0
        ends += [bar.difference_db - expanded_db, bar.difference_db + expanded_db]
    return min(ends), max(ends)


def draw_strip(
    axes: Axes,
    bars: Sequence[Difference],
    place: PlaceComparison,
    *,
    width_mm: float,
    low_db: float,
    high_db: float,
) -> None:
    """Draw a bar of U for each line, and the band in which no line is weak or strong."""
    limit_db = place.weak_below_db
    axes.axhspan(-limit_db, limit_db, **style.SPREAD_BAND)
    axes.axhline(0.0, **style.EQUAL_STROKE)
    for at, bar in enumerate(bars):
        shape = style.LIKENESSES[bar.row.state]
        if bar.expanded_db is not None:
            axes.errorbar(
                at,
                bar.difference_db,
                yerr=bar.expanded_db,
                zorder=5,
                **style.READING_BAR,
                **shape.line(MARKER_PT),
            )
        else:
            _draw_bound(axes, at, bar, in_words=width_mm / len(bars) >= _WORDS_MM)
    air_db = _AIR * (high_db - low_db)
    axes.set_ylim(low_db - air_db, high_db + air_db)
    axes.set_xlim(-0.6, len(bars) - 0.4)
    names = names_of(bars, width_mm=width_mm)
    axes.set_xticks(range(len(bars)), ["\n".join(name) for name in names])
    axes.tick_params(axis="x", length=0.0)
    axes.grid(visible=True, axis="y")
    label_beside(axes, "difference, dB")


def _draw_bound(axes: Axes, at: int, bar: Difference, *, in_words: bool) -> None:
    """An open shape where the other's would have been seen, and an arrow to where it lies."""
    less = bar.row.state is Likeness.ONLY_GOOD
    shape = style.LIKENESSES[bar.row.state]
    axes.plot(at, bar.difference_db, zorder=5, **shape.line(MARKER_PT))
    axes.annotate(
        "",
        (at, bar.difference_db),
        xytext=(0.0, -_ARROW_PT if less else _ARROW_PT),
        textcoords="offset points",
        arrowprops={"arrowstyle": "<-", "color": shape.color, "linewidth": 1.0},
    )
    if in_words:
        axes.annotate(
            f"{'below' if less else 'above'} {format_db(bar.difference_db)}",
            (at, bar.difference_db),
            xytext=(0.0, _WORDS_PT if less else -_WORDS_PT),
            textcoords="offset points",
            ha="center",
            va="bottom" if less else "top",
        )
