"""Reading a figure back: its texts, lines and boxes."""

from itertools import combinations, pairwise
from typing import Any

import numpy as np
from matplotlib.backend_bases import RendererBase
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.transforms import Bbox


class _Listener(RendererBase):
    """Draws nothing, and remembers which texts it was asked to draw."""

    def __init__(self) -> None:
        super().__init__()
        self.heard: list[Text] = []

    def draw_path(self, *_: Any, **__: Any) -> None:
        """Ignore it."""

    def draw_image(self, *_: Any, **__: Any) -> None:
        """Ignore it."""

    def draw_text(self, *_: Any, mtext: Text | None = None, **__: Any) -> None:
        """Remember a text of one line; of several, matplotlib tells only the lines."""
        if mtext is not None:
            self.heard.append(mtext)


def texts(figure: Figure) -> list[Text]:
    """All texts that are really drawn: ticks outside an axis' limits have labels that are not."""
    listener = _Listener()
    figure.draw(listener)
    return [
        text
        for text in figure.findobj(Text)
        if isinstance(text, Text)
        and text.get_text().strip()
        and (text in listener.heard or "\n" in text.get_text())
    ]


def words(figure: Figure) -> str:
    """All that can be read, joined."""
    return "\n".join(text.get_text().replace("\N{NO-BREAK SPACE}", " ") for text in texts(figure))


def labelled(figure: Figure, prefix: str) -> list[Text]:
    """Texts whose identifier begins so, in order."""
    found = [t for t in texts(figure) if (t.get_gid() or "").startswith(prefix)]
    return sorted(found, key=lambda text: int(str(text.get_gid()).rsplit("-", 1)[1]))


def leaders(figure: Figure) -> dict[int, Line2D]:
    """Leader lines by their label's number."""
    return {
        int(str(line.get_gid()).rsplit("-", 1)[1]): line
        for line in figure.findobj(Line2D)
        if isinstance(line, Line2D) and str(line.get_gid()).startswith("leader-")
    }


def overlapping(things: list[Text]) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes share more than their edges."""
    boxes = [(text.get_text(), text.get_window_extent()) for text in things]
    return [
        (first, second)
        for (first, one), (second, two) in combinations(boxes, 2)
        if _shared(one, two) > 0.5
    ]


def _shared(one: Bbox, two: Bbox) -> float:
    """Area that two boxes share, square points; half a point of slack on every side."""
    width = min(one.x1, two.x1) - max(one.x0, two.x0) - 1.0
    height = min(one.y1, two.y1) - max(one.y0, two.y0) - 1.0
    return max(width, 0.0) * max(height, 0.0)


def crosses(line: Line2D, box: Bbox) -> bool:
    """Whether a line runs through a box, by points a fifth of a pixel apart."""
    path = line.get_transform().transform(np.column_stack(line.get_data()))
    for start, stop in pairwise(path):
        count = max(2, int(5 * np.hypot(*(stop - start))))
        points = start + np.linspace(0.0, 1.0, count)[:, np.newaxis] * (stop - start)
        inside = (
            (points[:, 0] > box.x0)
            & (points[:, 0] < box.x1)
            & (points[:, 1] > box.y0)
            & (points[:, 1] < box.y1)
        )
        if inside.any():
            return True
    return False


def legend(figure: Figure) -> list[str]:
    """Words of the legend's entries."""
    return [text.get_text() for legend in figure.legends for text in legend.get_texts()]


def drawn(figure: Figure, label: str, *, axes: int = 0) -> Line2D:
    """The line of this label in one of the figure's axes."""
    found = [line for line in figure.axes[axes].lines if line.get_label() == label]
    assert len(found) == 1, f"{len(found)} lines are labelled {label!r}"
    return found[0]
