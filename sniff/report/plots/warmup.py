"""The picture of a warm-up: clock error against time, the fit, and the moment of trust.

Above the error itself, below what the fit leaves of it, on a scale of its own: a settling of some
ppm and a scatter of some ppb cannot share one.
"""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.warmup import Shape
from sniff.model import Doubles
from sniff.report.plots import style
from sniff.report.plots.axis import Ruler, ruler_of_time
from sniff.report.plots.page import WIDTH_MM, Page, Sheet, open_page
from sniff.report.warmup_text import pace_words, trust_words
from sniff.units import format_parts, format_ppm, format_seconds
from sniff.warmed import Warmed

_LEFT_MM, _RIGHT_MM = 16.0, 6.0
_NAME_OVER_MM = 5.5
_COURSE_MM, _REST_MM = 84.0, 34.0
_BETWEEN_MM, _UNDER_AXES_MM = 9.0, 14.0
_CURVE_POINTS = 600

_POINTS: dict[str, Any] = {
    "color": style.TRACE,
    "linestyle": "none",
    "marker": "o",
    "markersize": 2.6,
    "markeredgewidth": 0.0,
    "label": "measured",
    "zorder": 2.5,
}
_FIT: dict[str, Any] = {"color": style.FLOOR, "linewidth": 0.9, "label": "fit", "zorder": 3.0}
_BAND: dict[str, Any] = {
    "facecolor": style.HOLD,
    "alpha": 0.35,
    "linewidth": 0.0,
    "label": "U (k = 2) of fit and scatter",
    "zorder": 1.5,
}
_TRUST: dict[str, Any] = {
    "color": style.FINE,
    "linewidth": 1.2,
    "linestyle": (0, (5, 3)),
    "label": "trusted from here on",
    "zorder": 3.5,
}


def draw_warm_up(warmed: Warmed) -> Figure:
    """Draw a clock's warm-up.

    Returns
    -------
    Figure
        190 mm wide.
    """
    with style.context():
        sheet = Sheet(title=_title(warmed), keys=_keys(warmed), footer=_footer(warmed))
        body_mm = _NAME_OVER_MM + _COURSE_MM + _BETWEEN_MM + _REST_MM + _UNDER_AXES_MM
        page = open_page(sheet, body_mm=body_mm)
        time, unit = ruler_of_time(warmed.followed_s)
        top_mm = sheet.top_mm + _NAME_OVER_MM
        above = _panel(page, "clock error, ppm (above zero: fast)", top_mm, _COURSE_MM)
        above.tick_params(labelbottom=False)
        _draw_course(above, warmed, time)
        top_mm += _COURSE_MM + _BETWEEN_MM
        rest, rest_unit = _rest_ruler(warmed)
        below = _panel(page, f"measured less fit, {rest_unit}", top_mm, _REST_MM, sharex=above)
        _draw_rest(below, warmed, time, rest)
        for axes in (above, below):
            _draw_holes(axes, warmed, time)
            axes.grid(visible=True)
            if warmed.trust.after_s is not None:
                axes.axvline(time.place(warmed.trust.after_s), **_TRUST)
        below.set_xlim(0.0, time.place(warmed.followed_s))
        time.mark(below.xaxis)
        below.set_xlabel(f"time since the first point, {unit}")
        return page.figure


def _panel(page: Page, name: str, top_mm: float, height_mm: float, **options: Any) -> Axes:
    page.write(_LEFT_MM, top_mm - style.LINE_MM - 1.6, name)
    return page.axes(
        left_mm=_LEFT_MM,
        top_mm=top_mm,
        width_mm=WIDTH_MM - _LEFT_MM - _RIGHT_MM,
        height_mm=height_mm,
        **options,
    )


def _draw_course(axes: Axes, warmed: Warmed, time: Ruler) -> None:
    moments_s, value, expanded = _curve(warmed)
    place = time.place(moments_s)
    axes.fill_between(place, value - expanded, value + expanded, **_BAND)
    axes.plot(time.place(warmed.times_s), warmed.ppm, **_POINTS)
    axes.plot(place, value, **_FIT)
    if warmed.trust.after_s is not None:
        axes.fill_between(
            [time.place(warmed.trust.after_s), time.place(warmed.followed_s)],
            warmed.fit.ppm - warmed.trust.limit_ppm,
            warmed.fit.ppm + warmed.trust.limit_ppm,
            **_allowed(warmed),
        )
    Ruler(unit=1.0, most_ticks=8).mark(axes.yaxis)


def _draw_rest(axes: Axes, warmed: Warmed, time: Ruler, rest: Ruler) -> None:
    moments_s, _, expanded = _curve(warmed)
    limit = rest.place(expanded)
    axes.fill_between(time.place(moments_s), -limit, limit, **_BAND)
    axes.axhline(0.0, **_FIT)
    left = warmed.ppm - warmed.fit.at(warmed.times_s)[0]
    axes.plot(time.place(warmed.times_s), rest.place(left), **_POINTS)
    rest.mark(axes.yaxis)


def _draw_holes(axes: Axes, warmed: Warmed, time: Ruler) -> None:
    step_s = warmed.pace.step_s
    for number in np.flatnonzero(np.isnan(warmed.ppm)):
        axes.axvspan(
            time.place(number * step_s), time.place((number + 1) * step_s), **style.UNOBSERVED
        )


def _curve(warmed: Warmed) -> tuple[Doubles, Doubles, Doubles]:
    """Moments, the fit there, and U of a point about it."""
    moments_s = np.linspace(warmed.fit.start_s, warmed.fit.end_s, _CURVE_POINTS)
    value, u = warmed.fit.at(moments_s)
    return moments_s, value, 2.0 * np.hypot(u, warmed.fit.scatter_ppm)


def _rest_ruler(warmed: Warmed) -> tuple[Ruler, str]:
    small = warmed.fit.scatter_ppm < 0.02
    return Ruler(unit=1e-3 if small else 1.0, most_ticks=5), "ppb" if small else "ppm"


def _allowed(warmed: Warmed) -> dict[str, Any]:
    words = f"± {format_parts(warmed.trust.limit_ppm)} about the end"
    return {**style.ALLOWED_BAND, "label": words}


def _keys(warmed: Warmed) -> list[Any]:
    keys: list[Any] = [Line2D([], [], **_POINTS), Line2D([], [], **_FIT), Patch(**_BAND)]
    if warmed.trust.after_s is not None:
        keys += [Line2D([], [], **_TRUST), Patch(**_allowed(warmed))]
    if warmed.unobserved_s:
        keys.append(Patch(**style.UNOBSERVED))
    return keys


def _title(warmed: Warmed) -> str:
    fit, trust = warmed.fit, warmed.trust
    if fit.shape is Shape.BENDING:
        course = "The clock still bends"
    elif fit.settling:
        each = " and ".join(
            f"{format_ppm(-s.amplitude_ppm)} in {format_seconds(s.time_constant_s)}"
            for s in fit.settling
        )
        course = f"The clock settles by {each} (time constant)"
    else:
        course = f"The clock drifts by {format_ppm(fit.drift_ppm_per_hour)} per hour"
    if trust.after_s is not None:
        return f"{course}; trusted from {format_seconds(trust.after_s)} on"
    return f"{course}; not to be trusted yet"


def _footer(warmed: Warmed) -> list[str]:
    fit, expanded = warmed.fit, 2.0 * warmed.reference.u_ppm
    drift = 2.0 * fit.u_drift_ppm_per_hour
    return [
        f"{warmed.reference.name}, itself ± {format_parts(expanded)} (k = 2), which is in no band "
        f"here · {warmed.observed} points, {pace_words(warmed.pace)}",
        trust_words(warmed),
        f"drift left {format_ppm(fit.drift_ppm_per_hour, drift)} ± {format_parts(drift)} per hour "
        f"· scatter {format_parts(fit.scatter_ppm)} rms",
        *(f"Caution: {caution.text}" for caution in warmed.cautions),
    ]
