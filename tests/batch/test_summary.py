"""The summary of a batch: planted fleets in, who fails, who stands out, what they share out."""

from enum import Enum
from typing import Any

import pytest

from sniff.batch.nouns import Answer
from sniff.batch.summary import Standing, Summary, standing_of, summarised
from sniff.batch.table import flattened
from sniff.board import BoardVerdict
from sniff.compare.nouns import ComparisonVerdict
from sniff.verdict import Outcome
from sniff.watch.nouns import WatchVerdict
from tests.batch.told import answer, board, board_line, carrier, envelope, look, unread, watch

SPREAD_PPM = (-1.5, -1.1, -0.8, -0.4, -0.1, 0.2, 0.5, 0.7, 1.0, 1.6)


def _summary(question: str, told: list[Answer]) -> Summary:
    return summarised(flattened(told), question=question)


def _carriers(errors_ppm: list[float], **more: Any) -> list[Answer]:
    return [answer(n, carrier(error, **more)) for n, error in enumerate(errors_ppm)]


def _codes(summary: Summary) -> list[str]:
    return [caution.code for caution in summary.cautions]


def _set(number: int) -> str:
    return f"fleet/set-{number:03d}.sigmf-meta"


def test_recordings_are_counted_by_what_came_of_them() -> None:
    told = [
        answer(0, carrier(1.0)),
        answer(1, carrier(25.0, verdict="fail"), exit_code=1),
        answer(2, carrier(19.9, verdict="undecided"), exit_code=3),
        answer(3, carrier(2.0, verdict=None, tolerance_ppm=None)),
        unread(4),
        answer(5, None, exit_code=2, error="--nominal 'x' is not a frequency; write 83.6M"),
        answer(6, carrier(-41.0, verdict="fail"), exit_code=1),
        answer(7, carrier(None, verdict="undecided"), exit_code=3),
    ]
    summary = _summary("carrier", told)
    assert summary.recordings == 8
    assert (summary.as_expected, summary.failed, summary.undecided) == (1, 2, 2)
    assert (summary.not_judged, summary.not_read) == (1, 2)
    assert [case.file for case in summary.failures] == [_set(6), _set(1)]  # 41 ppm before 25
    assert summary.failures[0].why == "-41.0 ppm off"
    assert [case.file for case in summary.open_cases] == [_set(2), _set(7)]
    assert [case.why for case in summary.unread] == [
        "the file is empty; record it again",
        "--nominal 'x' is not a frequency; write 83.6M",
    ]


@pytest.mark.parametrize("words", [Outcome, BoardVerdict, WatchVerdict, ComparisonVerdict])
def test_every_verdict_of_every_question_counts_as_something(words: type[Enum]) -> None:
    for verdict in words:
        standing = standing_of({"verdict": str(verdict.value), "exit_code": 0, "error": None})
        assert standing is not Standing.NOT_JUDGED
        assert (standing is Standing.UNDECIDED) is (verdict.value == "undecided")


def test_a_carrier_that_is_within_tolerance_but_unlike_its_siblings_is_named() -> None:
    summary = _summary("carrier", _carriers([*SPREAD_PPM, 14.2]))
    assert summary.as_expected == 11
    (named,) = summary.outliers
    assert named.file == _set(10)
    assert (named.what, named.value) == ("error_ppm", 14.2)
    assert named.typical == 0.2  # sixth of eleven
    assert named.sentence == "carrier's error: +14.20 ppm, 14 ppm above the median of 11, +0.20 ppm"
    assert _codes(summary) == []


@pytest.mark.parametrize(
    ("offset_ppm", "u_clock_ppm", "said"),
    [
        (-5.0, 10.0, "rather the clock's, known to ± 20 ppm"),
        (8.0, 1.0, "its clock is stated to ± 2.0 ppm: either that is wrong"),
    ],
)
def test_an_error_that_all_share_is_told_as_rather_one_clocks_than_all_sets(
    offset_ppm: float, u_clock_ppm: float, said: str
) -> None:
    errors = [offset_ppm + error for error in SPREAD_PPM]
    summary = _summary("carrier", _carriers(errors, u_clock_ppm=u_clock_ppm))
    (caution,) = summary.cautions
    assert caution.code == "common-error"
    assert caution.text.startswith("10 recordings made by a dongle that they do not name ")
    assert said in caution.text
    assert summary.outliers == ()


def test_each_dongles_own_error_is_told_by_its_serial_number() -> None:
    told = [
        answer(n, carrier(error + (6.0 if n % 2 else 0.0), serial=f"0000000{n % 2}"))
        for n, error in enumerate(error for error in SPREAD_PPM for _ in (0, 1))
    ]
    caution = _summary("carrier", told).cautions[0]
    assert "10 recordings made by dongle 00000001 share an error" in caution.text


@pytest.mark.parametrize("errors", [[3.0, 3.1, 2.9, 3.0], [-4.0, 5.0, 3.0, 4.5, -3.0, 1.0]])
def test_few_or_scattered_errors_are_not_said_to_be_shared(errors: list[float]) -> None:
    assert "common-error" not in _codes(_summary("carrier", _carriers(errors)))


def test_a_small_fleet_says_that_it_is_small() -> None:
    summary = _summary("carrier", _carriers([0.1, -0.2, 0.3, -0.1, 90.0]))
    assert summary.outliers == ()
    (caution,) = summary.cautions
    assert caution.code == "few"
    assert "5 with a figure to compare, where it takes 8" in caution.text


def _boards(levels: list[float], **odd: Any) -> list[Answer]:
    fleet = [
        answer(n, board(board_line("LO", level), board_line("crystal", -60.0, wanted=False)))
        for n, level in enumerate(levels)
    ]
    return [*fleet, answer(len(levels), board(**odd))] if odd else fleet


def test_a_line_that_is_weak_in_one_of_thirty_sets_is_named() -> None:
    levels = [-39.0 + 0.4 * (n % 5) for n in range(30)]
    levels[17] = -53.0
    summary = _summary("probe", _boards(levels))
    (named,) = summary.outliers
    assert (named.file, named.what, named.value) == (_set(17), "LO.level_dbfs", -53.0)
    assert named.typical == -38.2
    assert summary.as_expected == 30


def test_an_unwanted_line_that_only_one_set_lacks_is_named_though_it_is_no_fault() -> None:
    told = _boards([-39.0] * 12)
    gone = board_line("crystal", None, wanted=False, state="absent", would_see_dbfs=-82.0)
    told.append(answer(12, board(board_line("LO", -39.0), gone)))
    hidden = board_line("crystal", None, wanted=False, state="hidden", would_see_dbfs=-120.0)
    told.append(answer(13, board(board_line("LO", -39.0), hidden)))
    covered = board_line("crystal", -20.0, wanted=False, state="hidden")  # by what covers it
    told.append(answer(14, board(board_line("LO", -39.0), covered)))
    (named,) = _summary("probe", told).outliers
    assert (named.file, named.what, named.is_limit) == (_set(12), "crystal.level_dbfs", True)
    assert "at least 22.0 dB below" in named.sentence


def test_a_carrier_or_a_watched_line_that_was_not_seen_counts_by_its_limit() -> None:
    told = [answer(n, carrier(0.1 * n)) for n in range(9)]
    told.append(answer(9, carrier(None, verdict="undecided", would_see_dbfs=-66.0)))
    (named,) = _summary("carrier", told).outliers
    assert (named.file, named.what, named.is_limit) == (_set(9), "level_dbfs", True)
    assert "not seen, so below −66.0 dBFS, at least 46.0 dB below" in named.sentence

    gone = {"verdict": "absent", "why": "not seen", "level_dbfs": None, "would_see_dbfs": -77.0}
    told = [answer(n, watch(0, 1.0)) for n in range(9)]
    told.append(answer(9, envelope("watch", gone), exit_code=1))
    (named,) = _summary("watch", told).outliers
    assert (named.file, named.value, named.is_limit) == (_set(9), -77.0, True)


def test_wanted_lines_are_compared_before_those_that_may_be_too_weak() -> None:
    told = [
        answer(n, board(board_line("crystal", -60.0, wanted=False), board_line("LO", -39.0)))
        for n in range(8)
    ]
    assert [fleet.what for fleet in _summary("probe", told).fleets] == [
        "LO.level_dbfs",
        "crystal.level_dbfs",
        "LO.error_ppm",
        "crystal.error_ppm",
    ]


def test_levels_of_several_gains_come_with_a_caution() -> None:
    told = [
        answer(n, board(board_line("LO", -39.0), gain_db=gain))
        for n, gain in enumerate([20.0, 40.0, None, 20.0, 20.0, 20.0, 20.0, 20.0])
    ]
    (caution,) = [each for each in _summary("probe", told).cautions if each.code == "gains"]
    assert "(20.0 dB, 40.0 dB and unknown ones)" in caution.text
    assert "gains" not in _codes(_summary("probe", _boards([-39.0] * 8)))


def test_a_set_against_its_known_good_is_compared_with_the_other_sets() -> None:
    def line(difference: float | None, **more: Any) -> dict[str, Any]:
        state = "in-both" if difference is not None else "only-good"
        return {"name": "LO", "state": state, "wanted": True, "difference_db": difference, **more}

    told = [
        answer(n, envelope("compare", {"verdict": "alike", "sentence": "alike", "lines": [each]}))
        for n, each in enumerate(
            [
                *(line(0.5 * (n % 4)) for n in range(12)),
                line(-14.0),
                line(None, difference_bound_db=-45.0),
                line(None, difference_bound_db=None),
            ]
        )
    ]
    summary = _summary("compare", told)
    assert [(each.file, each.value) for each in summary.outliers] == [
        (_set(13), -45.0),
        (_set(12), -14.0),
    ]
    assert summary.as_expected == 15


def test_cautions_of_single_recordings_are_counted() -> None:
    """Alone, the command prints them; here nobody would see them."""
    told = [answer(n, board(board_line("LO", -39.0))) for n in range(9)]
    assert "of-recordings" not in _codes(_summary("probe", told))
    for n, codes in ((2, ["clock"]), (5, ["overload", "clock"])):
        cautions = [{"code": code, "text": "as it is"} for code in codes]
        told[n] = answer(n, {**board(board_line("LO", -39.0)), "cautions": cautions})
    (caution,) = [c for c in _summary("probe", told).cautions if c.code == "of-recordings"]
    assert caution.text.startswith(
        "2 recordings have cautions of their own: clock (2), overload (1);"
    )


def _compared(n: int, difference: float, shift: float = 0.0) -> Answer:
    line = {
        "name": "LO",
        "state": "in-both",
        "wanted": True,
        "difference_db": difference,
        "shift_ppm": shift,
        "u_shift_ppm": 0.1,
    }
    return answer(n, envelope("compare", {"verdict": "alike", "sentence": "", "lines": [line]}))


def test_when_all_differ_from_the_known_good_alike_it_is_rather_the_odd_one() -> None:
    (caution,) = _summary(
        "compare", [_compared(n, -9.0 - 0.5 * (n % 3)) for n in range(9)]
    ).cautions
    assert caution.code == "common-difference"
    assert "−9.5 dB on the median" in caution.text
    placed = [_compared(n, -4.0 - 0.5 * (n % 3)) for n in range(9)]  # the loop explains 6 dB
    scattered = [_compared(n, -7.0 + 9.0 * (n % 3 - 1)) for n in range(9)]
    for told in (placed, scattered):
        assert _codes(_summary("compare", told)) == []


def test_a_set_whose_line_moved_farther_than_the_others_is_named() -> None:
    told = [_compared(n, -1.0, shift=0.5 * (n % 5)) for n in range(12)]
    told.append(_compared(12, -1.0, shift=14.0))
    (named,) = _summary("compare", told).outliers
    assert (named.file, named.what, named.value) == (_set(12), "LO.shift_ppm", 14.0)


def test_a_line_that_most_sets_lack_is_compared_with_nobody() -> None:
    gone = board_line("crystal × 4", None, wanted=False, state="absent", would_see_dbfs=-74.0)
    seen = board_line("crystal × 4", -50.0, wanted=False)
    told = [answer(n, board(seen if n < 5 else gone)) for n in range(11)]
    assert "crystal × 4.level_dbfs" not in [f.what for f in _summary("probe", told).fleets]


def test_of_watches_the_dead_come_first_then_the_most_frequent() -> None:
    told = [answer(n, watch(0, 2.0)) for n in range(20)]
    told[3] = answer(3, watch(2, 2.0), exit_code=1)
    told[5] = answer(5, watch(0, 2.0, verdict="absent"), exit_code=1)
    told[8] = answer(8, watch(30, 2.0), exit_code=1)
    summary = _summary("watch", told)
    assert [case.file for case in summary.failures] == [_set(5), _set(8), _set(3)]
    assert (summary.as_expected, summary.failed) == (17, 3)
    assert [each.file for each in summary.outliers] == [_set(8)]
    assert summary.outliers[0].what == "rate_per_hour.value"


def test_looks_have_no_verdict_but_outliers() -> None:
    told = [answer(n, look(-98.0 + 0.1 * n, (72.9e6, -35.0 - 0.2 * n, ""))) for n in range(12)]
    told.append(answer(12, look(-80.0, (72.8e6, -3.0, "dc"), (72.9e6, -36.0, ""))))
    told.append(answer(13, look(-97.5)))
    summary = _summary("look", told)
    assert (summary.not_judged, summary.as_expected) == (14, 0)
    assert [(each.file, each.what) for each in summary.outliers] == [
        (_set(12), "noise_dbfs_per_hz")
    ]


def test_outliers_come_farthest_out_first() -> None:
    summary = _summary("carrier", _carriers([*SPREAD_PPM, 14.2, -30.0, 11.0]))
    assert [each.value for each in summary.outliers] == [-30.0, 14.2, 11.0]


def test_a_batch_of_files_in_trouble_is_summed_up_too() -> None:
    summary = _summary("probe", [unread(n) for n in range(3)])
    assert (summary.recordings, summary.not_read) == (3, 3)
    assert (summary.fleets, summary.outliers, summary.cautions) == ((), (), ())
    assert summarised(flattened([]), question="look").recordings == 0
