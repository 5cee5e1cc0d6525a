"""The user's own defaults for a dongle: a TOML file in the folder for configuration."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from platformdirs import user_config_path
from pydantic import Field

from sniff.checked_toml import Decibels, Hertz, Table, load
from sniff.errors import InputError


class Defaults(Table):
    """What is taken for a dongle when the command does not say otherwise.

    dongle = "00000001"     # serial number, for --from dongle
    rate = "2.4M"
    gain = "best"           # or auto, or a number of dB
    pad = "20dB"
    converter = "+125M"
    inverted = false
    u_converter = "50"
    ppm = 31.2
    u_ppm = 0.3
    """

    dongle: str | None = None
    rate: Hertz | None = None
    gain: float | str | None = None
    pad: Decibels | None = None
    converter: Hertz | None = None
    inverted: bool = False
    u_converter: Hertz | None = None
    ppm: Annotated[float | None, Field(ge=-1000, le=1000)] = None
    u_ppm: Annotated[float | None, Field(ge=0, le=1000)] = None


def defaults_path() -> Path:
    """Where the file is, or would be."""
    return user_config_path("sniff") / "defaults.toml"


def read_defaults() -> Defaults:
    """The user's defaults; empty when there is no file.

    Raises
    ------
    InputError
        When the file does not say what it must, or cannot be read.
    """
    path = defaults_path()
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return Defaults()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read: {error}; mend or remove it") from None
    return load(text, Defaults, name=str(path))


def with_defaults(source: str, given: Mapping[str, Any]) -> tuple[str, dict[str, Any]]:
    """Fill in what a command on a dongle leaves open; anything else stays as it is.

    Returns
    -------
    str, dict
        The source, by its serial number where one is the default, and the options.
    """
    filled = dict(given)
    if source.partition(":")[0] != "dongle":
        return source, filled
    defaults = read_defaults()
    if source == "dongle" and defaults.dongle:
        source = f"dongle:{defaults.dongle}"
    for option in ("rate", "gain", "pad"):
        if filled.get(option) is None:
            filled[option] = getattr(defaults, option)
    if filled.get("converter") is None and defaults.converter is not None:
        filled["converter"] = defaults.converter
        filled["inverted"] = defaults.inverted
        filled["u_converter"] = defaults.u_converter
    if filled.get("ppm") is None and filled.get("u_ppm") is None and defaults.u_ppm is not None:
        filled["ppm"], filled["u_ppm"] = defaults.ppm, defaults.u_ppm
        filled["clock_origin"] = f"as stated in {defaults_path()}"
    return source, filled
