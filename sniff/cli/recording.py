"""The work of ``sniff record``."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from calib.correction import Correction
from sniff.cli.clocks import clock_for
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import Filing, with_job
from sniff.cli.running import all_cautions, opened, say_unless_quiet, seconds_of
from sniff.errors import UsageError
from sniff.model import Caution, IQBlock, Source, SourceInfo
from sniff.recording import Limits, Outcome, Stopped, record
from sniff.report.envelope import envelope
from sniff.report.record_text import print_recording, progress
from sniff.sources.ahead import Ahead, as_received
from sniff.sources.opening import files_of
from sniff.sources.recording.datatypes import find_datatype
from sniff.sources.recording.live import LiveRecorder
from sniff.sources.recording.sigmf_metadata import EXTENSION
from sniff.sources.recording.target import SPARE_BYTES, check_room, check_stem
from sniff.trigger import Trigger, When
from sniff.units import format_frequency, format_seconds

NOTHING_RECORDED = 3
_BROKEN_OFF = {Stopped.SOURCE: 4, Stopped.INTERRUPTED: 130}
_LEAST_WITHIN_HZ = 1_000.0
_RING_SAMPLE_BYTES = 8  # complex64
_MOST_RING_BYTES = 1e9
_UNJUDGED_PART = 0.01


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
    unjudged_s: float
    old_is_kept: bool
    events: tuple[dict[str, Any], ...]
    stopped: Stopped
    why: str | None


def record_from(source: str, given: Mapping[str, Any]) -> int:
    """Record as the options say; returns the exit code."""
    source, options = with_defaults(source, with_job("record", given))
    check_room(options["out"], spare_bytes=2 * SPARE_BYTES)
    with opened(source, options) as opened_source:
        check_stem(options["out"], source_files=files_of(source))
        info = opened_source.info
        # Recorded as received: what lies ahead is told in the metadata, and taken out on reading.
        receiver, ahead = as_received(opened_source)
        correction, noted = clock_for(info, options)
        trigger = _trigger(receiver, ahead, correction, options)
        limits = _limits(receiver.info, options)
        blocks = _blocks(receiver, options, quiet=options["quiet"] or options["as_json"])
        recorder = LiveRecorder(
            options["out"],
            rate_hz=info.rate_hz,
            datatype=receiver.info.datatype,
            fields=fields_of(
                receiver.info, ahead, asked_hz=options["center"], correction=correction
            ),
            start_utc=info.start_utc,
            overwrite=options["overwrite"],
        )
        with recorder:
            outcome = record(blocks, recorder, trigger=trigger, limits=limits)
            if trigger is not None:
                # SigMF frequencies are those of the samples: indicated, not corrected.
                recorder.annotate(
                    index=recorder.first_index,
                    label="line watched",
                    **{
                        "core:freq_lower_edge": trigger.line_hz - trigger.within_hz,
                        "core:freq_upper_edge": trigger.line_hz + trigger.within_hz,
                    },
                )
            recorder.finish(whole=outcome.stopped is not Stopped.SOURCE)
        info = opened_source.info
    result = _result(recorder, outcome, info)
    cautions = all_cautions(info, correction, noted + _cautions(recorder, outcome, receiver.info))
    told = envelope("record", result, source=info, correction=correction, cautions=cautions)
    if options["as_json"]:
        import click

        click.echo(told)
    else:
        print_recording(result)
    code = 0 if recorder.samples else NOTHING_RECORDED
    with Filing(told, options, _BROKEN_OFF.get(outcome.stopped, code)) as filed:
        say_unless_quiet(cautions, options)
    return filed.exit_code


def _blocks(source: Source, given: Mapping[str, Any], *, quiet: bool) -> Iterator[IQBlock]:
    # Without --seconds it ends with the recording, or by an event, the size, the disk or Ctrl-C.
    seconds = None if given["seconds"] is None else seconds_of(source.info, given)
    stream = source.stream(seconds=seconds, start_s=given["start"])
    return stream if quiet else progress(stream, seconds=seconds, waiting_for=given["when"])


def _limits(info: SourceInfo, given: Mapping[str, Any]) -> Limits:
    sample_bytes = find_datatype(info.datatype).sample_bytes
    most = given["max_size"]
    if most is not None and most < sample_bytes:
        raise UsageError(f"--max-size {most} bytes: a sample takes {sample_bytes}; give more")
    longest_s = _MOST_RING_BYTES / (_RING_SAMPLE_BYTES * info.rate_hz)
    if given["when"] is not None and given["pre"] > longest_s:
        raise UsageError(
            f"--pre {format_seconds(given['pre'])}: at {format_frequency(info.rate_hz)} no more "
            f"than {format_seconds(longest_s)} are kept in memory; give less, or a lower --rate"
        )
    return Limits(max_bytes=most, events=given["events"], pre_s=given["pre"], post_s=given["post"])


def _trigger(
    receiver: Source, ahead: Ahead, correction: Correction, given: Mapping[str, Any]
) -> Trigger | None:
    """The trigger on what the receiver hears, behind what lies ahead of it."""
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
    line_hz = _heard_hz(line_hz, ahead)
    info = receiver.info
    # A recording of several tunings goes to the one that shows the line, unless told otherwise.
    center_hz = info.centers_hz[0]
    if len(info.centers_hz) > 1 and given["center"] is None:
        center_hz = receiver.tune(line_hz)
    elif len(info.centers_hz) > 1:
        center_hz = receiver.tune(_heard_hz(given["center"], ahead))
    half_hz = info.rate_hz / 2.0
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
        level=None if level is None else 10.0 ** ((level - ahead.pad_db) / 10.0),
    )


def _heard_hz(air_hz: float, ahead: Ahead) -> float:
    return air_hz if ahead.converter is None else ahead.converter.behind(air_hz)


def fields_of(
    info: SourceInfo,
    ahead: Ahead,
    *,
    asked_hz: float | None = None,
    correction: Correction | None = None,
) -> dict[str, Any]:
    """What the metadata tell beside the samples: receiver, what lies ahead of it, and the clock."""
    converter = ahead.converter
    stated: dict[str, Any] = {
        "requested_center_hz": None if asked_hz is None else _heard_hz(asked_hz, ahead),
        "gain_db": info.gain_db,
        "serial": info.serial,
        "tuner_image_offset_hz": info.image_offset_hz,
        "clock_hz": info.clock_hz,
        "usable_fraction": info.usable_fraction,
        "converter_hz": None if converter is None else converter.shift_hz,
        "inverted": None if converter is None else converter.inverted,
        "u_converter_hz": None if converter is None else converter.u_hz or None,
        "pad_db": ahead.pad_db or None,
    }
    if correction is not None:
        stated.update(
            clock_ppm=correction.ppm,
            clock_u_ppm=correction.u_ppm,
            clock_origin=correction.origin,
        )
    fields = {f"{EXTENSION}:{key}": value for key, value in stated.items() if value is not None}
    hardware = info.kind if info.serial is None else f"{info.kind} {info.serial}"
    return {"core:hw": hardware, **fields}


def _result(recorder: LiveRecorder, outcome: Outcome, info: SourceInfo) -> RecordResult:
    return RecordResult(
        files=tuple(str(path) for path in reversed(recorder.paths)),
        samples=recorder.samples,
        seconds=recorder.samples / info.rate_hz,
        bytes=recorder.bytes,
        sha512=recorder.digest,
        captures=recorder.captures,
        gaps=outcome.gaps,
        lost_samples=outcome.lost_samples,
        heard_s=outcome.heard_s,
        unjudged_s=outcome.unjudged_s,
        old_is_kept=recorder.old_is_kept,
        events=tuple(
            {
                "when": event.when.value,
                "at_s": event.index / info.rate_hz,
                "at_start": event.at_start,
            }
            for event in outcome.events
        ),
        stopped=outcome.stopped,
        why=outcome.trouble,
    )


def _cautions(recorder: LiveRecorder, outcome: Outcome, info: SourceInfo) -> tuple[Caution, ...]:
    cautions = []
    if outcome.trouble is not None:
        cautions.append(Caution(code="cut-short", text=f"cut short: {outcome.trouble}"))
    if recorder.old_is_kept and recorder.samples:
        text = (
            "the recording that was there is kept as it was; the new one, cut short, is "
            f"{recorder.paths[1]}"
        )
        cautions.append(Caution(code="old-kept", text=text))
    if outcome.unjudged_s > _UNJUDGED_PART * outcome.heard_s:
        text = (
            f"for {format_seconds(outcome.unjudged_s)} static or noise covered the line; what "
            "it did then is not known"
        )
        cautions.append(Caution(code="unjudged", text=text))
    others = [center_hz for center_hz in info.centers_hz if center_hz not in recorder.centers_hz]
    if recorder.samples and others:
        listed = ", ".join(format_frequency(center_hz) for center_hz in others)
        text = f"what the recording holds at {listed} was left out; --center goes there"
        cautions.append(Caution(code="other-tunings", text=text))
    return tuple(cautions)
