"""A clock's warm-up as text, and its progress on a terminal."""

from collections.abc import Iterable, Iterator

from calib.stability import Deviation
from calib.warmup import Settling, Shape
from sniff.following import Pace, Point
from sniff.report.text import console, table
from sniff.units import format_parts, format_ppm, format_seconds
from sniff.warmed import SHARE, Warmed

_SHAPES = {
    Shape.LINE: "No settling is seen: a straight line tells it all.",
    Shape.SETTLING: "It settled with one time constant.",
    Shape.SETTLING_TWICE: "It settled with two time constants.",
    Shape.BENDING: "It still bends, with a time constant of more than half of what was seen.",
}


def print_warm_up(warmed: Warmed, *, ppm: float, u_ppm: float) -> None:
    """Print the clock error at the end, how it came there, and from when on it may be trusted."""
    out = console()
    fit, pace = warmed.fit, warmed.pace
    expanded = 2.0 * u_ppm
    way = "fast: all reads too low" if ppm > 0 else "slow: all reads too high"
    out.print(
        f"Clock {format_ppm(ppm, expanded)} ± {format_parts(expanded)} at the end. It runs {way}."
    )
    hole = f", {format_seconds(warmed.unobserved_s)} not observed" if warmed.unobserved_s else ""
    out.print(
        f"Followed {warmed.reference.name} for {format_seconds(warmed.followed_s)}{hole}: "
        f"{warmed.observed} points, {pace_words(pace)}.",
        markup=False,
    )
    out.print()
    out.print(_SHAPES[fit.shape])
    if fit.settling:
        out.print(
            table(
                ["settling", "at the start", "U (k = 2)", "time constant", "U (k = 2)"],
                [_settling_row(n, each) for n, each in enumerate(fit.settling, start=1)],
            )
        )
    drift = 2.0 * fit.u_drift_ppm_per_hour
    out.print(
        f"Drift left at the end: {format_ppm(fit.drift_ppm_per_hour, drift)} per hour "
        f"± {format_parts(drift)}. The points scatter by {format_parts(fit.scatter_ppm)} rms "
        "about the fit."
    )
    out.print(trust_words(warmed))
    out.print()
    if warmed.stability and warmed.settled_s is not None:
        out.print(
            f"Allan deviation from {format_seconds(warmed.settled_s)} on, the fit taken out, with "
            f"its {100.0 * warmed.stability[0].confidence:.0f} % interval:"
        )
        out.print(
            table(
                ["averaged over", "deviation", "from", "to", "<noise"],
                [_stability_row(each) for each in warmed.stability],
            )
        )
        out.print()
    else:
        out.print("No Allan deviation: too few points in a row after it had settled.")


def pace_words(pace: Pace) -> str:
    """How points were taken."""
    every = f"one every {format_seconds(pace.step_s)}"
    if pace.mean_s < pace.step_s:
        return f"{every}, each a mean over {format_seconds(pace.mean_s)}"
    return f"{every}, each a mean over that time"


def trust_words(warmed: Warmed) -> str:
    """From when on the clock may be trusted, and what that means."""
    trust = warmed.trust
    meaning = (
        f"by no more than ±{format_parts(trust.limit_ppm)} within {format_seconds(trust.horizon_s)}"
        f", {_share()} of {_tolerance(warmed)}"
    )
    if trust.after_s is not None:
        return f"Trust it from {format_seconds(trust.after_s)} on: it then moves {meaning}."
    ahead = (
        f" (by the fit, not before {format_seconds(trust.expected_s)})"
        if trust.expected_s is not None
        else ""
    )
    return f"Not to be trusted yet to move {meaning}: {trust.why}{ahead}."


def _share() -> str:
    return f"a {'tenth' if SHARE == 0.1 else f'part of {SHARE:g}'}"


def _tolerance(warmed: Warmed) -> str:
    told = format_parts(warmed.tolerance_ppm)
    return f"{told}, taken for want of --for" if warmed.tolerance_assumed else told


def _settling_row(number: int, settling: Settling) -> tuple[str, ...]:
    u_ppm, u_s = 2.0 * settling.u_amplitude_ppm, 2.0 * settling.u_time_constant_s
    return (
        str(number),
        format_ppm(settling.amplitude_ppm, u_ppm),
        f"± {format_parts(u_ppm)}",
        format_seconds(settling.time_constant_s),
        f"± {format_seconds(float(f'{u_s:.2g}'))}",
    )


def _stability_row(deviation: Deviation) -> tuple[str, ...]:
    noise = "cannot be told" if deviation.noise is None else deviation.noise.value.replace("-", " ")
    return (
        format_seconds(deviation.tau_s),
        f"{deviation.value:.1e}",
        f"{deviation.low:.1e}",
        f"{deviation.high:.1e}",
        noise,
    )


def progress(points: Iterable[Point], *, pace: Pace, nominal_hz: float) -> Iterator[Point]:
    """The same points, with a line on stderr: the clock error now, and the time left; on a
    terminal only."""
    shown = console(stderr=True)
    if not shown.is_terminal:
        yield from points
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("time left"),
        TimeRemainingColumn(),
        TextColumn("Ctrl-C keeps what was followed"),
    )
    with Progress(*columns, console=shown, transient=True) as bar:
        task = bar.add_task("following", total=pace.steps)
        for point in points:
            yield point
            now = (
                "not heard"
                if point.indicated_hz is None
                else format_ppm((nominal_hz / point.indicated_hz - 1.0) * 1e6, 0.01)
            )
            bar.update(task, advance=1, description=f"clock {now}")
