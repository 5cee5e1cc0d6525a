"""IQ in WAV: left is I, right is Q; RIFF and RF64, read through libsndfile."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sniff.errors import SourceError, UsageError
from sniff.model import Caution, ComplexSamples, SourceInfo
from sniff.sources.recording.access import file_bytes, open_bytes
from sniff.sources.recording.captures import Capture
from sniff.sources.recording.given import Given, overridden_hz
from sniff.sources.recording.riff import declared_data_bytes
from sniff.sources.recording.source import RecordingSource
from sniff.units import format_seconds

if TYPE_CHECKING:
    from soundfile import SoundFile

_BITS = {"PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32, "FLOAT": 32, "DOUBLE": 64}


class WavReader:
    """Reads stereo frames as complex samples; places are frames from the beginning.

    PCM of n bits is divided by 2**(n-1); eight bits are unsigned about 128, as WAV has it (not
    127.5, as a dongle has it: what a dongle's bytes mean is kept by ``cu8``).
    """

    stride = 1

    def __init__(self, path: Path, wav: "SoundFile") -> None:
        self._path = path
        self._wav = wav
        self.may_hold_nan = wav.subtype in ("FLOAT", "DOUBLE")

    def read(self, place: int, count: int) -> ComplexSamples:
        """Exactly `count` samples from frame `place` on.

        Raises
        ------
        SourceError
            When the file is closed, unreadable, or has become shorter since it was opened.
        """
        if self._wav.closed:
            raise SourceError(f"{self._path}: was closed; open it again to read it")
        frames = np.empty((count, 2), dtype=np.float32)
        try:
            self._wav.seek(place)
            got = len(self._wav.read(out=frames))
        except RuntimeError as error:  # libsndfile's errors are RuntimeErrors
            raise SourceError(f"{self._path}: cannot be read: {error}") from None
        if got < count:
            raise SourceError(f"{self._path}: became shorter while it was read")
        return frames.reshape(-1).view(np.complex64)

    def close(self) -> None:
        """Close the file; harmless when called twice."""
        self._wav.close()


def open_wav(path: Path, *, name: str, given: Given) -> RecordingSource:
    """Open a stereo WAV as IQ.

    Parameters
    ----------
    path : Path
    name : str
        As the user wrote it.
    given : Given
        The centre must be there; a rate replaces the file's own, with a caution.

    Raises
    ------
    SourceError
        When it is not a readable WAV of two channels in PCM or floating point.
    UsageError
        When the centre is missing or a datatype is given.
    """
    import soundfile  # loads a native library: only for WAV

    size = file_bytes(path)
    open_bytes(path).close()  # names a lack of permission, which libsndfile calls a system error
    if given.datatype is not None:
        raise UsageError(f"{name}: a WAV says its own datatype; leave --datatype out")
    if given.center_hz is None:
        raise UsageError(f"{name}: a WAV does not say its centre; give --center")
    try:
        wav = soundfile.SoundFile(str(path))
    except RuntimeError as error:
        reason = str(error).rpartition("': ")[2]
        if "SF_INFO" in reason:  # its word for a rate or a number of channels below one
            reason = "its header has no possible rate or number of channels"
        raise SourceError(f"{name}: is not a readable WAV: {reason}") from None
    try:
        _refuse_other_kinds(wav, name)
        cautions, rate_hz = [], float(wav.samplerate)
        if given.rate_hz is not None and given.rate_hz != rate_hz:
            cautions.append(overridden_hz("rate", said_hz=rate_hz, used_hz=given.rate_hz))
            rate_hz = given.rate_hz
        bits = _BITS[wav.subtype]
        declared = declared_data_bytes(path)
        if wav.frames == 0:
            hint = "; its header was never finished" if declared == 0 and size > 100 else ""
            raise SourceError(f"{name}: holds no samples{hint}")
        cautions += _length_cautions(declared, wav.frames, 2 * bits // 8, rate_hz)
    except BaseException:
        wav.close()
        raise
    is_float = wav.subtype in ("FLOAT", "DOUBLE")
    kind = "f" if is_float else "u" if wav.subtype == "PCM_U8" else "i"
    info = SourceInfo(
        kind="recording",
        name=name,
        datatype=f"c{kind}{bits}" + ("" if bits == 8 else "_le"),
        rail=1.0 if is_float else 1.0 - 2.0 ** (1 - bits),
        rate_hz=rate_hz,
        centers_hz=(),
        duration_s=None,
        tunable=False,
        cautions=tuple(cautions),
    )
    capture = Capture(center_hz=given.center_hz, index=0, samples=wav.frames, place=0)
    return RecordingSource(info=info, captures=(capture,), reader=WavReader(path, wav))


def _refuse_other_kinds(wav: "SoundFile", name: str) -> None:
    if wav.format not in ("WAV", "WAVEX", "RF64"):
        raise SourceError(f"{name}: is {wav.format}, not WAV, whatever its name says")
    if wav.channels == 1:
        raise SourceError(
            f"{name}: is mono: one real channel has no I and Q; record IQ as a stereo WAV"
        )
    if wav.channels != 2:
        raise SourceError(f"{name}: has {wav.channels} channels; IQ has two, I and Q")
    if wav.subtype not in _BITS:
        raise SourceError(f"{name}: is coded as {wav.subtype}; only PCM and float can be read")


def _length_cautions(
    declared: int | None, frames: int, frame_bytes: int, rate_hz: float
) -> list[Caution]:
    if declared is None:
        return [
            Caution(
                code="truncated",
                text=f"the WAV's header was never finished; {frames} samples "
                f"({format_seconds(frames / rate_hz)}) are there",
            )
        ]
    promised, left_over = divmod(declared, frame_bytes)
    if promised > frames:
        return [
            Caution(
                code="truncated",
                text=f"the recording is cut short: its header speaks of {promised} samples, "
                f"{frames} ({format_seconds(frames / rate_hz)}) are there",
            )
        ]
    if left_over:
        return [
            Caution(
                code="odd-length",
                text=f"the last {left_over} of {frame_bytes} bytes of a sample are left out: "
                "the recording ends within a sample",
            )
        ]
    return []
