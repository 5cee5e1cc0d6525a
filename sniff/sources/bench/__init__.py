"""The simulated bench: a set under test and a dongle, written as physical causes."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from importlib.abc import Traversable

    from sniff.model import Source
    from sniff.sources.bench.schema import Scene


def open_bench(
    scene: str,
    *,
    rate_hz: float | None = None,
    center_hz: float | None = None,
    gain_db: float | None = None,
    paced: bool = False,
    seed: int | None = None,
) -> "Source":
    """Set up a scene.

    Parameters
    ----------
    scene : str
        Name of a built-in scene, or path of a TOML file.
    rate_hz, center_hz, gain_db : float, optional
        In place of the scene's own, Hz and dB.
    paced : bool
        Whether to run in real time; otherwise as fast as it can.
    seed : int, optional
        Seed of all chance, in place of the scene's own.

    Raises
    ------
    SourceError
        When there is no such scene, or its dongle cannot do what is asked.
    InputError
        When the scene does not say what it must; the message names the line.
    """
    from sniff.sources.bench.pacer import Pacer
    from sniff.sources.bench.source import BenchSource

    return BenchSource(
        load_scene(scene),
        name=f"bench:{scene}",
        rate_hz=rate_hz,
        center_hz=center_hz,
        gain_db=gain_db,
        seed=seed,
        pacer=Pacer() if paced else None,
    )


def load_scene(scene: str) -> "Scene":
    """Read a built-in scene or a TOML file.

    Raises
    ------
    SourceError
        When there is no such scene.
    InputError
        When it does not say what it must; the message names the line.
    """
    from pathlib import Path

    from sniff.checked_toml import load
    from sniff.errors import InputError, SourceError
    from sniff.sources.bench.schema import Scene

    if scene in scene_names():
        place = _scenes_folder().joinpath(f"{scene}.toml")
    elif scene.endswith(".toml"):
        place = Path(scene)
    else:
        raise SourceError(
            f"bench:{scene}: no such scene; built in are {', '.join(scene_names())};"
            " or give the path of a .toml"
        )
    try:
        text = place.read_text(encoding="utf-8")
    except OSError as error:
        raise SourceError(f"{scene}: cannot be read: {error.strerror or error}") from None
    except ValueError:
        raise InputError(f"{scene}: is not UTF-8 text; a scene is a TOML file") from None
    return load(text, Scene, name=scene)


def scene_names() -> tuple[str, ...]:
    """Names of the built-in scenes, in order."""
    return tuple(
        sorted(
            entry.name.removesuffix(".toml")
            for entry in _scenes_folder().iterdir()
            if entry.name.endswith(".toml")
        )
    )


def _scenes_folder() -> "Traversable":
    from importlib.resources import files

    return files("sniff.sources.bench") / "scenes"
