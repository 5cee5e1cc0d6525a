"""Quantities as people write them: the only place that parses and formats numbers."""

import re
from dataclasses import dataclass
from math import ceil, floor, isfinite, log10

from sniff.errors import UsageError

_PREFIXES = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}
_NUMBER = r"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)"
_FREQUENCY = re.compile(rf"\s*{_NUMBER}\s*([kKMG]?)\s*(?:[Hh][Zz])?\s*")
_PARTS = re.compile(rf"\s*{_NUMBER}\s*(ppm|ppb|%)\s*")
_DURATION = re.compile(rf"\s*{_NUMBER}\s*(us|µs|ms|s|min|h)?\s*")
_DURATION_S = {"us": 1e-6, "µs": 1e-6, "ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0}
_PARTS_PPM = {"ppm": 1.0, "ppb": 1e-3, "%": 1e4}


def parse_frequency(text: str) -> float:
    """Read ``83.6M``, ``10.7 MHz``, ``455k`` or plain hertz; returns Hz.

    Raises
    ------
    UsageError
        When the text is not a finite frequency. A lower-case ``m`` is refused: millihertz is
        never meant, and a guess would be a factor of 10⁹.
    """
    found = _FREQUENCY.fullmatch(text)
    value = float(found[1]) * _PREFIXES[found[2]] if found else float("nan")
    if not isfinite(value):
        raise UsageError(f"{text!r} is not a frequency; write 83.6M, 10.7 MHz, 455k or plain hertz")
    return value


def parse_duration(text: str) -> float:
    """Read ``2.5``, ``300 ms``, ``30min`` or ``8h``; returns seconds.

    Raises
    ------
    UsageError
        When the text is not a finite, non-negative duration.
    """
    found = _DURATION.fullmatch(text)
    value = float(found[1]) * _DURATION_S[found[2] or "s"] if found else float("nan")
    if not isfinite(value) or value < 0:
        raise UsageError(f"{text!r} is not a duration; write 2.5, 300ms, 30min or 8h")
    return value


def parse_size(text: str) -> int:
    """Read ``2GB``, ``500 MB`` or plain bytes; returns bytes (powers of ten).

    Raises
    ------
    UsageError
        When the text is not a size above zero.
    """
    found = re.fullmatch(rf"\s*{_NUMBER}\s*([kKMG]?)B?\s*", text)
    value = float(found[1]) * _PREFIXES[found[2]] if found else float("nan")
    if not isfinite(value) or value < 1:
        raise UsageError(f"{text!r} is not a size; write 2GB, 500MB or plain bytes")
    return int(value)


def parse_decibels(text: str) -> float:
    """Read ``20dB``, ``-15 dB`` or ``20``; returns decibels.

    Raises
    ------
    UsageError
        When the text is not a finite number of decibels.
    """
    found = re.fullmatch(rf"\s*{_NUMBER}\s*(?:dB)?\s*", text)
    value = float(found[1]) if found else float("nan")
    if not isfinite(value):
        raise UsageError(f"{text!r} is not a number of decibels; write 20dB or -15dB")
    return value


def parse_dbm(text: str) -> float:
    """Read ``-30dBm`` or ``-30 dBm``; returns dBm.

    Raises
    ------
    UsageError
        When the text is not a finite level in dBm. A bare number is refused: it could be dBFS.
    """
    return _level(text, "dBm")


def parse_dbfs(text: str) -> float:
    """Read ``-41dBFS`` or ``-41 dBFS``; returns dBFS.

    Raises
    ------
    UsageError
        When the text is not a finite level in dBFS. A bare number is refused: it could be dBm.
    """
    return _level(text, "dBFS")


def _level(text: str, unit: str) -> float:
    found = re.fullmatch(rf"\s*{_NUMBER}\s*{unit}\s*", text.replace("−", "-"))
    value = float(found[1]) if found else float("nan")
    if not isfinite(value):
        raise UsageError(f"{text!r} is not a level in {unit}; write -30{unit}")
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """An allowed error, either relative (`ppm`) or absolute (`hz`); exactly one is set."""

    ppm: float | None = None
    hz: float | None = None

    def __post_init__(self) -> None:
        if (self.ppm is None) == (self.hz is None):
            raise ValueError("a tolerance is either ppm or Hz")

    def at(self, nominal_hz: float) -> float:
        """The allowed error of a line at `nominal_hz`, Hz."""
        return self.hz if self.hz is not None else abs(nominal_hz) * (self.ppm or 0.0) * 1e-6

    def __str__(self) -> str:
        return f"{self.ppm:g} ppm" if self.ppm is not None else format_span(self.hz or 0.0)


def parse_tolerance(text: str) -> Tolerance:
    """Read ``50ppm``, ``0.005 %`` or ``5kHz``.

    Raises
    ------
    UsageError
        When the text is neither parts nor a frequency, or is negative. A bare number is refused:
        it could be ppm or hertz.
    """
    found = _PARTS.fullmatch(text)
    if found:
        tolerance = Tolerance(ppm=float(found[1]) * _PARTS_PPM[found[2]])
    elif re.fullmatch(_NUMBER, text.strip()):
        raise UsageError(f"tolerance {text!r} has no unit; write 50ppm or 5kHz")
    else:
        tolerance = Tolerance(hz=parse_frequency(text))
    size = tolerance.ppm if tolerance.ppm is not None else tolerance.hz
    if size is None or not isfinite(size) or size < 0:
        raise UsageError(f"tolerance {text!r} must not be negative")
    return tolerance


def _scale(hz: float) -> tuple[float, str]:
    size = abs(hz)
    if size >= 1e6:
        return 1e6, "MHz"
    if size >= 1e3:
        return 1e3, "kHz"
    return 1.0, "Hz"


def _decimals(unit_hz: float, resolution_hz: float) -> int:
    return max(0, -floor(log10(resolution_hz / unit_hz) + 1e-9))


def format_frequency(hz: float, expanded_hz: float | None = None) -> str:
    """A frequency to as many digits as its uncertainty allows.

    Parameters
    ----------
    hz : float
        The frequency, Hz.
    expanded_hz : float, optional
        U (k = 2); the last digit shown has the weight of U's second digit. Without it the
        frequency is taken as exact and shown to the hertz, trailing zeros dropped.
    """
    unit_hz, unit = _scale(hz)
    if expanded_hz is None:
        text = f"{hz / unit_hz:.{_decimals(unit_hz, 1.0)}f}"
        return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}"
    decimals = 9 if expanded_hz <= 0 else _decimals(unit_hz, _second_digit(expanded_hz))
    return f"{hz / unit_hz:.{min(decimals, 9)}f} {unit}"


def _second_digit(value: float) -> float:
    """Weight of the second significant digit, after rounding to two."""
    rounded = float(f"{abs(value):.1e}")
    return 10.0 ** (floor(log10(rounded)) - 1)


def format_span(hz: float) -> str:
    """A width, step or uncertainty: two significant digits, or whole ones where it has more."""
    unit_hz, unit = _scale(float(f"{hz:.1e}"))
    value = hz / unit_hz
    if value == 0:
        return "0 Hz"
    decimals = max(0, 1 - floor(log10(abs(float(f"{value:.1e}")))))
    return f"{value:.{decimals}f} {unit}"


def format_measure(hz: float) -> str:
    """A width or deviation to three significant digits: ``17.5 kHz``, ``480 Hz``."""
    rounded = float(f"{hz:.3g}")
    unit_hz, unit = _scale(rounded)
    value = rounded / unit_hz
    decimals = max(0, 2 - floor(log10(abs(value)))) if value else 0
    return f"{value:.{decimals}f} {unit}"


def format_expanded(hz: float) -> str:
    """An uncertainty, two significant digits (JCGM 100:2008, 7.2.6): ``4.2 kHz``, ``170 kHz``."""
    return format_span(float(f"{hz:.1e}"))


def format_reading(hz: float, expanded_hz: float) -> str:
    """``83.6012 MHz ± 4.2 kHz``: value and U (k = 2)."""
    return f"{format_frequency(hz, expanded_hz)} ± {format_expanded(expanded_hz)}"


def format_error(hz: float, expanded_hz: float) -> str:
    """A signed difference, rounded to its uncertainty: ``+1.3 kHz``."""
    unit_hz, unit = _scale(max(abs(hz), expanded_hz))
    decimals = 1 if expanded_hz <= 0 else min(6, _decimals(unit_hz, _second_digit(expanded_hz)))
    return f"{_no_negative_zero(f'{hz / unit_hz:+.{decimals}f}')} {unit}"


def _no_negative_zero(text: str) -> str:
    return text.replace("-", "+") if float(text) == 0 else text.replace("-", "−")


def format_ppm(ppm: float, expanded_ppm: float | None = None) -> str:
    """A signed relative error in ppm, rounded to its uncertainty where that is given."""
    decimals = 2 if not expanded_ppm else min(4, _decimals(1.0, _second_digit(expanded_ppm)))
    return f"{_no_negative_zero(f'{ppm:+.{decimals}f}')} ppm"


def format_ppm_reading(ppm: float, expanded_ppm: float) -> str:
    """``+1.9 ± 1.4 ppm``: a relative difference and its U (k = 2)."""
    return f"{format_ppm(ppm, expanded_ppm).removesuffix(' ppm')} ± {format_parts(expanded_ppm)}"


def to_db(power_ratio: float) -> float:
    """Decibels of a power ratio; zero power reads −300 dB, so that no infinity leaves here."""
    return 10.0 * log10(max(power_ratio, 1e-30))


def format_parts(ppm: float) -> str:
    """The size of a relative uncertainty, two significant digits: ``115 ppm``, ``0.42 ppm``."""
    decimals = 0 if ppm <= 0 else max(0, -floor(log10(_second_digit(ppm))))
    return f"{ppm:.{decimals}f} ppm"


def format_dbfs(level_dbfs: float) -> str:
    """A level, ``−43.2 dBFS``."""
    return f"{_no_negative_zero(f'{level_dbfs:.1f}').lstrip('+')} dBFS"


def format_dbm(level_dbm: float, expanded_db: float) -> str:
    """A calibrated level with U (k = 2), ``−30.2 dBm ± 1.4 dB``."""
    level = _no_negative_zero(f"{level_dbm:.1f}").lstrip("+")
    return f"{level} dBm ± {expanded_db:.1f} dB"


def format_db(difference_db: float) -> str:
    """A signed ratio, ``−12.3 dB``."""
    return f"{_no_negative_zero(f'{difference_db:+.1f}')} dB"


def format_db_reading(difference_db: float, expanded_db: float) -> str:
    """``−1.4 ± 6.0 dB``: a ratio and its U (k = 2)."""
    return f"{format_db(difference_db).removesuffix(' dB')} ± {expanded_db:.1f} dB"


def format_chance(probability: float) -> str:
    """A probability to two decimals, a small one to two significant digits."""
    if probability < 1e-4:
        return "< 0.0001"
    return f"{probability:.2f}" if probability >= 0.1 else f"{probability:.2g}"


def format_share(share: float, *, digits: int = 0) -> str:
    """A part of a whole, ``88 %``; with more digits where it would read like all or like nothing.

    Parameters
    ----------
    share : float
        1 is the whole.
    digits : int
        After the point, or more.
    """
    for more in range(digits, digits + 7):
        text = f"{100.0 * share:.{more}f}"
        if share in (0.0, 1.0) or float(text) not in (0.0, 100.0):
            break
    return f"{text} %"


def format_seconds(seconds: float) -> str:
    """A duration in the unit that suits it, three significant digits."""
    for unit_s, unit, below_s in ((1e-3, "ms", 1.0), (1.0, "s", 120.0), (60.0, "min", 7200.0)):
        # Rounded first: 999.6 ms is a second, not 1e+03 ms.
        value = float(f"{seconds / unit_s:.3g}")
        if value * unit_s < below_s:
            return f"{value:g} {unit}"
    hours = float(f"{seconds / 3600.0:.3g}")
    return f"{hours:.0f} h" if hours >= 100 else f"{hours:g} h"


def format_times(count: int) -> str:
    """How often: ``once``, ``3 times``."""
    return "once" if count == 1 else f"{count} times"


def format_moment(seconds: float) -> str:
    """A moment in a recording or run, to the millisecond: ``1.343 s``, ``2:13:07.250``."""
    whole_ms = round(seconds * 1e3)
    if whole_ms < 600_000:
        return f"{whole_ms / 1e3:.3f} s"
    minutes, ms = divmod(whole_ms, 60_000)
    return f"{minutes // 60}:{minutes % 60:02d}:{ms / 1e3:06.3f}"


_RATE_UNITS = ((60.0, "minute"), (1.0, "hour"), (1 / 24, "day"), (1 / 168, "week"))


def format_rate(per_hour: float, *, at_most: bool = False) -> str:
    """A rate of events, two significant digits: ``0.38 per hour``, ``2.1 per day``.

    With `at_most` it is rounded up, so that a bound stays one.
    """
    value, unit = per_hour, "hour"
    for unit_per_hour, name in _RATE_UNITS:
        value, unit = per_hour / unit_per_hour, name
        if value >= (2.0 if name == "minute" else 0.1):
            break
    return f"{_two_digits(value, up=at_most)} per {unit}"


def format_at_least(ratio: float) -> str:
    """A factor that is a lower bound, two significant digits, rounded down: ``12``, ``1.3``."""
    return _two_digits(ratio, down=True)


def _two_digits(value: float, *, up: bool = False, down: bool = False) -> str:
    if value <= 0:
        return "0"
    step = 10.0 ** (floor(log10(value)) - 1)
    # A tenth of a millionth of a step is left out: 0.30000000000000004 is no 0.31.
    steps = value / step
    whole = ceil(steps - 1e-7) if up else floor(steps + 1e-7) if down else round(steps)
    return f"{whole * step:.{max(0, -round(log10(step)))}f}"
