"""Whether a spot answers more often than the control: Fisher's exact test, with Holm's method."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import comb
from statistics import median

from sniff.sureness import CONFIDENCE, clopper_pearson
from sniff.taps.nouns import (
    IN_WORDS,
    WHY_NO_HAND,
    Control,
    Provocation,
    SpotResult,
    SpotVerdict,
    Stroke,
    Tally,
    TapResult,
)
from sniff.units import format_chance

Spot = tuple[str, Provocation]
_MOST_TAPS = 100
_MOST_WINDOWS = 1000


def fisher_greater(here: Tally, control: Tally) -> float:
    """Fisher's exact test, one-sided: the chance of as many answers `here` or more.

    With all sums of the two-by-two table held, the answers are hypergeometric (R. A. Fisher, *The
    Design of Experiments*, 1935). In whole numbers, hence exact.
    """
    answers, taps = here.answered + control.answered, here.taps + control.taps
    ways = sum(
        comb(answers, count) * comb(taps - answers, here.taps - count)
        for count in range(here.answered, min(answers, here.taps) + 1)
        if here.taps - count <= taps - answers
    )
    return ways / comb(taps, here.taps)


def holm(chances: Sequence[float]) -> tuple[float, ...]:
    """Adjust p values for their number (S. Holm, Scandinavian Journal of Statistics 6, 1979).

    The smallest is multiplied by how many there are, the next by one less, and so on; none
    becomes smaller than one before it, or larger than 1.
    """
    adjusted = [0.0] * len(chances)
    largest = 0.0
    for place, number in enumerate(sorted(range(len(chances)), key=chances.__getitem__)):
        largest = max(largest, min(1.0, (len(chances) - place) * chances[number]))
        adjusted[number] = largest
    return tuple(adjusted)


def judge(
    strokes: Sequence[Stroke],
    *,
    sibling: Mapping[Spot, Tally],
    untouched: Mapping[Provocation, Tally],
    confidence: float = CONFIDENCE,
) -> TapResult:
    """Judge every spot against its control.

    The control is the same spot of the sibling under the same provocation, or else the time in
    which nothing was touched. A hand takes no part: `WHY_NO_HAND`.
    """
    spots = list(dict.fromkeys((stroke.tap.spot, stroke.tap.by) for stroke in strokes))
    drafts = [
        _draft(spot, [s for s in strokes if (s.tap.spot, s.tap.by) == spot], sibling, untouched)
        for spot in spots
    ]
    tested = [number for number, draft in enumerate(drafts) if draft.p is not None]
    adjusted = holm([p for draft in drafts if (p := draft.p) is not None])
    for number, p in zip(tested, adjusted, strict=True):
        draft = replace(drafts[number], p_adjusted=p)
        drafts[number] = _with_verdict(draft, len(tested), 1.0 - confidence)
    ranked = tuple(sorted(drafts, key=_rank))
    return TapResult(
        spots=ranked,
        strokes=tuple(strokes),
        tested=len(tested),
        confidence=confidence,
        says=_says(ranked, len(tested)),
    )


def _draft(
    spot: Spot,
    strokes: Sequence[Stroke],
    sibling: Mapping[Spot, Tally],
    untouched: Mapping[Provocation, Tally],
) -> SpotResult:
    name, by = spot
    counted = [stroke for stroke in strokes if stroke.answered is not None]
    here = Tally(answered=sum(bool(stroke.answered) for stroke in counted), taps=len(counted))
    control, against = _control(spot, sibling, untouched)
    usable = control is not None and by is not Provocation.HAND and here.taps > 0
    if by is Provocation.HAND:
        verdict, why = SpotVerdict.NO_EVIDENCE, WHY_NO_HAND
    elif not here.taps:
        verdict = SpotVerdict.TOO_FEW
        why = f"no tap counts: {next(s.why_not_counted for s in strokes if s.why_not_counted)}"
    else:
        verdict = SpotVerdict.NO_CONTROL
        why = "nothing to compare it with: tap the sibling too, or leave the set alone for a while"
    low, high = clopper_pearson(here.answered, here.taps, CONFIDENCE)
    return SpotResult(
        spot=name,
        by=by,
        taps=here.taps,
        answered=here.answered,
        not_counted=len(strokes) - len(counted),
        dropouts=sum(stroke.dropouts for stroke in counted),
        pulls=sum(stroke.pulls for stroke in counted),
        fraction_low=low,
        fraction_high=high,
        control=control,
        control_taps=against.taps,
        control_answered=against.answered,
        p=fisher_greater(here, against) if usable else None,
        p_adjusted=None,
        drift_hz=_median([stroke.drift_hz for stroke in strokes]),
        drift_db=_median([stroke.drift_db for stroke in strokes]),
        verdict=verdict,
        why=why,
    )


def _control(
    spot: Spot, sibling: Mapping[Spot, Tally], untouched: Mapping[Provocation, Tally]
) -> tuple[Control | None, Tally]:
    same = sibling.get(spot)
    if same is not None and same.taps:
        return Control.SIBLING, same
    quiet = untouched.get(spot[1])
    if quiet is not None and quiet.taps:
        return Control.UNTOUCHED, quiet
    return None, Tally(answered=0, taps=0)


def _with_verdict(draft: SpotResult, tested: int, level: float) -> SpotResult:
    assert draft.p_adjusted is not None
    if draft.p_adjusted <= level:
        return replace(draft, verdict=SpotVerdict.REACTS, why=_why_reacts(draft))
    against = Tally(answered=draft.control_answered, taps=draft.control_taps)
    if 2 * against.answered >= against.taps:
        why = f"the control drops out too: {against.answered} of {against.taps}"
        return replace(draft, verdict=SpotVerdict.NOT_SHOWN, why=why)
    if _surest(draft.taps, against) * tested > level:
        why = _why_too_few(draft, against, level / tested)
        return replace(draft, verdict=SpotVerdict.TOO_FEW, why=why)
    pulled = draft.pulls > draft.dropouts
    why = (
        "it was pulled rather than broken: keep the hand away, or use a longer stick"
        if pulled
        else "no more drop-outs than the control has"
        if draft.answered * max(1, draft.control_taps) <= draft.control_answered * draft.taps
        else "more drop-outs than the control has, but that may be chance"
    )
    return replace(draft, verdict=SpotVerdict.NOT_SHOWN, why=why)


def _why_too_few(draft: SpotResult, against: Tally, level: float) -> str:
    if draft.control is Control.UNTOUCHED:
        for windows in range(against.taps + 1, _MOST_WINDOWS):
            if _surest(draft.taps, replace(against, taps=windows)) <= level:
                return (
                    "too little untouched time to compare with: leave the set alone for "
                    f"{windows - against.taps} more windows as long as a tap's"
                )
    for taps in range(draft.taps + 1, _MOST_TAPS):
        if _surest(taps, against) <= level:
            return f"too few taps to show anything: with this control it takes {taps}, all answered"
    return "the control answers too often, or was tapped too seldom, to show anything"


def _surest(taps: int, against: Tally) -> float:
    """The p of a spot that answers every tap."""
    return fisher_greater(Tally(answered=taps, taps=taps), against) if taps else 1.0


def _why_reacts(draft: SpotResult) -> str:
    if draft.control is Control.SIBLING:
        return "it drops out when this is touched, and the sibling does not"
    return (
        "it drops out when this is touched more than by itself; whether a good set would too, "
        "only the sibling shows"
    )


def _rank(spot: SpotResult) -> tuple[bool, float, float]:
    return spot.p is None, 1.0 if spot.p is None else spot.p, -spot.fraction_low


def _median(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return median(known) if known else None


def _says(ranked: Sequence[SpotResult], tested: int) -> str:
    reacting = [spot for spot in ranked if spot.verdict is SpotVerdict.REACTS]
    if reacting:
        first = reacting[0]
        more = "".join(f", then '{spot.spot}'" for spot in reacting[1:])
        assert first.p_adjusted is not None
        return (
            f"'{first.spot}' reacts ({IN_WORDS[first.by]}): {first.answered} of {first.taps} "
            f"taps, the control {first.control_answered} of {first.control_taps} "
            f"(p of {format_chance(first.p_adjusted)} for {tested} tested). Look there first"
            f"{more}; what is moved along with it may be the joint."
        )
    if all(spot.by is Provocation.HAND for spot in ranked):
        return f"Only a hand was used, which shows nothing: {WHY_NO_HAND}."
    if any(spot.verdict is SpotVerdict.NOT_SHOWN for spot in ranked):
        return "No spot reacts more than the control; that is no proof that none is cracked."
    return "Nothing can be said yet: see what each spot still needs."
