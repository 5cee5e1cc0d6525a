"""The picture of a carrier check: frequency against time, spectrum, audio in time and spectrum."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.correction import Correction
from sniff.model import Caution, Doubles
from sniff.modulation.baseband import Baseband, audio_spectrum
from sniff.modulation.classify import Kind
from sniff.modulation.measured import MeasuredCarrier
from sniff.report.plots import style
from sniff.report.plots.axis import (
    U_WORDS,
    Ruler,
    Scale,
    ruler_about,
    ruler_of_time,
    scale_of,
    thin,
    to_dbfs,
)
from sniff.report.plots.page import WIDTH_MM, Page, Sheet, open_page, unbroken
from sniff.transmitter.nouns import CarrierResult, Transmitter
from sniff.units import (
    format_measure,
    format_ppm,
    format_reading,
    format_seconds,
    format_span,
)

_LEFT_MM, _RIGHT_MM = 18.0, 4.0
_WIDTH_MM = WIDTH_MM - _LEFT_MM - _RIGHT_MM
_BETWEEN_MM = 20.0
_NAME_MM = 6.0
_TIME_MM, _SPECTRUM_MM, _AUDIO_MM = 38.0, 60.0, 42.0
_UNDER_MM = 13.0
_COLUMNS = 1400
_SHOWN_S = 0.02  # of the audio: some periods of a voice
_SHOWN_PERIODS = 6.0
_RANGE_DB = 110.0

_FREQUENCY: dict[str, Any] = {"color": style.TRACE, "linewidth": 0.9, "zorder": 2.5}
_DOT: dict[str, Any] = {"linestyle": "none", "marker": ".", "markersize": 3.0}
_JUDGED: dict[str, Any] = {
    "facecolor": style.SHADE,
    "label": "where the audio is judged",
    "zorder": 0,
}
_NOMINAL: dict[str, Any] = {**style.EXPECTED_STROKE, "label": "nominal"}
_ASKED: dict[str, Any] = {
    "color": style.FAULTY,
    "linewidth": 1.0,
    "linestyle": (0, (5, 2)),
    "label": "bandwidth asked for",
    "zorder": 3.0,
}
_OCCUPIED: dict[str, Any] = {
    "facecolor": style.ALLOWED,
    "edgecolor": "#9dbb96",
    "linewidth": 0.5,
    "label": "99 % of the power",
    "zorder": 0.5,
}
_SPECTRUM: dict[str, Any] = {"color": style.TRACE, "linewidth": 0.7, "zorder": 2.5}


def draw_carrier(
    checked: Transmitter,
    *,
    clock: Correction | None = None,
    asked_width_hz: float | None = None,
    cautions: Sequence[Caution] = (),
) -> Figure:
    """Draw a carrier check.

    Parameters
    ----------
    checked : Transmitter
        With a carrier that was measured.
    clock : Correction, optional
        Applied to the frequency axes.
    asked_width_hz : float, optional
        A bandwidth to be drawn about the nominal, or the measured, frequency, Hz.
    cautions : sequence of Caution
        For the small print.

    Returns
    -------
    Figure
        190 mm wide.

    Raises
    ------
    ValueError
        When no carrier was measured: there is nothing to draw.
    """
    measured, result = checked.measured, checked.result
    if measured is None or result.frequency_hz is None:
        raise ValueError("no carrier was measured")
    with style.context():
        scale = scale_of((), clock)
        audio = measured.baseband if measured.baseband and measured.baseband.parts else None
        sheet = Sheet(
            title=_title(result),
            keys=_keys(measured, result, asked_width_hz),
            footer=[_how(measured, scale), *(f"Caution: {caution.text}" for caution in cautions)],
        )
        body_mm = 2 * (_NAME_MM + _UNDER_MM) + _TIME_MM + _SPECTRUM_MM
        if audio is not None:
            body_mm += _NAME_MM + _AUDIO_MM + _UNDER_MM
        page = open_page(sheet, body_mm=body_mm)
        top_mm = sheet.top_mm + _NAME_MM
        _draw_time(page, top_mm, measured, result, scale)
        top_mm += _TIME_MM + _UNDER_MM + _NAME_MM
        _draw_spectrum(page, top_mm, measured, result, scale, asked_width_hz)
        if audio is not None:
            top_mm += _SPECTRUM_MM + _UNDER_MM + _NAME_MM
            half_mm = (_WIDTH_MM - _BETWEEN_MM) / 2.0
            _draw_audio(page, top_mm, half_mm, audio, measured)
            _draw_audio_spectrum(page, top_mm, half_mm, audio, measured)
        return page.figure


def _title(result: CarrierResult) -> str:
    reading = unbroken(format_reading(result.frequency_hz or 0.0, result.expanded_hz or 0.0))
    if result.verdict is None:
        return f"Carrier at {reading}"
    words = {"pass": "within", "fail": "outside", "undecided": "undecided against"}
    ppm = format_ppm(
        result.error_ppm or 0.0, (result.expanded_hz or 0.0) / (result.nominal_hz or 1.0) * 1e6
    )
    allowed = unbroken(f"±{format_span(result.tolerance_hz or 0.0)}")
    return f"Carrier at {reading}, {unbroken(ppm)} off: {words[result.verdict.value]} {allowed}"


def _keys(
    measured: MeasuredCarrier, result: CarrierResult, asked_width_hz: float | None
) -> list[Line2D | Patch]:
    keys: list[Line2D | Patch] = []
    if result.nominal_hz is not None:
        keys.append(Line2D([], [], **_NOMINAL))
    if result.tolerance_hz is not None:
        keys.append(Patch(**style.ALLOWED_BAND))
    if result.occupied_bandwidth_hz is not None:
        keys.append(Patch(**_OCCUPIED))
    keys.append(Line2D([], [], **style.NOISE_STROKE))
    if asked_width_hz is not None:
        keys.append(Line2D([], [], **_ASKED))
    if measured.baseband is not None and measured.baseband.parts:
        keys.append(Patch(**_JUDGED))
    return keys


def _how(measured: MeasuredCarrier, scale: Scale) -> str:
    kept = format_seconds(measured.kept_s)
    rbw = (
        ""
        if measured.spectrum is None
        else f"RBW {format_span(measured.spectrum.rbw_hz)} · channel "
        f"{format_measure(measured.channel.width_hz)} · "
    )
    return f"{rbw}{kept} demodulated · {measured.estimator} · {scale.statement} · {U_WORDS}"


def _name(page: Page, left_mm: float, top_mm: float, text: str) -> None:
    page.write(left_mm, top_mm - 4.6, text, fontweight="bold")


def _draw_time(
    page: Page, top_mm: float, measured: MeasuredCarrier, result: CarrierResult, scale: Scale
) -> None:
    axes = page.axes(left_mm=_LEFT_MM, top_mm=top_mm, width_mm=_WIDTH_MM, height_mm=_TIME_MM)
    axes.set_gid("time")
    about_hz = result.nominal_hz or result.frequency_hz or 0.0
    course = measured.course
    values: Doubles = np.empty(0)
    end_s = result.observed_s or 1.0
    if course is not None:
        values = scale.true_hz(measured.channel_zero_hz + course.offset_hz)
        end_s = max(end_s, float(course.times_s[-1]))
    seen = values[np.isfinite(values)]
    reach_hz = float(np.abs(seen - about_hz).max()) if seen.size else 0.0
    if result.tolerance_hz is not None:
        # A tolerance much wider than the course would hide it: then it is left outside.
        near = result.tolerance_hz < 20.0 * max(reach_hz, 1e-9)
        reach_hz = max(reach_hz, result.tolerance_hz) if near else reach_hz
    reach_hz = 1.25 * max(reach_hz, result.expanded_hz or 0.0 if reach_hz == 0.0 else 1e-3)
    ruler, words = ruler_about(about_hz, 2.0 * reach_hz)
    time, unit = ruler_of_time(end_s)
    if course is not None:
        axes.plot(time.place(course.times_s), ruler.place(values), **_FREQUENCY)
        # Of a short mark there is one point, which no line would show.
        dots = np.isfinite(values) & ~(_beside(values, 1) | _beside(values, -1))
        axes.plot(time.place(course.times_s[dots]), ruler.place(values[dots]), **_FREQUENCY, **_DOT)
    if result.nominal_hz is not None:
        axes.axhline(ruler.place(result.nominal_hz), **_NOMINAL)
        if result.tolerance_hz is not None:
            low = ruler.place(result.nominal_hz - result.tolerance_hz)
            high = ruler.place(result.nominal_hz + result.tolerance_hz)
            axes.axhspan(low, high, **style.ALLOWED_BAND)
    axes.set_ylim(ruler.place(about_hz - reach_hz), ruler.place(about_hz + reach_hz))
    axes.set_xlim(0.0, time.place(end_s))
    time.mark(axes.xaxis)
    replace(ruler, most_ticks=5).mark(axes.yaxis)
    axes.set_xlabel(f"time, {unit}")
    axes.grid(visible=True)
    _name(page, _LEFT_MM, top_mm, f"frequency, {words} ({scale.words})")


def _beside(values: Doubles, step: int) -> npt.NDArray[np.bool_]:
    """Whether the next value, or the one before, is known."""
    moved = np.full(values.size, np.nan)
    if step > 0:
        moved[:-1] = values[1:]
    else:
        moved[1:] = values[:-1]
    return np.asarray(np.isfinite(moved), dtype=np.bool_)


def _draw_spectrum(
    page: Page,
    top_mm: float,
    measured: MeasuredCarrier,
    result: CarrierResult,
    scale: Scale,
    asked_width_hz: float | None,
) -> None:
    axes = page.axes(left_mm=_LEFT_MM, top_mm=top_mm, width_mm=_WIDTH_MM, height_mm=_SPECTRUM_MM)
    axes.set_gid("spectrum")
    about_hz = result.nominal_hz or result.frequency_hz or 0.0
    spectrum, noise = measured.spectrum, measured.noise
    if spectrum is None or noise is None:
        axes.text(0.5, 0.5, "too short for a fine spectrum", ha="center", transform=axes.transAxes)
        return
    inside = noise > 0
    f = spectrum.frequencies_hz[inside]
    hz = scale.true_hz(f)
    ruler, words = ruler_about(about_hz, float(hz[-1] - hz[0]))
    level = to_dbfs(spectrum.tone_power[inside])
    x, y = thin(hz, level, columns=_COLUMNS)
    axes.plot(ruler.place(x), y, **_SPECTRUM)
    axes.plot(
        ruler.place(hz[[0, -1]]),
        to_dbfs(noise[inside][[0, -1]] * spectrum.rbw_hz),
        **style.NOISE_STROKE,
    )
    top, foot = float(level.max()), float(np.quantile(level, 0.02))
    floor = float(to_dbfs(noise[inside][:1] * spectrum.rbw_hz)[0])
    axes.set_ylim(max(min(foot, floor) - 6.0, top - _RANGE_DB), top + 8.0)
    if measured.occupied is not None:
        edges = [scale.true_hz(measured.occupied.low_hz), scale.true_hz(measured.occupied.high_hz)]
        axes.axvspan(ruler.place(edges[0]), ruler.place(edges[1]), **_OCCUPIED)
    if asked_width_hz is not None:
        for side in (-0.5, 0.5):
            axes.axvline(ruler.place(about_hz + side * asked_width_hz), **_ASKED)
    if result.nominal_hz is not None:
        axes.axvline(ruler.place(result.nominal_hz), **_NOMINAL)
    low_hz, high_hz = float(hz[0]), float(hz[-1])
    if asked_width_hz is not None:
        low_hz = min(low_hz, about_hz - 0.55 * asked_width_hz)
        high_hz = max(high_hz, about_hz + 0.55 * asked_width_hz)
    axes.set_xlim(ruler.place(low_hz), ruler.place(high_hz))
    ruler.mark(axes.xaxis)
    axes.set_xlabel(f"{words} ({scale.words})")
    axes.grid(visible=True)
    what = f"level in {format_span(spectrum.rbw_hz)}, dBFS"
    if result.occupied_bandwidth_hz is not None:
        what += f": {format_measure(result.occupied_bandwidth_hz)} hold 99 % of the power"
    _name(page, _LEFT_MM, top_mm, what)


def _unit(measured: MeasuredCarrier, largest: float) -> tuple[float, str]:
    if measured.decided.kind is Kind.AM:
        return 0.01, "depth, %"
    return (1e3, "deviation, kHz") if largest >= 1e3 else (1.0, "deviation, Hz")


def _draw_audio(
    page: Page, top_mm: float, width_mm: float, audio: Baseband, measured: MeasuredCarrier
) -> None:
    axes = page.axes(left_mm=_LEFT_MM, top_mm=top_mm, width_mm=width_mm, height_mm=_AUDIO_MM)
    axes.set_gid("audio")
    longest = max(audio.parts, key=lambda part: part.size)
    tone = None if measured.figures is None else measured.figures.audio
    shown_s = _SHOWN_S if tone is None else _SHOWN_PERIODS / tone.frequency_hz
    size = min(longest.size, max(8, round(shown_s * audio.rate_hz)))
    # Without a tone, where most happens: a pause of speech says little.
    first = (longest.size - size) // 2 if tone else int(np.abs(longest).argmax()) - size // 2
    first = min(max(first, 0), longest.size - size)
    part = longest[first : first + size]
    unit, words = _unit(measured, float(np.abs(part).max()))
    t_ms = 1e3 * np.arange(size) / audio.rate_hz
    axes.plot(t_ms, part / unit, color=style.TRACE, linewidth=0.8)
    axes.axhline(0.0, color=style.RULE, linewidth=0.6, zorder=1)
    axes.set_xlim(0.0, float(t_ms[-1]))
    Ruler(unit=1.0, most_ticks=5).mark(axes.xaxis)
    Ruler(unit=1.0, most_ticks=5).mark(axes.yaxis)
    axes.set_xlabel("time, ms")
    axes.grid(visible=True)
    _name(page, _LEFT_MM, top_mm, f"what it carries: {words}")


def _draw_audio_spectrum(
    page: Page, top_mm: float, width_mm: float, audio: Baseband, measured: MeasuredCarrier
) -> None:
    left_mm = _LEFT_MM + width_mm + _BETWEEN_MM
    axes = page.axes(left_mm=left_mm, top_mm=top_mm, width_mm=width_mm, height_mm=_AUDIO_MM)
    axes.set_gid("audio-spectrum")
    spectrum = audio_spectrum(audio)
    if spectrum is None:
        axes.text(0.5, 0.5, "too short", ha="center", transform=axes.transAxes)
        return
    half = spectrum.psd.size // 2
    f = spectrum.frequencies_hz[half:]
    shown = f <= audio.top_hz
    power = 2.0 * audio.scale**2 * spectrum.tone_power[half:][shown]
    am = measured.decided.kind is Kind.AM
    # Effective value of a tone in each bin, in decibels over 1 Hz, or over the full depth.
    level = to_dbfs(power)
    x, y = thin(f[shown] / 1e3, level, columns=_COLUMNS // 2)
    axes.plot(x, y, color=style.TRACE, linewidth=0.7)
    band = measured.band
    if band.high_hz > band.low_hz:
        axes.axvspan(band.low_hz / 1e3, band.high_hz / 1e3, **_JUDGED)
    top = float(level.max())
    axes.set_ylim(max(float(np.quantile(level, 0.02)) - 6.0, top - _RANGE_DB), top + 8.0)
    axes.set_xlim(0.0, audio.top_hz / 1e3)
    Ruler(unit=1.0, most_ticks=6).mark(axes.xaxis)
    axes.set_xlabel("audio frequency, kHz")
    axes.grid(visible=True)
    unit = "dB over full depth" if am else "dB over 1 Hz rms"
    _name(page, left_mm, top_mm, f"its spectrum, {unit}")
