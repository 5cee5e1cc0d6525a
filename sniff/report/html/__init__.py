"""The report of a repair job: a view of its notebook, laid out as one self-contained HTML file."""

from sniff.report.html.render import render_report
from sniff.report.html.view import View, view_of

__all__ = ["View", "render_report", "view_of"]
