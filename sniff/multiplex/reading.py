"""Reading: where a multiplex that is a reference is indicated, or the sentence why that is open."""

from calib.fit import LARGEST_PPM
from calib.references import Reference
from sniff.errors import SourceError
from sniff.model import SourceInfo, Take
from sniff.multiplex.estimate import Candidate, MultiplexEstimate, estimate_multiplex
from sniff.multiplex.recognize import Recognized, Silence, recognize
from sniff.multiplex.systems import SYSTEMS
from sniff.units import format_frequency, format_parts, format_ppm, format_seconds

_ENOUGH_S = 1.0
_NAMED = 3  # candidates that a sentence lists


def read_multiplex(
    take: Take, info: SourceInfo, reference: Reference
) -> tuple[Candidate, MultiplexEstimate]:
    """Where a multiplex is indicated.

    Parameters
    ----------
    take : Take
        Tuned so that some of its channel is in view.
    info : SourceInfo
    reference : Reference
        One with a system.

    Raises
    ------
    SourceError
        When no multiplex is heard, another one is, it is too weak or too short, or what is heard
        allows no clock, one beyond ±200 ppm, or several.
    """
    systems = SYSTEMS[reference.system or ""]
    found = estimate_multiplex(
        take,
        systems,
        nominal_hz=reference.nominal_hz,
        usable_fraction=info.usable_fraction,
        u_center_hz=info.u_center_hz,
        reach_ppm=LARGEST_PPM,
    )
    if isinstance(found, Silence):
        raise SourceError(f"{reference.name}: {_why(found, take, info, reference)}")
    if len(found.candidates) != 1:
        raise SourceError(f"{reference.name}: {_why_open(found, reference)}")
    return found.candidates[0], found


def _why(silence: Silence, take: Take, info: SourceInfo, reference: Reference) -> str:
    if silence is Silence.NARROW:
        return (
            f"hardly anything of the channel is in view at {format_frequency(take.center_hz)} and "
            f"{format_frequency(take.rate_hz)} per second; a higher --rate, or another recording"
        )
    if silence is Silence.SHORT:
        return (
            f"{format_seconds(take.seconds)} are too short to follow its symbols; at least "
            f"{format_seconds(_ENOUGH_S)}"
        )
    if silence is Silence.WEAK:
        return "symbols are heard, but too weak; more gain, a better antenna, or another channel"
    other = _another(take, info, reference)
    if other is not None:
        name, heard = other
        return f"what is heard there is {heard.system.name}, which is --reference {name}:..."
    kinds = " or ".join(system.name for system in SYSTEMS[reference.system or ""])
    return (
        f"no {kinds} stands out of the noise about {format_frequency(reference.nominal_hz)}; more "
        "gain, a better antenna, or another channel"
    )


def _another(take: Take, info: SourceInfo, reference: Reference) -> tuple[str, Recognized] | None:
    for name, systems in SYSTEMS.items():
        if name != reference.system:
            heard = recognize(
                take,
                systems,
                nominal_hz=reference.nominal_hz,
                usable_fraction=info.usable_fraction,
            )
            if isinstance(heard, Recognized):
                return name, heard
    return None


def _why_open(found: MultiplexEstimate, reference: Reference) -> str:
    u_ppm = 2.0 * found.u_sampler_ppm
    by_symbols = f"{format_ppm(found.sampler_ppm, u_ppm)} ± {format_parts(u_ppm)}"
    if abs(found.sampler_ppm) - u_ppm > LARGEST_PPM:
        return (
            f"by its symbols the clock would be {by_symbols} off, more than ±{LARGEST_PPM:g} ppm: "
            "it is probably another system's, or the recording's rate is not what it says"
        )
    if not found.candidates:
        lies = ""
        if found.middle_hz is not None:
            lies = f" but about {format_frequency(found.middle_hz, u_ppm * found.middle_hz * 1e-6)}"
        return (
            f"its symbols tell of a clock {by_symbols} off, and with that its centre is not "
            f"{format_frequency(reference.nominal_hz)}{lies}; give its true centre"
        )
    clocks = [format_ppm(candidate.clock_ppm) for candidate in found.candidates]
    named = ", ".join(clocks[:_NAMED]) + (", ..." if len(clocks) > _NAMED else "")
    return (
        f"{len(clocks)} clocks would suit it, {named}, and none is chosen: neither its middle nor "
        "an edge is in view; a higher --rate, more --seconds, or another tuning"
    )
