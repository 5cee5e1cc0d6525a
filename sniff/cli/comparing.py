"""The work of ``sniff compare``: both sets are measured, place by place, then compared."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from sniff.cli.compare_seeing import Seen, seen_at
from sniff.cli.compare_words import Words, is_filed, words_from
from sniff.cli.filing import Filing, with_job
from sniff.cli.picture_targets import check_targets
from sniff.cli.repeating import ENDED
from sniff.cli.running import all_cautions, exit_code, say_unless_quiet
from sniff.cli.sweeping import parse_span
from sniff.compare import (
    CompareSettings,
    Comparison,
    ComparisonVerdict,
    Pair,
    Sight,
    compare,
)
from sniff.compare.doubts import pooled
from sniff.placings import PlacingSpread, measured_spread
from sniff.report.envelope import envelope
from sniff.sources.opening import files_of, is_live

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
    good = [seen_at(words.good, place, words, options) for place in words.places]
    options = _as_heard(good[0], options)
    suspect = [seen_at(words.suspect, place, words, options) for place in words.places]
    settings = CompareSettings(
        agree_ppm=options["agree"],
        one_clock=options["one_clock"] or _same_dongle(good[0].sight, suspect[0].sight),
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
        for place, mine, yours in zip(words.places, good, suspect, strict=True)
    ]
    found = compare(pairs, settings)
    noted = tuple(caution for each in (*good, *suspect) for caution in each.cautions)
    said = tuple(dict.fromkeys((*noted, *found.cautions)))
    return _show(replace(found, cautions=said), suspect[0], words, options)


def _as_heard(good: Seen, given: dict[str, Any]) -> dict[str, Any]:
    """The options for the suspect: a gain that was found for the good set is kept for it."""
    found_db = None if good.info is None else good.info.gain_db
    live = good.info is not None and good.info.duration_s is None
    if not live or found_db is None or given["gain"] not in (None, "best"):
        return given
    return {**given, "gain": found_db}


def _same_dongle(good: Sight, suspect: Sight) -> bool:
    return good.serial is not None and good.serial == suspect.serial


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
