"""Labels above a picture, and their leaders down to what they name."""

from collections.abc import Sequence

from matplotlib.axes import Axes

from sniff.report.plots import labels, style
from sniff.report.plots.page import Page
from sniff.report.plots.trace import MARKER_PT, TIP_PT


def draw_leaders(
    page: Page,
    axes: Axes,
    band: labels.Band,
    *,
    levels_dbfs: Sequence[float],
    texts: Sequence[str],
    at_mm: Sequence[float],
    top_mm: float,
    axes_height_mm: float,
) -> None:
    """Write each label, with a leader down beside the lower labels, aslant, down to the marker.

    Parameters
    ----------
    page : Page
    axes : Axes
        With its limits set.
    band : Band
        Places of the labels, from `labels.stagger`.
    levels_dbfs, texts, at_mm : sequence
        Height of each marker, its label, and its place from the page's left edge.
    top_mm : float
        Upper edge of the band on the page.
    axes_height_mm : float
    """
    low, high = axes.get_ylim()
    axes_top_mm = top_mm + band.height_mm
    slant_mm = axes_top_mm - band.slant_mm
    for number, (level, text, x_mm) in enumerate(zip(levels_dbfs, texts, at_mm, strict=True)):
        place = band.places[number]
        bottom_mm = slant_mm - place.above_mm
        tip_mm = axes_top_mm + axes_height_mm * (high - level) / (high - low)
        tip_mm -= (TIP_PT + MARKER_PT / 2.0) * style.MM_PER_PT
        page.draw(
            [place.x_mm, place.x_mm, x_mm, x_mm],
            [bottom_mm, slant_mm, axes_top_mm - 0.5, max(tip_mm, axes_top_mm)],
            color=style.PALE_INK,
            linewidth=0.5,
            zorder=3,
        ).set_gid(f"leader-{number}")
        label = page.write(place.x_mm, bottom_mm - 0.4, text, ha="center", va="bottom")
        label.set_gid(f"line-{number}")
