"""A sheet in millimetres: text, rules and axes at stated places, so that nothing is left to chance.

Distances run from the sheet's upper left corner, down and to the right, in millimetres. Fixed
places (instead of a layout engine) let labels be set from measured text widths and stay put when
the picture is written at another resolution or as vectors.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.legend_handler import HandlerLine2D
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.textpath import text_to_path

from sniff.report.plots.style import FONT, LINE_MM, MM_PER_PT, PALE_INK, TEXT_PT, TITLE_PT

WIDTH_MM = 190.0
"""A4 with 10 mm of margin: printed at its own size, type stays at 8 pt."""

_TITLE_LINE_MM = 1.3 * TITLE_PT * MM_PER_PT
_LEGEND_ROW_MM = 4.4
_ASCENT = 0.85
"""Height of the tallest letters over the baseline, with a trace of air, in type sizes."""


@lru_cache(maxsize=4096)  # a page asks of each text several times, at a millisecond each
def text_width_mm(text: str, *, size_pt: float = TEXT_PT, weight: str = "normal") -> float:
    """Width of a text, its longest line counted, mm."""
    font = FontProperties(family=FONT, weight=weight, size=size_pt)
    widths = (
        text_to_path.get_text_width_height_descent(line, font, ismath=False)[0]
        for line in text.split("\n")
    )
    return max(widths) * MM_PER_PT


class Bar(Line2D):
    """A legend entry with a marker at both ends of its line instead of one in the middle."""


def unbroken(quantity: str) -> str:
    """A quantity that no line break may tear from its unit."""
    return quantity.replace(" ", "\N{NO-BREAK SPACE}")


def wrap(
    text: str, width_mm: float, *, size_pt: float = TEXT_PT, weight: str = "normal"
) -> list[str]:
    """Break a text at plain spaces so that each line fits; a longer single word stays whole."""
    lines: list[str] = []
    for word in filter(None, text.split(" ")):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, size_pt=size_pt, weight=weight) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What every picture has: a title that says what it says, a legend, and how it was taken.

    Attributes
    ----------
    title : str
        One sentence.
    keys : sequence of Line2D or Patch
        Entries of the legend, each with its label.
    footer : sequence of str
        Paragraphs in small print.
    """

    title: str
    keys: Sequence[Any]
    footer: Sequence[str]

    @property
    def title_lines(self) -> list[str]:
        """The title, broken to the sheet's width."""
        return wrap(self.title, WIDTH_MM - 4.0, size_pt=TITLE_PT, weight="bold")

    @property
    def footer_lines(self) -> list[str]:
        """The small print, broken to the sheet's width."""
        return [line for text in self.footer for line in wrap(text, WIDTH_MM - 4.0)]

    @property
    def top_mm(self) -> float:
        """Height of the title with the space round it."""
        return 3.0 + _TITLE_LINE_MM * len(self.title_lines) + 2.0

    @property
    def key_columns(self) -> int:
        """Columns of the legend: as many as its widest entry allows."""
        widest = max((text_width_mm(str(key.get_label())) for key in self.keys), default=0.0)
        return max(1, min(len(self.keys), int((WIDTH_MM - 4.0) // (widest + 13.0))))

    @property
    def bottom_mm(self) -> float:
        """Height of legend and footer."""
        rows = -(-len(self.keys) // self.key_columns)
        return _LEGEND_ROW_MM * rows + 2.0 + LINE_MM * len(self.footer_lines) + 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A figure addressed in millimetres from its upper left corner."""

    figure: Figure
    height_mm: float

    def axes(
        self, *, left_mm: float, top_mm: float, width_mm: float, height_mm: float, **options: Any
    ) -> Axes:
        """New axes whose frame is exactly this box."""
        bottom_mm = self.height_mm - top_mm - height_mm
        return self.figure.add_axes(
            (
                left_mm / WIDTH_MM,
                bottom_mm / self.height_mm,
                width_mm / WIDTH_MM,
                height_mm / self.height_mm,
            ),
            **options,
        )

    def write(self, x_mm: float, y_mm: float, text: str, **options: Any) -> Text:
        """Put one line of text whose upper edge is here, from here to the right.

        Set on a common baseline: aligned by their ink, words with and without ascenders would
        dance in a row.
        """
        place = {"ha": "left", "va": "baseline", "linespacing": 1.15, **options}
        size_pt = float(place.get("fontsize", TEXT_PT))
        if place["va"] == "baseline":
            y_mm += _ASCENT * size_pt * MM_PER_PT
        return self.figure.text(x_mm / WIDTH_MM, 1.0 - y_mm / self.height_mm, text, **place)

    def draw(self, x_mm: Iterable[float], y_mm: Iterable[float], **options: Any) -> Line2D:
        """Draw a line or markers through these points."""
        line = Line2D(
            [x / WIDTH_MM for x in x_mm],
            [1.0 - y / self.height_mm for y in y_mm],
            transform=self.figure.transFigure,
            **options,
        )
        self.figure.add_artist(line)
        return line


def open_page(sheet: Sheet, *, body_mm: float) -> Page:
    """A page with title, legend and footer set, and `body_mm` of height left between them."""
    height_mm = sheet.top_mm + body_mm + sheet.bottom_mm
    page = Page(figure=Figure(figsize=(WIDTH_MM / 25.4, height_mm / 25.4)), height_mm=height_mm)
    y_mm = 3.0
    for number, line in enumerate(sheet.title_lines):
        text = page.write(2.0, y_mm, line, fontsize=TITLE_PT, fontweight="bold")
        text.set_gid(f"title-{number}")
        y_mm += _TITLE_LINE_MM
    y_mm = sheet.top_mm + body_mm
    if sheet.keys:
        # The legend fills column by column; its rows are ours to count, so the height is known.
        page.figure.legend(
            handles=list(sheet.keys),
            loc="upper left",
            bbox_to_anchor=(2.0 / WIDTH_MM, 1.0 - y_mm / height_mm),
            ncols=sheet.key_columns,
            borderpad=0.0,
            borderaxespad=0.0,
            handler_map={Bar: HandlerLine2D(numpoints=2, marker_pad=0.0)},
            handlelength=2.6,
            labelspacing=0.45,
            columnspacing=1.4,
        )
    y_mm = height_mm - 2.5 - LINE_MM * len(sheet.footer_lines)
    for number, line in enumerate(sheet.footer_lines):
        page.write(2.0, y_mm, line, color=PALE_INK).set_gid(f"footer-{number}")
        y_mm += LINE_MM
    return page
