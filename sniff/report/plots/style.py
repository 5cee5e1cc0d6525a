"""One style for all pictures: colours, strokes, shapes and words.

Nothing is told by colour alone: strokes differ in dash, states and marks in shape and word, so that
a picture survives a grey print and a colour-blind eye. A filled shape stands for a line that may be
believed, a hollow one for a line that the front end may have made.
"""

from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any, Final

from matplotlib import style

from sniff.board import LineState
from sniff.compare import Likeness
from sniff.model import Mark

FONT: Final = "DejaVu Sans"  # comes with matplotlib, so a picture looks the same everywhere
TEXT_PT: Final = 8.0
TITLE_PT: Final = 10.0
MM_PER_PT: Final = 25.4 / 72.0
LINE_MM: Final = 1.25 * TEXT_PT * MM_PER_PT
"""Height of one line of text."""

INK: Final = "#17212b"
PALE_INK: Final = "#5b6670"
RULE: Final = "#c9cfd4"
TRACE: Final = "#1d4f7c"
HOLD: Final = "#7096b3"
FLOOR: Final = "#b4531a"
SHADE: Final = "#ececec"
ALLOWED: Final = "#dcebd8"
GOOD: Final = "#e6d9b8"
GOOD_EDGE: Final = "#a38a4c"
FINE: Final = "#1d4f7c"
FAULTY: Final = "#b8321a"
OPEN_QUESTION: Final = "#7a5a00"

TRACE_STROKE: Final[dict[str, Any]] = {
    "color": TRACE,
    "linewidth": 0.8,
    "label": "mean level",
    "zorder": 2.5,
}
HOLD_STROKE: Final[dict[str, Any]] = {
    "color": HOLD,
    "linewidth": 0.5,
    "label": "highest level (max-hold)",
    "zorder": 2.2,
}
NOISE_STROKE: Final[dict[str, Any]] = {
    "color": FLOOR,
    "linewidth": 1.4,
    "linestyle": (0, (1, 1.2)),
    "label": "noise floor",
    "zorder": 2.7,
}
THRESHOLD_STROKE: Final[dict[str, Any]] = {
    "color": FLOOR,
    "linewidth": 0.7,
    "linestyle": (0, (5, 3)),
    "label": "detection threshold",
    "zorder": 2.7,
}

EXPECTED_STROKE: Final[dict[str, Any]] = {
    "color": INK,
    "linewidth": 0.7,
    "linestyle": (0, (8, 2, 1.5, 2)),
    "label": "expected frequency",
    "zorder": 2.0,
}
ALLOWED_BAND: Final[dict[str, Any]] = {
    "facecolor": ALLOWED,
    "edgecolor": "#9dbb96",
    "linewidth": 0.5,
    "linestyle": ":",
    "label": "allowed error",
    "zorder": 0.5,
}
WINDOW_STROKE: Final[dict[str, Any]] = {
    "color": PALE_INK,
    "linewidth": 0.9,
    "label": "searched within",
    "zorder": 3.0,
}
READING_BAR: Final[dict[str, Any]] = {
    "ecolor": INK,
    "elinewidth": 1.0,
    "capsize": 2.5,
    "capthick": 1.0,
}
WOULD_SEE_STROKE: Final[dict[str, Any]] = {
    "color": FAULTY,
    "linewidth": 2.2,
    "solid_capstyle": "butt",
    "label": "would be seen from this level on",
    "zorder": 4.0,
}

STATED_STROKE: Final[dict[str, Any]] = {
    "color": INK,
    "linewidth": 1.6,
    "linestyle": (0, (2, 1)),
    "label": "a good set's level, by the plan",
    "zorder": 4.0,
}
SCATTER_KEY: Final[dict[str, Any]] = {
    "color": INK,
    "linestyle": "none",
    "marker": "|",
    "markersize": 9.0,
    "label": "scatter of its level",
}

GOOD_AREA: Final[dict[str, Any]] = {
    "facecolor": GOOD,
    "edgecolor": GOOD_EDGE,
    "linewidth": 0.6,
    "label": "good set, moved as the axis says",
    "zorder": 1.5,
}
SUSPECT_STROKE: Final[dict[str, Any]] = {
    "color": TRACE,
    "linewidth": 1.0,
    "label": "suspect",
    "zorder": 2.5,
}
SPREAD_BAND: Final[dict[str, Any]] = {
    "facecolor": SHADE,
    "edgecolor": PALE_INK,
    "linewidth": 0.5,
    "linestyle": ":",
    "label": "weaker or stronger by no more than the loop explains",
    "zorder": 0.5,
}
EQUAL_STROKE: Final[dict[str, Any]] = {"color": INK, "linewidth": 0.6, "zorder": 0.8}

ALLOWED_STROKE: Final[dict[str, Any]] = {
    "color": INK,
    "linewidth": 2.4,
    "solid_capstyle": "butt",
    "label": "allowed error",
    "zorder": 3.5,
}
LEVEL_STROKE: Final[dict[str, Any]] = {
    "color": TRACE,
    "linewidth": 0.9,
    "label": "highest level near the line",
}
UNOBSERVED: Final[dict[str, Any]] = {
    "facecolor": "#d6d6d6",
    "edgecolor": "#8e8e8e",
    "hatch": "////",
    "linewidth": 0.0,
    "label": "not observed",
}

MAP: Final = "cividis"
"""Even in lightness and the same to colour-blind eyes (Nuñez, Anderton and Renslow 2018)."""

_RC: Final[dict[str, Any]] = {
    "font.family": [FONT],
    "font.size": TEXT_PT,
    "axes.labelsize": TEXT_PT,
    "axes.titlesize": TEXT_PT,
    "xtick.labelsize": TEXT_PT,
    "ytick.labelsize": TEXT_PT,
    "legend.fontsize": TEXT_PT,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": PALE_INK,
    "axes.linewidth": 0.6,
    "xtick.color": PALE_INK,
    "ytick.color": PALE_INK,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "axes.formatter.useoffset": False,
    "axes.formatter.limits": (-12, 12),
    "axes.axisbelow": True,
    "grid.color": RULE,
    "grid.linewidth": 0.4,
    "legend.frameon": False,
    "hatch.linewidth": 0.5,
    "figure.facecolor": "white",
    "savefig.dpi": 200.0,
    "pdf.fonttype": 42,
    "svg.fonttype": "path",  # labels are laid out for our font's widths; another would overlap
    "svg.hashsalt": "sniff",
}


def context() -> AbstractContextManager[None]:
    """Our style for the length of a `with`; the user's own settings neither leak in nor change."""
    return style.context(["default", _RC])


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """How a state or mark is drawn, and what it is called in a legend."""

    marker: str
    filled: bool
    color: str
    words: str
    fill_style: str = "full"

    def line(self, size_pt: float = 5.5) -> dict[str, Any]:
        """Arguments of a `Line2D` that shows the shape alone."""
        return {
            "linestyle": "none",
            "marker": self.marker,
            "markersize": size_pt,
            "markerfacecolor": self.color if self.filled else "white",
            "markerfacecoloralt": "white",
            "markeredgecolor": self.color,
            "markeredgewidth": 0.9,
            "fillstyle": self.fill_style,
        }


FOUND: Final = Shape(marker="v", filled=True, color=INK, words="line found")
WEAKER: Final = Shape(marker="|", filled=True, color=INK, words="weaker line found")
OTHER: Final = Shape(marker="|", filled=True, color=INK, words="other line found")

MARKS: Final[dict[Mark, Shape]] = {
    Mark.OVERLOAD: Shape(
        marker="P", filled=False, color=FAULTY, words="overload: converter overdriven"
    ),
    Mark.DC: Shape(marker="s", filled=False, color=FAULTY, words="dc: offset at the centre"),
    Mark.IMAGE: Shape(
        marker="v", filled=False, color=FAULTY, words="image: mirror of a stronger line"
    ),
    Mark.OWN_SPUR: Shape(
        marker="*", filled=False, color=FAULTY, words="own-spur: may be the dongle's own"
    ),
    Mark.EDGE: Shape(marker="o", filled=False, color=FAULTY, words="edge: level reads too low"),
}
"""In the order in which a line with several marks takes its shape."""

STATES: Final[dict[LineState, Shape]] = {
    LineState.PRESENT: Shape(marker="o", filled=True, color=FINE, words="present"),
    LineState.WEAK: Shape(marker="o", filled=True, color=FAULTY, words="weak", fill_style="bottom"),
    LineState.OFF_FREQUENCY: Shape(marker="D", filled=True, color=FAULTY, words="off-frequency"),
    LineState.UNSTEADY: Shape(
        marker="s", filled=True, color=FAULTY, words="unsteady", fill_style="left"
    ),
    LineState.ABSENT: Shape(marker="x", filled=False, color=FAULTY, words="absent"),
    LineState.HIDDEN: Shape(marker="h", filled=False, color=OPEN_QUESTION, words="hidden"),
    LineState.OUT_OF_VIEW: Shape(
        marker="_", filled=False, color=OPEN_QUESTION, words="out-of-view"
    ),
}

LIKENESSES: Final[dict[Likeness, Shape]] = {
    Likeness.IN_BOTH: Shape(marker="o", filled=True, color=FINE, words="in both, alike"),
    Likeness.STRONG: Shape(marker="o", filled=True, color=FINE, words="stronger", fill_style="top"),
    Likeness.WEAK: Shape(marker="o", filled=True, color=FAULTY, words="weak", fill_style="bottom"),
    Likeness.MOVED: Shape(marker="D", filled=True, color=FAULTY, words="moved"),
    Likeness.UNSTEADY: Shape(
        marker="s", filled=True, color=FAULTY, words="unsteady", fill_style="left"
    ),
    Likeness.ONLY_GOOD: Shape(marker="x", filled=False, color=FAULTY, words="only in the good set"),
    Likeness.ONLY_SUSPECT: Shape(
        marker="+", filled=False, color=OPEN_QUESTION, words="only in the suspect"
    ),
    Likeness.HIDDEN: Shape(marker="h", filled=False, color=OPEN_QUESTION, words="hidden"),
    Likeness.NEITHER: Shape(marker="_", filled=False, color=OPEN_QUESTION, words="in neither"),
}
"""The shapes of the line board where the same is meant."""

GOOD_ONE: Final = Shape(
    marker="v", filled=True, color=GOOD_EDGE, words="the good set's, at its level"
)
STAYS: Final = Shape(
    marker="s", filled=False, color=INK, words="stays, whatever the carrier: where it is in each"
)
