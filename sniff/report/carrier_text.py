"""A carrier check as text: the figures one a line, the verdict, and the limits asked for."""

from rich.text import Text

from calib.correction import Correction
from sniff.limits import Quantity
from sniff.model import SourceInfo
from sniff.report.look_text import clock_words
from sniff.report.text import console, table
from sniff.transmitter.nouns import CarrierResult, HeldLimits, ModulationResult, ToneResult
from sniff.units import (
    format_db,
    format_dbfs,
    format_error,
    format_expanded,
    format_frequency,
    format_measure,
    format_ppm,
    format_reading,
    format_seconds,
    format_share,
    format_span,
)
from sniff.verdict import Outcome

_COLOURS = {
    Outcome.PASS: "bold green",
    Outcome.FAIL: "bold red",
    Outcome.UNDECIDED: "bold yellow",
}
_KINDS = {
    "none": "none: an unmodulated carrier",
    "fm": "frequency (or phase)",
    "am": "amplitude",
    "keyed": "keyed on and off",
}


def print_carrier(result: CarrierResult, info: SourceInfo, correction: Correction) -> None:
    """Print what a carrier check came to."""
    out = console()
    observed = "" if result.observed_s is None else f" {format_seconds(result.observed_s)},"
    out.print(f"{info.name}:{observed} clock {clock_words(correction)}.", markup=False)
    out.print()
    rows = _rows(result)
    if rows:
        out.print(table(["figure", "<value", "<how"], rows))
        out.print()
    if result.harmonics:
        out.print(_harmonics(result))
        out.print()
    if result.limits is not None:
        _print_limits(result.limits)
        out.print()
    verdict = result.verdict
    if verdict is None:
        out.print(f"Not judged: {result.why}.", markup=False)
    else:
        out.print(Text.assemble((verdict.value.upper(), _COLOURS[verdict]), f": {result.why}."))


def _rows(result: CarrierResult) -> list[tuple[str, str, str]]:
    rows: list[tuple[str, str, str]] = []
    if result.channel is not None and result.nominal_hz is not None:
        rows.append(("channel", result.channel, f"nominal {format_frequency(result.nominal_hz)}"))
    if result.frequency_hz is not None and result.expanded_hz is not None:
        how = f"{result.estimator}: {result.estimator_why}"
        rows.append(("carrier", format_reading(result.frequency_hz, result.expanded_hz), how))
        rows += _error(result, result.expanded_hz)
    if result.level_dbfs is not None and result.snr_db is not None:
        over = f"{format_db(result.snr_db)} over the noise in its channel"
        rows.append(("level", format_dbfs(result.level_dbfs), over))
    rows += _course(result)
    if result.modulation is not None:
        rows += _modulation(result.modulation)
    rows += [*_tone("pilot", result.pilot), *_tone("squelch tone", result.squelch)]
    return rows + _widths(result)


def _error(result: CarrierResult, expanded_hz: float) -> list[tuple[str, str, str]]:
    if result.error_hz is None or result.error_ppm is None or result.nominal_hz is None:
        return []
    error = format_error(result.error_hz, expanded_hz)
    ppm = format_ppm(result.error_ppm, expanded_hz / result.nominal_hz * 1e6)
    allowed = "" if result.tolerance_hz is None else f"±{format_span(result.tolerance_hz)} allowed"
    return [("error", f"{error} ({ppm})", allowed)]


def _course(result: CarrierResult) -> list[tuple[str, str, str]]:
    rows: list[tuple[str, str, str]] = []
    if result.drift_hz_per_s is not None and result.drift_ppm_per_min is not None:
        per_minute = f"{format_ppm(result.drift_ppm_per_min)}/min"
        rows.append(("drift", f"{format_error(result.drift_hz_per_s, 0.0)}/s", per_minute))
    if result.settling is not None:
        start = format_error(result.settling.start_hz, 0.0)
        after = f"settled after {format_seconds(result.settling.after_s)}"
        rows.append(("turned on", f"{start} off at first", after))
    return rows


def _modulation(found: ModulationResult) -> list[tuple[str, str, str]]:
    rows = [("modulation", _KINDS[found.kind], found.why)]
    if found.deviation_positive_hz is not None and found.deviation_negative_hz is not None:
        peaks = (
            f"+{format_measure(found.deviation_positive_hz)} "
            f"−{format_measure(found.deviation_negative_hz)}"
        )
        how = (
            "of the tones, averaged over their periods"
            if found.deviation_by == "tone"
            else "exceeded a thousandth of the time"
        )
        rows.append(("deviation, peak", peaks, how))
    if found.deviation_rms_hz is not None and found.deviation_largest_hz is not None:
        share = found.deviation_below_peak_share or 0.0
        largest = (
            f"largest {format_measure(found.deviation_largest_hz)}, noise and all; below the peak "
            f"{format_share(share, digits=1)} of the time"
        )
        rows.append(("deviation, rms", format_measure(found.deviation_rms_hz), largest))
    if found.depth_positive_percent is not None and found.depth_negative_percent is not None:
        depth = f"+{found.depth_positive_percent:.1f} % −{found.depth_negative_percent:.1f} %"
        rows.append(("depth", depth, ""))
    rows += _audio(found)
    return rows


def _audio(found: ModulationResult) -> list[tuple[str, str, str]]:
    rows: list[tuple[str, str, str]] = []
    filtered = f", {1e6 * found.deemphasis_s:g} µs de-emphasis" if found.deemphasis_s else ""
    band = f"{found.audio_low_hz:g} Hz to {format_frequency(found.audio_high_hz)}{filtered}"
    if found.audio_hz is not None and found.u_audio_hz is not None:
        rows.append(
            ("test tone", format_reading(found.audio_hz, 2.0 * max(found.u_audio_hz, 1e-3)), "")
        )
    if found.sinad_db is not None and found.thd_percent is not None:
        rows.append(("SINAD", f"{found.sinad_db:.1f} dB", band))
        thd = f"{found.thd_percent:.2f} %" if found.thd_percent else "none over the noise"
        rows.append(("THD", thd, _up_to(found.harmonics or 0)))
    if found.residual_hz is not None:
        rest = format_measure(found.residual_hz) if found.residual_hz else "none over the noise"
        rows.append(("residual FM, rms", rest, band))
    if found.residual_percent is not None:
        rows.append(("residual AM, rms", f"{found.residual_percent:.2f} %", band))
    if found.hum_hz is not None:
        size = (
            format_measure(found.hum_deviation_hz)
            if found.hum_deviation_hz is not None
            else f"{found.hum_depth_percent or 0.0:.2f} %"
        )
        rows.append(("hum", size, f"at {found.hum_hz:.1f} Hz"))
    return rows


def _up_to(harmonics: int) -> str:
    if harmonics == 0:
        return "no harmonic lies in what was demodulated: a wider --width"
    return f"harmonics up to number {harmonics + 1}"


def _tone(what: str, found: ToneResult | None) -> list[tuple[str, str, str]]:
    if found is None:
        return []
    size = "" if found.deviation_hz is None else f", {format_measure(found.deviation_hz)} deviation"
    reading = format_reading(found.frequency_hz, 2.0 * max(found.u_hz, 1e-3))
    return [(what, reading, f"{found.name}{size}")]


def _widths(result: CarrierResult) -> list[tuple[str, str, str]]:
    rows: list[tuple[str, str, str]] = []
    rbw = "" if result.bandwidth_rbw_hz is None else f"RBW {format_span(result.bandwidth_rbw_hz)}"
    if result.occupied_bandwidth_hz is not None:
        rows.append(
            ("occupied bandwidth", format_measure(result.occupied_bandwidth_hz), f"99 %, {rbw}")
        )
    if result.x_db_bandwidth_hz is not None:
        below = f"below the {result.x_db_reference}"
        rows.append(
            (f"{result.x_db:g} dB bandwidth", format_measure(result.x_db_bandwidth_hz), below)
        )
    if result.carson_hz is not None:
        rows.append(("Carson's estimate", format_measure(result.carson_hz), "2 (D + M), no limit"))
    for each in result.adjacent:
        sides = [(each.lower_db, each.lower_is_noise), (each.upper_db, each.upper_is_noise)]
        below, above = (_ratio(ratio_db, is_noise) for ratio_db, is_noise in sides)
        where = (
            f"±{format_measure(each.offset_hz)}, {format_measure(each.width_hz)} wide: below, above"
        )
        rows.append(("adjacent channels", f"{below}, {above}", where))
    return rows


def _ratio(ratio_db: float | None, is_noise: bool) -> str:
    if ratio_db is None:
        return "not in view"
    return f"{'at most ' if is_noise else ''}{format_db(ratio_db)}"


def _harmonics(result: CarrierResult) -> object:
    rows = []
    for each in result.harmonics:
        if each.level_dbc is not None:
            told = f"{format_db(each.level_dbc)}c"
        elif each.below_dbc is not None:
            told = f"not seen: below {format_db(each.below_dbc)}c"
        else:
            told = each.why or ""
        rows.append((str(each.order), format_frequency(each.frequency_hz), told))
    return table(["harmonic", "frequency", "<level"], rows)


def _print_limits(limits: HeldLimits) -> None:
    out = console()
    out.print(f"{limits.title} ({limits.source}; {limits.note}):", markup=False)
    if not limits.held:
        out.print("  none of its bands holds this carrier")
        return
    rows: list[tuple[str, str | Text, str, str]] = []
    for each in limits.held:
        state = Text(each.outcome.value, style=_COLOURS[each.outcome])
        if each.measured_hz is None:
            seen = each.why
        elif each.expanded_hz is None:
            seen = f"{format_measure(each.measured_hz)}, {each.why}"
        elif each.quantity is Quantity.FREQUENCY_ERROR:
            seen = (
                f"{format_error(each.measured_hz, each.expanded_hz)} "
                f"± {format_expanded(each.expanded_hz)}"
            )
        else:
            seen = f"{format_measure(each.measured_hz)} ± {format_expanded(each.expanded_hz)}"
        rows.append((each.quantity.value, state, f"at most {format_measure(each.limit_hz)}", seen))
    out.print(table(["quantity", "<limit", "<allowed", "<measured"], rows))
    out.print("A limit met says nothing about the law.")
