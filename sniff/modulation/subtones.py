"""Tones beside the audio: squelch tones below it, pilots above it, the mains' hum."""

from dataclasses import dataclass

from sniff.modulation.baseband import Baseband
from sniff.modulation.tones import AudioLines, Tone, measure_tone

SQUELCH_TONES_HZ = (
    *(67.0, 69.3, 71.9, 74.4, 77.0, 79.7, 82.5, 85.4, 88.5, 91.5, 94.8, 97.4, 100.0),
    *(103.5, 107.2, 110.9, 114.8, 118.8, 123.0, 127.3, 131.8, 136.5, 141.3, 146.2, 151.4),
    *(156.7, 162.2, 167.9, 173.8, 179.9, 186.2, 192.8, 203.5, 206.5, 210.7, 218.1, 225.7),
    *(229.1, 233.6, 241.8, 250.3, 254.1),
)
"""Tones of the continuous tone-coded squelch system (ANSI/TIA-603, table of CTCSS frequencies;
from memory)."""

SQUELCH_TOLERANCE = 0.005
"""How far an encoder may be off (ANSI/TIA-603, ±0.5 %; from memory)."""

STEREO_PILOT_HZ = 19e3
"""Pilot of stereo broadcasting, ±2 Hz (ITU-R BS.450-3, 2.2; 47 CFR 73.322)."""

MICROPHONE_PILOT_HZ = 32_768.0
"""Pilot of many radio microphones, the 2¹⁵ Hz of a watch crystal (common practice)."""

_PILOT_REACH = 0.002
_PILOT_BAND_HZ = (16e3, 45e3)
_CLEAR_DB = 12.0
_LEAST_PILOT_HZ = 200.0  # peak deviation; less is a spur (common practice, no source)
_LEAST_SQUELCH_HZ = 100.0
_SQUELCH_BAND_HZ = (60.0, 260.0)
_MAINS_HZ = (50.0, 60.0)
_MAINS_MULTIPLES = (1, 2, 3)
_MAINS_REACH_HZ = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pilot:
    """A steady tone above the audio.

    Attributes
    ----------
    name : str
        ``stereo`` (19 kHz), ``microphone`` (32.768 kHz) or ``other``.
    tone : Tone
    """

    name: str
    tone: Tone


@dataclass(frozen=True, slots=True, kw_only=True)
class Squelch:
    """A tone below the audio.

    Attributes
    ----------
    tone : Tone
    nominal_hz : float or None
        The squelch tone it is, or None when it is none of the list.
    """

    tone: Tone
    nominal_hz: float | None


def find_pilot(baseband: Baseband, lines: AudioLines, *, audio_top_hz: float) -> Pilot | None:
    """A pilot tone of an FM carrier, above the audio, if one stands out.

    Parameters
    ----------
    baseband : Baseband
    lines : AudioLines
    audio_top_hz : float
        What lies below is audio, Hz.
    """
    for name, nominal_hz in (("stereo", STEREO_PILOT_HZ), ("microphone", MICROPHONE_PILOT_HZ)):
        reach_hz = _PILOT_REACH * nominal_hz
        if nominal_hz + reach_hz < baseband.top_hz:
            tone = _stands_out(baseband, lines, nominal_hz - reach_hz, nominal_hz + reach_hz)
            if tone is not None and tone.amplitude >= _LEAST_PILOT_HZ:
                return Pilot(name=name, tone=tone)
    low_hz, high_hz = max(_PILOT_BAND_HZ[0], audio_top_hz), min(_PILOT_BAND_HZ[1], baseband.top_hz)
    tone = _stands_out(baseband, lines, low_hz, high_hz) if low_hz < high_hz else None
    if tone is None or tone.amplitude < _LEAST_PILOT_HZ:
        return None
    if tone.over_noise_db < 2.0 * _CLEAR_DB:
        return None
    return Pilot(name="other", tone=tone)


def find_squelch(baseband: Baseband, lines: AudioLines) -> Squelch | None:
    """A squelch tone of an FM carrier, below the audio, if one stands out."""
    if lines.rbw_hz > 8.0:
        return None  # two tones of the list would be one
    tone = _stands_out(baseband, lines, *_SQUELCH_BAND_HZ)
    if tone is None or tone.amplitude < _LEAST_SQUELCH_HZ or hum_of(tone.frequency_hz) is not None:
        return None
    nearest_hz = min(SQUELCH_TONES_HZ, key=lambda hz: abs(hz - tone.frequency_hz))
    named = abs(tone.frequency_hz / nearest_hz - 1.0) <= SQUELCH_TOLERANCE
    return Squelch(tone=tone, nominal_hz=nearest_hz if named else None)


def find_hum(baseband: Baseband, lines: AudioLines) -> Tone | None:
    """The strongest line at a low multiple of the mains' frequency, if one stands out."""
    best: Tone | None = None
    for mains_hz in _MAINS_HZ:
        for multiple in _MAINS_MULTIPLES:
            hz = multiple * mains_hz
            tone = _stands_out(baseband, lines, hz - _MAINS_REACH_HZ, hz + _MAINS_REACH_HZ)
            if tone is not None and (best is None or tone.amplitude > best.amplitude):
                best = tone
    return best


def hum_of(hz: float) -> float | None:
    """The multiple of the mains' frequency that a tone is, Hz, or None."""
    multiples = [k * mains_hz for mains_hz in _MAINS_HZ for k in _MAINS_MULTIPLES]
    nearest_hz = min(multiples, key=lambda multiple: abs(multiple - hz))
    # 100 Hz is a squelch tone as well: what is that near to the mains is taken for hum.
    return nearest_hz if abs(nearest_hz - hz) <= _MAINS_REACH_HZ / 4.0 else None


def _stands_out(
    baseband: Baseband, lines: AudioLines, low_hz: float, high_hz: float
) -> Tone | None:
    hz = lines.strongest_hz(low_hz, high_hz)
    if hz is None or lines.over_noise_db(hz) < _CLEAR_DB:
        return None
    tone = measure_tone(baseband, lines, hz)
    if tone is None or not low_hz <= tone.frequency_hz <= high_hz:
        return None
    return tone
