"""The user's own references: a TOML file of theirs, and one in the folder for configuration."""

from pathlib import Path
from typing import Annotated

from platformdirs import user_config_path
from pydantic import AfterValidator, Field

from calib.references import Reference, Shape
from sniff.checked_toml import Allowed, Hertz, Table, load
from sniff.errors import InputError, UsageError
from sniff.units import Tolerance, parse_frequency


def _name(name: str) -> str:
    if not name.strip() or ":" in name:
        raise ValueError("a name has letters, and no colon")
    try:
        parse_frequency(name)
    except UsageError:
        return name
    raise ValueError(f"{name!r} reads as a frequency: choose another name")


def _limit(limit: Tolerance) -> Tolerance:
    if not (limit.ppm or limit.hz):
        raise ValueError("no reference is exact: how far off may it be?")
    return limit


class OwnReference(Table):
    """A carrier that the user knows.

    [[reference]]
    name = "bench standard"
    frequency = "10M"
    limit = "0.05ppm"            # it lies within plus or minus this; or in hertz: "2Hz"
    shape = "normal"             # of a certificate with k = 2; "rectangular" when left out
    half_width = "8k"            # of its modulation; a plain line when left out
    where = "bench 3, once warm"
    source = "certificate 4711 of March 2026"
    """

    name: Annotated[str, AfterValidator(_name)]
    frequency: Annotated[Hertz, Field(gt=0)]
    limit: Annotated[Allowed, AfterValidator(_limit)]
    shape: Shape = Shape.RECTANGULAR
    half_width: Annotated[Hertz, Field(ge=0)] = 0.0
    where: str = ""
    source: str = "as stated by the user"

    def reference(self) -> Reference:
        """It, as calibration takes it."""
        return Reference(
            name=self.name,
            nominal_hz=self.frequency,
            limit_hz=self.limit.at(self.frequency),
            shape=self.shape,
            half_width_hz=self.half_width,
            source=self.source,
        )


class ReferenceFile(Table):
    """All of one file."""

    reference: tuple[OwnReference, ...] = ()


def references_path() -> Path:
    """Where the user's file is, or would be."""
    return user_config_path("sniff") / "references.toml"


def own_references(file: Path | None) -> dict[str, OwnReference]:
    """Those of a file that was named, and those of the user's own, by their names.

    Raises
    ------
    InputError
        When a file cannot be read or does not say what it must, or two have one name.
    """
    found: dict[str, OwnReference] = {}
    for path in (file, references_path()):
        if path is None or (path is not file and not path.exists()):
            continue
        for each in _read(path):
            if each.name in found:
                raise InputError(f"{path}: there are two references {each.name!r}: rename one")
            found[each.name] = each
    return found


def _read(path: Path) -> tuple[OwnReference, ...]:
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read: {error}") from None
    return load(text, ReferenceFile, name=str(path)).reference
