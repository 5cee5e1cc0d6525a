"""The work of ``sniff record``."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import inf
from typing import Any

from calib.correction import Correction
from sniff.cli.clocks import clock_for
from sniff.cli.defaults import with_defaults
from sniff.cli.running import all_cautions, opened, say_unless_quiet, seconds_of
from sniff.errors import UsageError
from sniff.model import Caution, IQBlock, Source, SourceInfo
from sniff.recording import Limits, Outcome, Stopped, record
from sniff.report.envelope import envelope
from sniff.report.record_text import print_recording, progress
from sniff.sources.recording.live import LiveRecorder, check_room
from sniff.sources.recording.sigmf_metadata import EXTENSION
from sniff.trigger import Trigger, When

_LEAST_WITHIN_HZ = 1_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordResult:
    """What was recorded, field by field what ``--json`` prints."""

    files: tuple[str, ...]
    samples: int
    seconds: float
    bytes: int
    sha512: str | None
    captures: int
    gaps: int
    lost_samples: int
    heard_s: float
    events: tuple[dict[str, Any], ...]
    stopped: Stopped
    why: str | None


def record_from(source: str, given: Mapping[str, Any]) -> int:
    """Record as the options say; returns the exit code."""
    source, options = with_defaults(source, given)
    check_room(options["out"])
    with opened(source, options) as opened_source:
        info = opened_source.info
        correction, noted = clock_for(info, options)
        trigger = _trigger(info, correction, options)
        recorder = LiveRecorder(
            options["out"],
            rate_hz=info.rate_hz,
            datatype=info.datatype,
            fields=_fields(info, correction, options),
            start_utc=info.start_utc,
            overwrite=options["overwrite"],
        )
        with recorder:
            outcome = record(
                _blocks(opened_source, options, quiet=options["quiet"] or options["as_json"]),
                recorder,
                trigger=trigger,
                limits=Limits(
                    max_bytes=options["max_size"],
                    events=options["events"],
                    pre_s=options["pre"],
                    post_s=options["post"],
                ),
            )
            if trigger is not None and recorder.captures:
                # SigMF frequencies are those of the samples: indicated, not corrected.
                recorder.annotate(
                    index=recorder.first_index,
                    label="line watched",
                    **{
                        "core:freq_lower_edge": trigger.line_hz - trigger.within_hz,
                        "core:freq_upper_edge": trigger.line_hz + trigger.within_hz,
                    },
                )
        info = opened_source.info
    result = _result(recorder, outcome, info)
    cautions = all_cautions(info, correction, noted + _cautions(outcome))
    if options["as_json"]:
        import click

        click.echo(
            envelope("record", result, source=info, correction=correction, cautions=cautions)
        )
    else:
        print_recording(result)
    say_unless_quiet(cautions, options)
    return {Stopped.SOURCE: 4, Stopped.INTERRUPTED: 130}.get(outcome.stopped, 0)


def _blocks(source: Source, given: Mapping[str, Any], *, quiet: bool) -> Iterator[IQBlock]:
    seconds = seconds_of(source.info, given) if given["seconds"] is not None else None
    if seconds is None and source.info.duration_s is None and given["when"] is None:
        seconds = inf  # until Ctrl-C, the size or the disk ends it
    stream = source.stream(seconds=None if seconds == inf else seconds, start_s=given["start"])
    return stream if quiet else progress(stream, seconds=seconds, waiting_for=given["when"])


def _trigger(info: SourceInfo, correction: Correction, given: Mapping[str, Any]) -> Trigger | None:
    if given["when"] is None:
        if given["line"] is not None or given["level"] is not None:
            raise UsageError("--line and --level need --when: absent, present or level")
        return None
    if given["line"] is None:
        raise UsageError("--when needs --line: which line to watch")
    if (given["when"] == "level") != (given["level"] is not None):
        raise UsageError("--level goes with --when level, and only with it")
    line_hz = correction.indicate(given["line"])
    within_hz = given["within"] or max(_LEAST_WITHIN_HZ, 2.0 * correction.u_at(line_hz))
    center_hz, half_hz = info.centers_hz[0], info.rate_hz / 2.0
    if abs(line_hz - center_hz) + within_hz > half_hz:
        raise UsageError("--line lies outside the span; set --center near it, but not on it")
    if abs(line_hz - center_hz) < within_hz:
        raise UsageError("--line lies on the centre, the receiver's own line; move --center")
    level = given["level"]
    return Trigger(
        line_hz=line_hz,
        when=When(given["when"]),
        rate_hz=info.rate_hz,
        within_hz=within_hz,
        level=None if level is None else 10.0 ** (level / 10.0),
    )


def _fields(info: SourceInfo, correction: Correction, given: Mapping[str, Any]) -> dict[str, Any]:
    stated = {
        "requested_center_hz": given["center"],
        "gain_db": info.gain_db,
        "serial": info.serial,
        "tuner_image_offset_hz": info.image_offset_hz,
        "clock_hz": info.clock_hz,
        "usable_fraction": info.usable_fraction,
        "converter_hz": info.converter_hz or None,
        "inverted": info.inverted or None,
        "pad_db": info.pad_db or None,
        "clock_ppm": correction.ppm,
        "clock_u_ppm": correction.u_ppm,
        "clock_origin": correction.origin,
    }
    fields = {f"{EXTENSION}:{key}": value for key, value in stated.items() if value is not None}
    hardware = info.kind if info.serial is None else f"{info.kind} {info.serial}"
    return {"core:hw": hardware, **fields}


def _result(recorder: LiveRecorder, outcome: Outcome, info: SourceInfo) -> RecordResult:
    paths = (recorder.metadata_path, recorder.data_path)
    return RecordResult(
        files=tuple(str(path) for path in paths if recorder.samples),
        samples=recorder.samples,
        seconds=recorder.samples / info.rate_hz,
        bytes=recorder.bytes,
        sha512=recorder.digest if recorder.samples else None,
        captures=recorder.captures,
        gaps=outcome.gaps,
        lost_samples=outcome.lost_samples,
        heard_s=outcome.heard_s,
        events=tuple(
            {"when": event.when.value, "at_s": event.index / info.rate_hz}
            for event in outcome.events
        ),
        stopped=outcome.stopped,
        why=outcome.trouble,
    )


def _cautions(outcome: Outcome) -> tuple[Caution, ...]:
    if outcome.trouble is None:
        return ()
    return (Caution(code="cut-short", text=f"cut short: {outcome.trouble}"),)
