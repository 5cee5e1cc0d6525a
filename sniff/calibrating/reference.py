"""A reference on the air, of whatever kind, measured."""

from calib.references import Reference
from sniff.calibrating.carrier import measure_carrier
from sniff.calibrating.measured import Measured
from sniff.calibrating.multiplex import measure_multiplex
from sniff.model import Source
from sniff.survey import LookSettings


def measure_reference(
    source: Source,
    reference: Reference,
    *,
    settings: LookSettings,
    seconds: float | None,
    start_s: float = 0.0,
) -> Measured:
    """Measure where a reference is indicated: a carrier, or a multiplex.

    Raises
    ------
    SourceError, UsageError
        As `measure_carrier` and `measure_multiplex`.
    """
    if reference.system is not None:
        return measure_multiplex(source, reference, seconds=seconds, start_s=start_s)
    return measure_carrier(source, reference, settings=settings, seconds=seconds, start_s=start_s)
