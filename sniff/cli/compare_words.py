"""What the words of ``sniff compare`` say: which sources at which places, and both plans."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sniff.cli.filing import Work, job_here, source_from
from sniff.cli.plan_options import plan_from
from sniff.errors import UsageError
from sniff.sources.opening import is_live
from sniff.superhet.place import checked_name, spelt
from sniff.superhet.plan import carry

if TYPE_CHECKING:
    from sniff.superhet.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the two sets, as the command line names it.

    Attributes
    ----------
    what : str
        ``known-good set`` or ``suspect``.
    sources : dict
        By place (None: no named one), one for each placing; a live one stands once.
    carrier_hz : float or None
    plan : Plan or None
    """

    what: str
    sources: Mapping[str | None, tuple[str, ...]]
    carrier_hz: float | None
    plan: "Plan | None"


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """The two sides, and the places in order."""

    good: Side
    suspect: Side
    places: tuple[str | None, ...]


def words_from(given: Mapping[str, Any]) -> Words:
    """Read the options.

    Raises
    ------
    UsageError
        When they do not go together.
    InputError
        When a plan's file holds none.
    """
    good_sources, good_carrier_hz = given["good"], given["good_carrier"]
    if not good_sources:
        sibling_source, sibling_carrier_hz = _sibling(given["work"])
        good_sources = (sibling_source,)
        if good_carrier_hz is None:
            good_carrier_hz = sibling_carrier_hz
    suspect_plan = _plan(given)
    suspect_carrier_hz = given["suspect_carrier"]
    if suspect_plan is not None:
        suspect_carrier_hz = suspect_plan.carrier_hz
    good_plan = _good_plan(given, good_sources, suspect_plan, good_carrier_hz)
    if good_plan is not None:
        good_carrier_hz = good_plan.carrier_hz
    if (good_carrier_hz is None) != (suspect_carrier_hz is None):
        raise UsageError("--good-carrier and --suspect-carrier go together")
    places = _places(given, suspect_plan, good_sources)
    by_place = {
        option: _by_place(option, sources, places)
        for option, sources in (("--good", good_sources), ("--suspect", given["suspect"]))
    }
    _check_two_sets(by_place["--good"], by_place["--suspect"])
    if suspect_plan is None and any(
        len(sources) > 1 for each in by_place.values() for sources in each.values()
    ):
        raise UsageError(
            "several recordings of a set are placings of the loop, and need to know which lines "
            "count: give --suspect-carrier"
        )
    if given["repeat"] > 1 and suspect_plan is None:
        raise UsageError("--repeat needs to know which lines count: give --suspect-carrier")
    return Words(
        good=Side(
            what="known-good set",
            sources=by_place["--good"],
            carrier_hz=good_carrier_hz,
            plan=good_plan,
        ),
        suspect=Side(
            what="suspect",
            sources=by_place["--suspect"],
            carrier_hz=suspect_carrier_hz,
            plan=suspect_plan,
        ),
        places=places,
    )


def is_filed(source: str) -> bool:
    """Whether it is the folder of a repair job, whose filed readings are compared."""
    return not is_live(source) and Path(source).is_dir()


def _sibling(work: Work) -> tuple[str, float]:
    """The known-good set of the job's sheet."""
    if work.sheet is None or work.sheet.sibling is None:
        raise UsageError("which set is known to be good? Give --good SOURCE")
    sibling = work.sheet.sibling
    return source_from(work.folder, sibling.source), sibling.carrier_hz


def _plan(given: Mapping[str, Any]) -> "Plan | None":
    """The suspect's plan, or None where nothing says one."""
    carrier_hz = given["suspect_carrier"]
    if given["plan_file"] is not None and carrier_hz is not None:
        raise UsageError("--plan and --suspect-carrier do not go together; write it into the plan")
    planned = _filed_plan(given["suspect"]) or given["planned"]
    if given["plan_file"] is None and planned is None and carrier_hz is None:
        if any(given[word] is not None for word in ("if_hz", "multiplier", "tolerance")):
            raise UsageError("a plan needs --suspect-carrier, and --good-carrier")
        return None
    return plan_from({**given, "carrier": carrier_hz, "planned": planned})


def _good_plan(
    given: Mapping[str, Any],
    sources: Sequence[str],
    suspect: "Plan | None",
    carrier_hz: float | None,
) -> "Plan | None":
    if given["good_plan_file"] is not None:
        if carrier_hz is not None:
            raise UsageError("--good-plan and --good-carrier do not go together")
        from sniff.superhet.planfile import read_plan

        return read_plan(given["good_plan_file"])
    if suspect is None:
        return None
    filed = _filed_plan(sources)
    if filed is not None and carrier_hz in (None, filed.carrier_hz):
        return filed
    if carrier_hz is None:
        raise UsageError("on which carrier is the known-good set? Give --good-carrier")
    return carry(suspect, carrier_hz)


def _filed_plan(sources: Sequence[str]) -> "Plan | None":
    """The plan of the first repair job among the sources."""
    for source in sources:
        if is_filed(source):
            return job_here(Path(source)).sheet.plan
    return None


def _places(
    given: Mapping[str, Any], plan: "Plan | None", good: Sequence[str]
) -> tuple[str | None, ...]:
    """Those that `--at` names; those at which both jobs were probed; those of the plan that a
    source is given for; else none."""
    if given["places"]:
        return tuple(dict.fromkeys(_as_planned(place, plan) for place in given["places"]))
    texts = [*good, *given["suspect"]]
    jobs = [text for text in texts if is_filed(text)]
    if jobs:
        return _common_places(jobs)
    used = [
        place.name
        for place in (() if plan is None else plan.places)
        if any(spelt(place.name) == spelt(text.partition("=")[0]) for text in texts)
    ]
    return tuple(used) or (None,)


def _as_planned(place: str, plan: "Plan | None") -> str:
    """A place by the name that the plan gives it, however it was typed."""
    from sniff.superhet.at_place import place_named

    named = None if plan is None else place_named(plan, place)
    return checked_name(place) if named is None else named.name


def _common_places(jobs: Sequence[str]) -> tuple[str | None, ...]:
    from sniff.job.boards import filed_boards

    each = [list(filed_boards(job_here(Path(job)))) for job in jobs]
    common = [place for place in each[0] if all(place in places for places in each)]
    if not common:
        listed = "; ".join(
            f"{job}: {', '.join(place or 'no named place' for place in places) or 'none'}"
            for job, places in zip(jobs, each, strict=True)
        )
        raise UsageError(f"the jobs have no place at which both were probed ({listed})")
    return tuple(common)


def _by_place(
    option: str, texts: Sequence[str], places: Sequence[str | None]
) -> dict[str | None, tuple[str, ...]]:
    """The sources of one set at each place."""
    found: dict[str | None, list[str]] = {place: [] for place in places}
    by_spelling = {spelt(place): place for place in places if place is not None}
    for text in texts:
        name, equals, source = text.partition("=")
        if equals and (known := by_spelling.get(spelt(name))) is not None:
            found[known].append(source)
        elif equals and not Path(text).exists():
            raise UsageError(
                f"{option} {text}: there is no such file, and no place {name!r}; a place is named "
                "by --at, or by the plan"
            )
        elif len(places) == 1 or is_live(text) or is_filed(text):
            for sources in found.values():
                sources.append(text)
        else:
            listed = ", ".join(str(place) for place in places)
            raise UsageError(
                f"{option} {text}: at which place was it recorded? Write PLACE={text}, with one "
                f"of: {listed}"
            )
    for place, sources in found.items():
        if not sources:
            raise UsageError(f"{option}: no source is given for {place}")
        if len({_itself(text) for text in sources}) < len(sources):
            raise UsageError(
                f"{option}: one recording given twice is no second placing of the loop"
            )
        if len(sources) > 1 and any(is_live(text) or is_filed(text) for text in sources):
            raise UsageError(
                f"{option}: several sources are for recordings, one for each placing of the loop; "
                "a live one is placed again by --repeat, a job says itself how often it was"
            )
    return {place: tuple(sources) for place, sources in found.items()}


def _check_two_sets(
    good: Mapping[str | None, Sequence[str]], suspect: Mapping[str | None, Sequence[str]]
) -> None:
    """Refuse a recording, or a job, that is to be compared with itself."""
    for place, sources in suspect.items():
        known = {_itself(text) for text in good[place]}
        for text in sources:
            if not is_live(text) and _itself(text) in known:
                raise UsageError(
                    f"{text}: is given as both sets, and agrees with itself; --good and --suspect "
                    "name two"
                )


def _itself(source: str) -> str:
    """A source by one name, however it was written; both halves of a recording are one."""
    if is_live(source):
        return source
    path = Path(source).resolve()
    return str(path.with_suffix("") if path.suffix in (".sigmf-meta", ".sigmf-data") else path)
