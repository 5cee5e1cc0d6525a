"""A multiplex as the reference: of its many carriers the place of their middle."""

from calib.fit import LARGEST_PPM
from calib.references import Reference
from sniff.calibrating.measured import Measured, out_of_view, overloaded
from sniff.frontend import RailCount
from sniff.model import Source, SourceInfo
from sniff.multiplex.reading import read_multiplex
from sniff.multiplex.systems import SYSTEMS
from sniff.tuning import Window, choose_tunings


def measure_multiplex(
    source: Source, reference: Reference, *, seconds: float | None, start_s: float
) -> Measured:
    """Measure where a multiplex is indicated, in one tuning that shows a part of its channel.

    Raises
    ------
    SourceError
        When it lies outside what the source can show, the front end is overloaded, and as
        `read_multiplex`.
    """
    source.tune(_center_for(reference, source.info))
    take = source.take(seconds=seconds, start_s=start_s)
    rails = RailCount(source.info.rail)
    for block in take.blocks():
        rails.push(block)
    if rails.overloaded:
        raise overloaded(reference)
    place, found = read_multiplex(take, source.info, reference)
    return Measured.of(
        reference, indicated_hz=place.indicated_hz, u_hz=found.u_hz, steady=found.steady
    )


def _center_for(reference: Reference, info: SourceInfo) -> float:
    """A centre from which as much as can be of the channel is in view."""
    half_hz = max(system.half_width_hz for system in SYSTEMS[reference.system or ""])
    half_hz += reference.nominal_hz * LARGEST_PPM * 1e-6
    channel = Window(low_hz=reference.nominal_hz - half_hz, high_hz=reference.nominal_hz + half_hz)
    if info.tunable:
        tunings = choose_tunings([channel], info)
        if tunings:
            return tunings[0].center_hz
    else:
        # What is no line may be in view although its middle is not.
        center_hz = min(info.centers_hz, key=lambda each: abs(each - reference.nominal_hz))
        if abs(center_hz - reference.nominal_hz) < half_hz + info.rate_hz / 2.0:
            return center_hz
    raise out_of_view(reference, info)
