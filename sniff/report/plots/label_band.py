"""The band of labels above one wide spectrum, as a look's picture and a sweep's have it."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from sniff.report.plots import labels
from sniff.report.plots.leaders import draw_leaders
from sniff.report.plots.page import WIDTH_MM, Page, text_width_mm

AXES_LEFT_MM, _AXES_RIGHT_MM = 16.0, 4.0
AXES_WIDTH_MM = WIDTH_MM - AXES_LEFT_MM - _AXES_RIGHT_MM
_SPACE_MM = 2.0
_LOW_MM, _HIGH_MM = 0.5, WIDTH_MM - 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelBand:
    """Labels with their places above the axes.

    Attributes
    ----------
    texts : tuple of str
    at_mm : tuple of float
        What each names, from the page's left edge, in rising order.
    places : Band
    """

    texts: tuple[str, ...]
    at_mm: tuple[float, ...]
    places: labels.Band

    @property
    def height_mm(self) -> float:
        """Height of the whole band."""
        return self.places.height_mm

    def draw(
        self,
        page: Page,
        axes: Axes,
        levels_dbfs: Sequence[float],
        *,
        top_mm: float,
        axes_height_mm: float,
    ) -> None:
        """Write the labels, with leaders down to markers at these heights; see `draw_leaders`."""
        draw_leaders(
            page,
            axes,
            self.places,
            levels_dbfs=levels_dbfs,
            texts=self.texts,
            at_mm=self.at_mm,
            top_mm=top_mm,
            axes_height_mm=axes_height_mm,
        )


def label_band(
    places_hz: Sequence[float], texts: Sequence[str], *, low_hz: float, high_hz: float
) -> LabelBand:
    """Lay labels out.

    Parameters
    ----------
    places_hz : sequence of float
        What they name, in rising order.
    texts : sequence of str
        No more than `most_that_fit`.
    low_hz, high_hz : float
        Ends of the axes.
    """
    at_mm = tuple(
        AXES_LEFT_MM + AXES_WIDTH_MM * (hz - low_hz) / (high_hz - low_hz) for hz in places_hz
    )
    places = labels.stagger(
        at_mm, texts, width_mm=_width_mm(texts), low_mm=_LOW_MM, high_mm=_HIGH_MM
    )
    return LabelBand(texts=tuple(texts), at_mm=at_mm, places=places)


def most_that_fit(texts: Sequence[str]) -> int:
    """How many labels as wide as the widest of these fit into the band."""
    return labels.most_labels(width_mm=_width_mm(texts), low_mm=_LOW_MM, high_mm=_HIGH_MM)


def _width_mm(texts: Sequence[str]) -> float:
    return max((text_width_mm(text) for text in texts), default=0.0) + _SPACE_MM
