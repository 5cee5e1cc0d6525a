"""From what the user writes after --from to an open source."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from calib.correction import Converter
from sniff.errors import SourceError, UsageError
from sniff.model import Source

UNDERSTOOD = (
    "bench:SCENE (a built-in scene or a .toml), dongle, dongle:SERIAL, or a recording "
    "(.sigmf-meta, .sigmf-data, .sigmf, .wav, or raw as .cu8, .ci16_le ...)"
)
"""What `open_source` takes, for help and errors."""

DONGLE_RATE_HZ = 2.4e6
DONGLE_CENTER_HZ = 100e6
DIRECT_CENTER_HZ = 10.7e6
"""The IF that is looked for without the tuner more often than anything else."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What the user asks of a source, besides its name; None where the source may choose.

    Attributes
    ----------
    datatype : str or None
        SigMF name of a recording's sample type.
    rate_hz, center_hz : float or None
        Sample rate and centre, Hz: set on a live source, stated of a recording.
    gain : float, "auto", "best" or None
        Gain of a live source: dB, left to the tuner, or the largest that neither clips nor
        compresses.
    bandwidth_hz : float or None
        Of a dongle's filter, Hz.
    direct : "i", "q" or None
        Leave a dongle's tuner out, for what lies below it.
    bias_supply : bool
        Direct voltage on a dongle's antenna socket.
    wait : bool
        When a dongle goes away, wait for it to come back.
    converter : Converter or None
        What lies between the air and the source.
    pad_db : float
        Attenuation between them, dB; negative for a preamplifier.
    verify : bool or None
        Whether to check a SigMF recording's hash; None: when it is not long.
    paced : bool
        Let the simulated bench run no faster than the clock.
    """

    datatype: str | None = None
    rate_hz: float | None = None
    center_hz: float | None = None
    gain: float | Literal["auto", "best"] | None = None
    bandwidth_hz: float | None = None
    direct: Literal["i", "q"] | None = None
    bias_supply: bool = False
    wait: bool = False
    converter: Converter | None = None
    pad_db: float = 0.0
    verify: bool | None = None
    paced: bool = False


def open_source(text: str, wishes: Wishes | None = None) -> Source:
    """Open what the user names.

    Parameters
    ----------
    text : str
        ``bench:SCENE``, ``dongle``, ``dongle:SERIAL``, or the path of a recording. A recording
        whose name looks like one of the others is written ``./dongle``.
    wishes : Wishes, optional

    Raises
    ------
    SourceError
        When it cannot be opened.
    UsageError
        When the wishes do not go with it.
    """
    wishes = wishes or Wishes()
    if wishes.converter is None and wishes.pad_db == 0:
        return _open(text, wishes)
    from sniff.sources.ahead import AheadSource

    converter, center_hz = wishes.converter, wishes.center_hz
    if converter is not None and center_hz is not None:
        center_hz = converter.behind(center_hz)
    inner = _open(text, replace(wishes, center_hz=center_hz))
    return AheadSource(inner, converter=converter, pad_db=wishes.pad_db)


def _open(text: str, wishes: Wishes) -> Source:
    kind, _, rest = text.partition(":")
    if kind in _LIVE:
        if wishes.datatype is not None:
            raise UsageError(f"{kind} has a datatype of its own; leave --datatype out")
        return _LIVE[kind](rest, wishes)
    return _open_recording(text, wishes)


def _open_bench(scene: str, wishes: Wishes) -> Source:
    from sniff.sources.bench import open_bench

    if not scene:
        raise UsageError("bench: names no scene; write bench:SCENE, a built-in one or a .toml")
    _refuse_dongles_own(f"bench:{scene}", wishes)
    if wishes.gain == "best":
        raise UsageError("the bench finds no best gain; give it in dB, or auto")
    source = open_bench(
        scene,
        rate_hz=wishes.rate_hz,
        center_hz=wishes.center_hz,
        gain_db=None if isinstance(wishes.gain, str) else wishes.gain,
        paced=wishes.paced,
    )
    if wishes.gain == "auto":
        source.set_gain(None)
    return source


def _open_dongle(serial: str, wishes: Wishes) -> Source:
    from sniff.sources.dongle import open_dongle

    center_hz = wishes.center_hz
    if center_hz is None:
        center_hz = DIRECT_CENTER_HZ if wishes.direct else DONGLE_CENTER_HZ
    return open_dongle(
        serial or None,
        rate_hz=DONGLE_RATE_HZ if wishes.rate_hz is None else wishes.rate_hz,
        center_hz=center_hz,
        gain="best" if wishes.gain is None else wishes.gain,
        bandwidth_hz=wishes.bandwidth_hz,
        direct=wishes.direct,
        bias_supply=wishes.bias_supply,
        wait=wishes.wait,
    )


def _refuse_dongles_own(name: str, wishes: Wishes) -> None:
    own = {
        "--bandwidth": wishes.bandwidth_hz is not None,
        "--direct": wishes.direct is not None,
        "--bias": wishes.bias_supply,
        "--wait": wishes.wait,
    }
    for option, asked in own.items():
        if asked:
            raise UsageError(f"{name}: {option} is for a dongle; leave it out")


def _open_recording(text: str, wishes: Wishes) -> Source:
    from sniff.sources.recording.formats import open_recording

    if wishes.gain is not None:
        raise UsageError(f"{text}: the gain of a recording cannot be changed; leave --gain out")
    _refuse_dongles_own(text, wishes)
    suffix = Path(text).suffix.lower()
    if suffix == ".toml":
        raise UsageError(f"{text}: is not a recording; to open it as a scene write bench:{text}")
    if _is_missing(text) and not _is_missing(f"{text}.sigmf-meta"):
        raise SourceError(f"{text}: there is no such file; {text}.sigmf-meta is there")
    if not text or (not suffix and _is_missing(text)):
        raise SourceError(f"{text!r} is not a source; give {UNDERSTOOD}")
    return open_recording(
        text,
        datatype=wishes.datatype,
        rate_hz=wishes.rate_hz,
        center_hz=wishes.center_hz,
        verify=wishes.verify,
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


_LIVE: dict[str, Callable[[str, Wishes], Source]] = {
    "bench": _open_bench,
    "dongle": _open_dongle,
}
