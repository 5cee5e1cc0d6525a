"""The tap test of ``sniff watch``: where the taps come from, and what they are compared with."""

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from sniff.cli.tapfiles import read_control, read_taps
from sniff.errors import UsageError
from sniff.model import Caution, SourceInfo
from sniff.sources.opening import is_live
from sniff.taps.fromwatch import watched_of
from sniff.taps.judging import judge
from sniff.taps.nouns import Provocation, Tap, TapResult, Windows
from sniff.taps.pairing import pair, untouched
from sniff.watch.nouns import Mark, WatchResult
from sniff.watch.trace import Trace

KEYS, ANNOTATIONS = "keys", "annotations"

_LABEL = re.compile(
    rf"\s*(tap\s+)?({'|'.join(each.value for each in Provocation)})\s+(\S.*?)\s*",
    re.IGNORECASE | re.DOTALL,
)


def check_tap_options(source: str, given: Mapping[str, Any]) -> None:
    """Refuse options of a tap test that do not go together.

    Raises
    ------
    UsageError
    """
    if given["taps"] is None:
        for option in ("control", "tap_window", "heat_window"):
            if given[option] is not None:
                raise UsageError(f"--{option.replace('_', '-')} needs --taps: where the taps are")
        return
    windows_from(given)
    # A mistake is told before an hour of watching, not after.
    if given["taps"] == ANNOTATIONS and is_live(source):
        raise UsageError("--taps annotations goes with a SigMF recording; live it is --taps keys")
    if given["taps"] not in (KEYS, ANNOTATIONS):
        read_taps(Path(given["taps"]))
    if given["control"] is not None:
        read_control(given["control"])


def windows_from(given: Mapping[str, Any]) -> Windows:
    """How long after a tap a drop-out answers it."""
    usual = Windows()
    touch_s, thermal_s = given["tap_window"], given["heat_window"]
    if touch_s == 0 or thermal_s == 0:
        raise UsageError("--tap-window and --heat-window must be above zero")
    return Windows(
        reaction_s=usual.reaction_s,
        touch_s=touch_s or usual.touch_s,
        supply_s=usual.supply_s,
        thermal_s=thermal_s or usual.thermal_s,
    )


def tap_result(
    result: WatchResult, trace: Trace | None, info: SourceInfo, given: Mapping[str, Any]
) -> tuple[TapResult | None, tuple[Caution, ...]]:
    """Judge the taps of a watch; None, with the reason, where there is nothing to judge."""
    taps, cautions = _taps(result.marks, info, given)
    if not taps:
        text = "there was no tap; label the marks like 'stick C14' (key l), or give a list"
        return None, (*cautions, Caution(code="no-taps", text=text))
    if trace is None:
        text = "the line was not found, so that no tap can say anything"
        return None, (*cautions, Caution(code="no-taps", text=text))
    windows = windows_from(given)
    watched = watched_of(result.dropouts, trace, dropout_count=result.dropout_count)
    sibling = {} if given["control"] is None else read_control(given["control"])
    quiet = {by: untouched(watched, taps, windows, by) for by in {tap.by for tap in taps}}
    if given["control"] is not None:
        missing = {tap.spot for tap in taps if (tap.spot, tap.by) not in sibling}
        if missing:
            names = ", ".join(sorted(missing))
            text = f"the control has no taps of {names}; untouched time stands in for them"
            cautions = (*cautions, Caution(code="no-sibling-taps", text=text))
    return judge(pair(taps, watched, windows), sibling=sibling, untouched=quiet), cautions


def parse_label(text: str, *, at_s: float, must_say_tap: bool) -> Tap | None:
    """Read ``stick C14``, or of an annotation ``tap stick C14``; None when it is no tap."""
    found = _LABEL.fullmatch(text)
    if found is None or (must_say_tap and not found[1]) or not found[3].isprintable():
        return None
    return Tap(at_s=at_s, spot=found[3], by=Provocation(found[2].lower()))


def _taps(
    marks: Sequence[Mark], info: SourceInfo, given: Mapping[str, Any]
) -> tuple[tuple[Tap, ...], tuple[Caution, ...]]:
    if given["taps"] == KEYS:
        return _labelled(
            [(mark.at_s, mark.label) for mark in marks], what="mark", must_say_tap=False
        )
    if given["taps"] != ANNOTATIONS:
        return read_taps(Path(given["taps"])), ()
    from sniff.sources.recording.annotations import read_labels

    labels = read_labels(info.name, rate_hz=info.rate_hz)
    return _labelled(
        [(label.at_s, label.text) for label in labels], what="annotation", must_say_tap=True
    )


def _labelled(
    labels: Iterable[tuple[float, str]], *, what: str, must_say_tap: bool
) -> tuple[tuple[Tap, ...], tuple[Caution, ...]]:
    read = [parse_label(text, at_s=at_s, must_say_tap=must_say_tap) for at_s, text in labels]
    taps = tuple(tap for tap in read if tap is not None)
    others = len(read) - len(taps)
    if not others:
        return taps, ()
    example = "tap stick C14" if must_say_tap else "stick C14"
    counted = f"1 {what} is" if others == 1 else f"{others} {what}s are"
    text = f"{counted} not labelled like '{example}' and counted as no tap"
    return taps, (Caution(code="other-marks", text=text),)
