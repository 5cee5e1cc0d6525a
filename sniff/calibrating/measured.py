"""Measured: a reference, where it is indicated, and what makes that impossible to say."""

from dataclasses import dataclass

from calib.fit import ReferencePoint
from calib.references import Reference
from sniff.errors import SourceError
from sniff.model import Caution, SourceInfo
from sniff.units import format_parts

_NOTABLE = 0.3  # of the reference's own doubt


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One reference, measured.

    Attributes
    ----------
    ways : tuple of ReferencePoint
        How it can be read, the plainest first: a pilot may have been offset on purpose.
    cautions : tuple of Caution
    """

    ways: tuple[ReferencePoint, ...]
    cautions: tuple[Caution, ...]

    @classmethod
    def of(
        cls, reference: Reference, *, indicated_hz: float, u_hz: float, steady: bool
    ) -> "Measured":
        """A reference that was indicated there, with a caution where it did not stand still."""
        ways = tuple(
            ReferencePoint(
                name=reference.name + (f" +{offset_hz / 1e3:.3f} kHz" if offset_hz else ""),
                nominal_hz=reference.nominal_hz + offset_hz,
                u_nominal_hz=reference.u_hz,
                indicated_hz=indicated_hz,
                u_indicated_hz=u_hz,
            )
            for offset_hz in (0.0, *reference.offsets_hz)
        )
        restless = not steady and u_hz > _NOTABLE * reference.u_hz
        return cls(ways=ways, cautions=(_unsteady(reference, u_hz),) if restless else ())


def _unsteady(reference: Reference, u_hz: float) -> Caution:
    u_ppm = u_hz / reference.nominal_hz * 1e6
    return Caution(
        code="reference-unsteady",
        text=f"{reference.name}: it drifted or was modulated while it was measured, by "
        f"{format_parts(u_ppm)} (k = 1); that is in the result",
    )


def out_of_view(reference: Reference, info: SourceInfo) -> SourceError:
    """The reference lies where the source cannot be tuned, or was not."""
    return SourceError(
        f"{reference.name}: lies outside what {info.name} can show; choose another reference, or "
        "another recording"
    )


def overloaded(reference: Reference) -> SourceError:
    """What is indicated may be of the front end's making."""
    return SourceError(f"{reference.name}: the front end is overloaded; less gain")
