"""From the view to the text of the HTML file."""

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from sniff.job.folder import Job
from sniff.report.html.evidence import MOST_BYTES, Embedded, embed
from sniff.report.html.view import View

_PHOTOS_AT_MOST = MOST_BYTES // 2


def render_report(view: View, job: Job) -> str:
    """One file without a script, that needs nothing from outside, below 3 MB.

    Whatever people wrote is escaped by Jinja; the templates mark nothing as safe.
    """
    photos = embed(job, view.photos, most_bytes=_PHOTOS_AT_MOST)
    taken = sum(len(photo.data_uri) * 3 // 4 for photo in photos)
    pictures = embed(job, view.pictures, most_bytes=MOST_BYTES - taken)
    return (
        _environment()
        .get_template("report.html")
        .render(view=view, photos=photos, pictures=pictures, lead=_lead(pictures))
    )


@cache  # its templates are compiled once
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("sniff.report.html"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _lead(pictures: tuple[Embedded, ...]) -> tuple[Embedded, ...]:
    """For the first page: the first course of each side, which needs no explanation."""
    courses = [picture for picture in pictures if picture.data_uri and picture.picture.course]
    sides = {picture.picture.side: picture for picture in reversed(courses)}
    return tuple(sides[side] for side in ("before", "after") if side in sides)
