"""Pictures: a result in, a matplotlib figure out. The only room that imports matplotlib."""

from sniff.report.plots.batch import draw_batch
from sniff.report.plots.board import draw_board
from sniff.report.plots.carrier import draw_carrier
from sniff.report.plots.compare import draw_comparison
from sniff.report.plots.course import draw_course
from sniff.report.plots.look import draw_look
from sniff.report.plots.save import render, save
from sniff.report.plots.warmup import draw_warm_up
from sniff.report.plots.watch import draw_watch

__all__ = [
    "draw_batch",
    "draw_board",
    "draw_carrier",
    "draw_comparison",
    "draw_course",
    "draw_look",
    "draw_warm_up",
    "draw_watch",
    "render",
    "save",
]
