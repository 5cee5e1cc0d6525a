"""From what the user writes after --from to an open source."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sniff.errors import SourceError, UsageError
from sniff.model import Source

UNDERSTOOD = (
    "bench:SCENE (a built-in scene or a .toml), dongle, dongle:SERIAL, or a recording "
    "(.sigmf-meta, .sigmf-data, .sigmf, .wav, or raw as .cu8, .ci16_le ...)"
)
"""What `open_source` takes, for help and errors."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Options:
    datatype: str | None
    rate_hz: float | None
    center_hz: float | None
    gain_db: float | None
    verify: bool | None
    paced: bool


def open_source(
    text: str,
    *,
    datatype: str | None = None,
    rate_hz: float | None = None,
    center_hz: float | None = None,
    gain_db: float | None = None,
    verify: bool | None = None,
    paced: bool = False,
) -> Source:
    """Open what the user names.

    Parameters
    ----------
    text : str
        ``bench:SCENE``, ``dongle``, ``dongle:SERIAL``, or the path of a recording. A recording
        whose name looks like one of the others is written ``./dongle``.
    datatype : str, optional
        SigMF name of a recording's sample type.
    rate_hz, center_hz : float, optional
        Sample rate and centre, Hz: set on a live source, stated of a recording.
    gain_db : float, optional
        Gain of a live source, dB.
    verify : bool, optional
        Whether to check a SigMF recording's hash; by default when it is not long.
    paced : bool
        Let the simulated bench run no faster than the clock.

    Raises
    ------
    SourceError
        When it cannot be opened.
    UsageError
        When the options do not go with it.
    """
    options = _Options(
        datatype=datatype,
        rate_hz=rate_hz,
        center_hz=center_hz,
        gain_db=gain_db,
        verify=verify,
        paced=paced,
    )
    kind, _, rest = text.partition(":")
    if kind in _LIVE:
        return _LIVE[kind](rest, options)
    return _open_recording(text, options)


def _open_bench(scene: str, options: _Options) -> Source:
    from sniff.sources.bench import open_bench

    if not scene:
        raise UsageError("bench: names no scene; write bench:SCENE, a built-in one or a .toml")
    if options.datatype is not None:
        raise UsageError("the bench has a datatype of its own; leave --datatype out")
    return open_bench(
        scene,
        rate_hz=options.rate_hz,
        center_hz=options.center_hz,
        gain_db=options.gain_db,
        paced=options.paced,
    )


def _open_dongle(serial: str, options: _Options) -> Source:
    raise SourceError(
        "this version reads recordings and the simulated bench, no dongle yet; record with other "
        "software and give the file"
    )


def _open_recording(text: str, options: _Options) -> Source:
    from sniff.sources.recording.formats import open_recording

    if options.gain_db is not None:
        raise UsageError(f"{text}: the gain of a recording cannot be changed; leave --gain out")
    suffix = Path(text).suffix.lower()
    if suffix == ".toml":
        raise UsageError(f"{text}: is not a recording; to open it as a scene write bench:{text}")
    if _is_missing(text) and not _is_missing(f"{text}.sigmf-meta"):
        raise SourceError(f"{text}: there is no such file; {text}.sigmf-meta is there")
    if not text or (not suffix and _is_missing(text)):
        raise SourceError(f"{text!r} is not a source; give {UNDERSTOOD}")
    return open_recording(
        text,
        datatype=options.datatype,
        rate_hz=options.rate_hz,
        center_hz=options.center_hz,
        verify=options.verify,
    )


def _is_missing(text: str) -> bool:
    """True when nothing is there; whatever else is wrong with a path, its reader will say."""
    try:
        Path(text).stat()
    except FileNotFoundError:
        return True
    except (OSError, ValueError):
        return False
    return False


_LIVE: dict[str, Callable[[str, _Options], Source]] = {
    "bench": _open_bench,
    "dongle": _open_dongle,
}
