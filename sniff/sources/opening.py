"""From what the user writes after --from to an open source."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from calib.correction import Converter
from sniff.errors import SourceError, UsageError
from sniff.model import Caution, Source
from sniff.sources.ahead import NOTHING_AHEAD, Ahead, AheadSource, in_words
from sniff.sources.recording.given import overridden

if TYPE_CHECKING:
    from sniff.sources.recording.source import RecordingSource

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
        What lies between the air and the source; None where a recording may say it itself.
    pad_db : float or None
        Attenuation between them, dB; negative for a preamplifier. None as above.
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
    pad_db: float | None = None
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
    converter, center_hz = wishes.converter, wishes.center_hz
    if converter is not None and center_hz is not None:
        center_hz = converter.behind(center_hz)
    inner, stated = _open(text, replace(wishes, center_hz=center_hz))
    used, cautions = _what_is_ahead(stated, wishes)
    if used == NOTHING_AHEAD and not cautions:
        return inner
    return AheadSource(inner, used, cautions=cautions)


def is_live(text: str) -> bool:
    """Whether what the user names is heard now, and no recording."""
    return text.partition(":")[0] in _LIVE


def files_of(text: str) -> tuple[Path, ...]:
    """The files that a source, which could be opened, is read from; none for a live one."""
    if is_live(text):
        return ()
    path = Path(text)
    if path.suffix.lower() not in (".sigmf-meta", ".sigmf-data"):
        return (path,)
    from sniff.sources.recording.sigmf_files import METADATA, find_sigmf

    return (path.with_suffix(METADATA), find_sigmf(path).data_path)


def _what_is_ahead(stated: Ahead, wishes: Wishes) -> tuple[Ahead, tuple[Caution, ...]]:
    """What the user says lies ahead, and where he says nothing, what the recording says itself."""
    converter, pad_db, cautions = wishes.converter, wishes.pad_db, []
    if pad_db is not None and stated.pad_db not in (0.0, pad_db):
        words = f"{stated.pad_db:g} dB", f"{pad_db:g} dB"
        cautions.append(overridden("pad", said=words[0], used=words[1]))
    if converter is not None and stated.converter is not None:
        words = in_words(stated.converter), in_words(converter)
        if words[0] != words[1]:
            cautions.append(overridden("converter", said=words[0], used=words[1]))
    unasked = Ahead(
        converter=stated.converter if converter is None else None,
        pad_db=stated.pad_db if pad_db is None else 0.0,
    )
    if unasked != NOTHING_AHEAD:
        text = f"the recording says that {unasked} lay ahead; frequencies and levels are before it"
        cautions.append(Caution(code="ahead", text=text))
    used = Ahead(converter=converter or unasked.converter, pad_db=pad_db or unasked.pad_db)
    return used, tuple(cautions)


def _open(text: str, wishes: Wishes) -> tuple[Source, Ahead]:
    kind, _, rest = text.partition(":")
    if kind in _LIVE:
        if wishes.datatype is not None:
            raise UsageError(f"{kind} has a datatype of its own; leave --datatype out")
        return _LIVE[kind](rest, wishes), NOTHING_AHEAD
    recording = _open_recording(text, wishes)
    return recording, recording.ahead


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


def _open_recording(text: str, wishes: Wishes) -> "RecordingSource":
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
        on_the_air=wishes.converter is None,
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
