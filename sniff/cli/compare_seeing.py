"""What each of two sets shows at one place: heard now, from a recording, or as it was filed."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from calib.correction import Correction
from sniff.board import Board
from sniff.cli.clocks import clock_for
from sniff.cli.compare_words import Side, Words, is_filed
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import job_here
from sniff.cli.placing import NotPlacedError, find_gain_again, is_recorded, placed
from sniff.cli.repeating import why_ended
from sniff.cli.running import as_for_recording, look_settings, opened, seconds_of
from sniff.compare import Sight
from sniff.errors import SourceError, UsageError
from sniff.frontend import OVERLOADED
from sniff.look import Look
from sniff.model import Caution, Source, SourceInfo
from sniff.pipeline import look, probe
from sniff.placings import PlacingSpread, combined
from sniff.sources.opening import is_live
from sniff.superhet.at_place import lines_at, place_named
from sniff.superhet.expected import Expected, plan_cautions, radiated_lines
from sniff.superhet.plan import carry
from sniff.sweep.hops import SweepSettings
from sniff.sweep.run import SweepRun
from sniff.units import format_times
from sniff.windows import Window

_SWEEP_RBW_HZ = 10e3
_SAYS_ITS_CENTRE = (".sigmf-meta", ".sigmf-data", ".sigmf")
_SAYS_ITS_RATE = (*_SAYS_ITS_CENTRE, ".wav")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """One set at one place: all that it showed, and who measured it.

    `boards` has one for each placing of the loop; `spread` stands in where they were filed long
    ago, and `info` is None then. `ended` when somebody, or the dongle, ended it before its last
    placing.
    """

    sight: Sight
    boards: tuple[Board, ...] = ()
    spread: PlacingSpread | None = None
    info: SourceInfo | None = None
    cautions: tuple[Caution, ...] = ()
    ended: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shown:
    """One placing of the loop."""

    board: Board | None
    looks: tuple[Look, ...]  # besides the board's
    correction: Correction
    info: SourceInfo
    cautions: tuple[Caution, ...]


def check_recordings(words: Words, given: Mapping[str, Any]) -> None:
    """Refuse recordings that cannot be read, before a loop is placed.

    Raises
    ------
    SourceError, UsageError
        As `opened`.
    """
    sides = (words.good, words.suspect)
    live = any(is_live(text) for side in sides for each in side.sources.values() for text in each)
    for side in sides if live else ():
        for text in dict.fromkeys(text for each in side.sources.values() for text in each):
            if not is_live(text) and not is_filed(text):
                with opened(*with_defaults(text, _options_for(text, side, words, given))):
                    pass


def seen_at(side: Side, place: str | None, words: Words, given: Mapping[str, Any]) -> Seen:
    """All placings of one set at one place."""
    if is_filed(side.sources[place][0]):
        return _filed(side, place)
    side, expected = _at(side, place)
    shown: list[_Shown] = []
    ended: list[Caution] = []
    for text in side.sources[place]:
        source, options = with_defaults(text, _options_for(text, side, words, given))
        with opened(source, options) as opened_source:
            try:
                # What came before an end stays in the list.
                shown.extend(_placings(opened_source, expected, side.what, place, options))
            except (KeyboardInterrupt, NotPlacedError, SourceError) as end:
                if not shown or side.what == words.good.what:
                    raise
                so_far = f"the suspect was placed {format_times(len(shown))} only"
                ended.append(why_ended(end, so_far))
            except UsageError as error:  # of several recordings the user must know which
                named = text in str(error) or str(error).startswith("--")
                raise (error if named else UsageError(f"{text}: {error}")) from None
    boards = tuple(one.board for one in shown if one.board is not None)
    first = shown[0]
    whole = combined(boards, u_center_hz=first.info.u_center_hz) if boards else None
    gains_db = {one.info.gain_db for one in shown}
    cautions = tuple(dict.fromkeys(caution for one in shown for caution in one.cautions))
    sight = Sight(
        source=", ".join(side.sources[place]),
        plan=side.plan,
        carrier_hz=side.carrier_hz,
        board=None if whole is None else whole.result,
        looks=first.looks if whole is None else (*whole.looks, *first.looks),
        correction=max((one.correction for one in shown), key=lambda clock: clock.u_ppm),
        serial=first.info.serial if len({one.info.serial for one in shown}) == 1 else None,
        clock_hz=first.info.clock_hz,
        usable_fraction=first.info.usable_fraction,
        placings=len(shown),
        gain_db=first.info.gain_db if len(gains_db) == 1 else None,
        # Of a sweep beside the boards some other hop may be: it judges none of the plan's lines.
        overloaded=any(
            caution.code == OVERLOADED
            for one in shown
            for caution in (one.cautions if one.board is None else one.board.cautions)
        ),
    )
    planned = () if side.plan is None else plan_cautions(side.plan)
    return Seen(
        sight=sight,
        boards=boards,
        info=first.info,
        cautions=(*planned, *cautions, *_of_several_gains(side, gains_db), *ended),
        ended=bool(ended),
    )


def _of_several_gains(side: Side, gains_db: Collection[float | None]) -> tuple[Caution, ...]:
    """That what scatters between recordings is not the placing of the loop alone."""
    if len(gains_db) == 1:
        return ()
    known = sorted(gain_db for gain_db in gains_db if gain_db is not None)
    listed = [f"{gain_db:g} dB" for gain_db in known] + ["one not known"] * (None in gains_db)
    text = (
        f"the recordings of the {side.what} were not made at one gain ({', '.join(listed)}): their "
        "levels scatter by that too; record all with one --gain"
    )
    return (Caution(code="gains-differ", text=text),)


def _placings(
    source: Source,
    expected: Sequence[Expected],
    what: str,
    place: str | None,
    given: Mapping[str, Any],
) -> Iterator[_Shown]:
    """What each placing of the loop shows, as often as asked; a recording is one."""
    count = 1 if is_recorded(source) else given["repeat"]
    for number in range(1, count + 1):
        placed(source, what=f"the {what}", place=place, number=number, count=count)
        if number == 1:
            find_gain_again(source, given["gain"])
        yield _shown(source, expected, first=number == 1, given=given)


def _at(side: Side, place: str | None) -> tuple[Side, tuple[Expected, ...]]:
    """The set by its channel at this place, and the lines that are expected there."""
    if side.plan is None:
        return side, ()
    named = None if place is None else place_named(side.plan, place)
    if named is None:
        return side, radiated_lines(side.plan)
    carrier_hz = side.plan.carrier_hz if named.carrier_hz is None else named.carrier_hz
    channel = replace(carry(side.plan, carrier_hz), places=())
    there = tuple(line.expected for line in lines_at(side.plan, named))
    return replace(side, plan=channel, carrier_hz=carrier_hz), there


def _filed(side: Side, place: str | None) -> Seen:
    """One set as it was filed in its own job."""
    from sniff.job.boards import filed_boards

    job = job_here(Path(side.sources[place][0]))
    boards = filed_boards(job)
    board = boards.get(place)
    if board is None:
        known = ", ".join(name or "no named place" for name in boards) or "none at all"
        at = "without a named place" if place is None else f"at {place}"
        raise UsageError(f"{job.folder}: holds no probe reading {at}; there is: {known}")
    result = board.result
    spread = None
    if side.plan is not None:
        side, _ = _at(side, place)  # a place may have its own channel
    if result.placing_sd_db is not None and result.placing_degrees:
        spread = PlacingSpread(sd_db=result.placing_sd_db, degrees=result.placing_degrees)
    sight = Sight(
        source=f"reading {board.reading} of {job.folder.name}",
        plan=side.plan,
        carrier_hz=side.carrier_hz,
        board=result,
        looks=(),
        correction=board.correction,
        serial=board.serial,
        placings=result.placings,
        gain_db=board.gain_db,
        overloaded=board.overloaded,
    )
    return Seen(sight=sight, spread=spread)


def _shown(
    source: Source, expected: Sequence[Expected], *, first: bool, given: Mapping[str, Any]
) -> _Shown:
    """What one placing of the loop shows: the plan's lines, and the first the whole span too."""
    correction, noted = clock_for(source.info, given)
    settings = look_settings(given)
    seconds = seconds_of(source.info, given)
    board, looks = None, []
    if expected:
        board = probe(
            source,
            expected,
            settings=settings,
            correction=correction,
            search=given["search"],
            seconds=seconds,
            start_s=given["start"],
        )
        noted += board.cautions
    elif given["span"] is None:
        take = source.take(seconds=seconds, start_s=given["start"])
        looks.append(look(take, source.info, settings, correction))
    if given["span"] is not None and first:
        looks.append(_sweep(source, correction, given))
    noted += tuple(caution for seen in looks for caution in seen.cautions)
    return _Shown(
        board=board, looks=tuple(looks), correction=correction, info=source.info, cautions=noted
    )


def _sweep(source: Source, correction: Correction, given: Mapping[str, Any]) -> Look:
    """The span as one wide look, without what the receiver made itself."""
    settings = SweepSettings(
        rbw_hz=_SWEEP_RBW_HZ if given["rbw"] is None else given["rbw"],
        window=Window.named(given["window"]),
    )
    run = SweepRun(source, given["span"], settings, correction)
    for hop in run.hops():
        for _ in hop.blocks:
            pass
    for _ in run.stays():
        pass
    swept = run.result()
    signals = tuple(line for line in swept.result.peaks if line.is_signal)
    seen = swept.look
    return replace(seen, result=replace(seen.result, peaks=signals))


def _options_for(source: str, side: Side, words: Words, given: Mapping[str, Any]) -> dict[str, Any]:
    """The options as they hold for one source."""
    options = dict(given)
    if side.what == words.good.what:
        options["center"] = _good_center_hz(words, given)
        options.update(given.get("good_clock", {}))
    if is_live(source) and _recordings(words):
        options["start"] = 0.0  # it is meant for them
    if not is_live(source):
        options = as_for_recording(options)
        if side.plan is not None and Path(source).suffix in _SAYS_ITS_CENTRE:
            options["center"] = None
        if _says_its_rate(source) and not all(map(_says_its_rate, _recordings(words))):
            # What is said of raw samples holds for them alone.
            options.update(rate=None, datatype=None)
    return options


def _says_its_rate(source: str) -> bool:
    return Path(source).suffix.lower() in _SAYS_ITS_RATE


def _recordings(words: Words) -> list[str]:
    """All recordings of both sets."""
    return [
        source
        for side in (words.good, words.suspect)
        for listed in side.sources.values()
        for source in listed
        if not is_live(source)
    ]


def _good_center_hz(words: Words, given: Mapping[str, Any]) -> float | None:
    """Where the good set is looked at: as far from its carrier as the suspect from its own."""
    if given["good_center"] is not None or given["center"] is None:
        return given["good_center"]  # type: ignore[no-any-return]
    carriers = words.good.carrier_hz, words.suspect.carrier_hz
    if carriers[0] is None or carriers[1] is None:
        return float(given["center"])
    return float(given["center"]) + carriers[0] - carriers[1]
