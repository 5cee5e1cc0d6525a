"""The work of ``sniff compare``: both sets are measured, place by place, then compared."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from sniff.cli.compare_seeing import Seen, check_recordings, seen_at
from sniff.cli.compare_words import Words, is_filed, words_from
from sniff.cli.filing import Filing, with_job
from sniff.cli.picture_targets import check_targets
from sniff.cli.placing import NotPlacedError
from sniff.cli.repeating import ENDED, why_ended
from sniff.cli.running import all_cautions, exit_code, say_unless_quiet
from sniff.cli.sweeping import parse_span
from sniff.compare import (
    CompareSettings,
    Comparison,
    ComparisonVerdict,
    Pair,
    compare,
)
from sniff.compare.doubts import pooled
from sniff.errors import SourceError
from sniff.model import Caution
from sniff.placings import PlacingSpread, measured_spread
from sniff.report.envelope import envelope
from sniff.sources.opening import files_of, is_live

NOT_REACHED = "not-reached"
"""Code of the caution that places were left out, after what ended the one before them."""

_EXITS = {
    ComparisonVerdict.ALIKE: 0,
    ComparisonVerdict.DIFFERS: 1,
    ComparisonVerdict.UNDECIDED: 3,
}


def compare_sources(given: Mapping[str, Any]) -> int:
    """Measure both sets and compare them; returns the exit code."""
    check_targets(given)
    options = with_job("compare", {**given, "course": None, "budget": False})
    words = words_from(options)
    if options["span"] is not None:
        options["span"] = parse_span(options["span"])
    check_recordings(words, options)
    good = [seen_at(words.good, place, words, options) for place in words.places]
    suspect, ended = _suspect(words, good, options)
    settings = CompareSettings(
        agree_ppm=options["agree"],
        one_clock=options["one_clock"] or _one_dongle([*good, *suspect]),
    )
    if options["placement"] is not None:
        settings = replace(settings, placement_db=options["placement"])
    pairs = [
        Pair(
            place=place,
            good=mine.sight,
            suspect=yours.sight,
            spread=_spread(mine, yours) if options["placement"] is None else None,
        )
        # Fewer at the suspect, when it was ended before the last place.
        for place, mine, yours in zip(words.places, good, suspect, strict=False)
    ]
    found = compare(pairs, settings)
    noted = tuple(caution for each in (*good, *suspect) for caution in each.cautions)
    said = tuple(dict.fromkeys((*noted, *ended, *found.cautions)))
    return _show(replace(found, cautions=said), suspect[0], words, options)


def _suspect(
    words: Words, good: Sequence[Seen], given: Mapping[str, Any]
) -> tuple[list[Seen], tuple[Caution, ...]]:
    """The suspect at each place, as far as it came; and why it did not come to the last."""
    found: list[Seen] = []
    for place, mine in zip(words.places, good, strict=True):
        left = f"the suspect was not measured at {_listed(words.places[len(found) :])}"
        try:
            found.append(seen_at(words.suspect, place, words, _as_heard(mine, given)))
        except (KeyboardInterrupt, NotPlacedError, SourceError) as end:
            wrong = isinstance(end, SourceError) and not is_live(words.suspect.sources[place][0])
            if not found or wrong:
                raise
            return found, (why_ended(end, left),)
        if found[-1].ended and len(found) < len(words.places):
            left = f"the suspect was not measured at {_listed(words.places[len(found) :])}"
            return found, (Caution(code=NOT_REACHED, text=left),)
    return found, ()


def _listed(places: Sequence[str | None]) -> str:
    return ", ".join(str(place) for place in places)


def _as_heard(good: Seen, given: Mapping[str, Any]) -> Mapping[str, Any]:
    """The options for the suspect: a gain that was found for the good set at this place is kept
    for it."""
    found_db = None if good.info is None else good.info.gain_db
    live = good.info is not None and good.info.duration_s is None
    if not live or found_db is None or given["gain"] not in (None, "best"):
        return given
    return {**given, "gain": found_db}


def _one_dongle(seen: Sequence[Seen]) -> bool:
    """Whether one dongle measured both sets at all places."""
    serials = {each.sight.serial for each in seen}
    return len(serials) == 1 and None not in serials


def _spread(good: Seen, suspect: Seen) -> PlacingSpread | None:
    """Of placing the loop, from all placings at hand."""
    return pooled((measured_spread(good.boards, suspect.boards), good.spread, suspect.spread))


def _show(found: Comparison, suspect: Seen, words: Words, given: Mapping[str, Any]) -> int:
    """Print, file and draw a comparison; returns the exit code."""
    correction = suspect.sight.correction
    info = suspect.info
    cautions = found.cautions if info is None else all_cautions(info, correction, found.cautions)
    told = envelope(
        "compare",
        found.result,
        source=info,
        correction=correction,
        good_correction=found.pairs[0].good.correction,
        cautions=cautions,
    )
    if given["as_json"]:
        import click

        click.echo(told)
    else:
        from sniff.report.compare_text import print_comparison

        print_comparison(found)
    ends = [ENDED[caution.code] for caution in found.cautions if caution.code in ENDED]
    code = ends[0] if ends else exit_code(_EXITS[found.result.verdict], found.cautions)
    with Filing(told, given, code, recordings=_recordings(words)) as filed:
        if given["plot"] is not None:
            from sniff.report.plots import draw_comparison, save

            save(draw_comparison(found), given["plot"])
    say_unless_quiet(cautions, given)
    return filed.exit_code


def _recordings(words: Words) -> list[Path]:
    sources = [
        source
        for side in (words.good, words.suspect)
        for listed in side.sources.values()
        for source in listed
        if not is_live(source) and not is_filed(source)
    ]
    return [path for source in dict.fromkeys(sources) for path in files_of(source)]
