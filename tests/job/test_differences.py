"""What counts as a difference between two results of one recording."""

from typing import Any

import pytest

from sniff.job.differences import differences

LINE = {
    "name": "LO",
    "state": "present",
    "expected_hz": 83.6e6,
    "frequency_hz": 83_600_469.0,
    "u_hz": 25.0,
    "error_hz": 469.0,
    "error_ppm": 5.61,
    "level_dbfs": -39.0,
    "present_fraction": 0.875,
    "why": "in words",
}


def fields(old: Any, new: Any) -> list[str]:
    return [each.field for each in differences(old, new)]


@pytest.mark.parametrize(
    ("changed", "differs"),
    [
        ({"frequency_hz": 83_600_469.0 + 49.0, "error_hz": 518.0}, False),  # U = 50 Hz
        ({"frequency_hz": 83_600_469.0 + 51.0}, True),
        ({"error_hz": 469.0 - 51.0}, True),
        ({"error_ppm": 5.61 + 0.59}, False),  # 50 Hz of 83.6 MHz are 0.598 ppm
        ({"error_ppm": 5.61 + 0.61}, True),
        ({"level_dbfs": -39.09}, False),
        ({"level_dbfs": -39.11}, True),
        ({"u_hz": 30.0}, False),
        ({"u_hz": 60.0}, True),
        ({"present_fraction": 0.88}, False),
        ({"present_fraction": 0.90}, True),
        ({"state": "unsteady"}, True),
        ({"frequency_hz": None}, True),
        ({"why": "in other words"}, False),
    ],
)
def test_a_field_differs_beyond_its_uncertainty_only(
    changed: dict[str, Any], differs: bool
) -> None:
    found = fields({"lines": [LINE]}, {"lines": [{**LINE, **changed}]})
    assert found == ([f"lines[LO].{next(iter(changed))}"] if differs else [])


def test_lines_are_matched_by_name_and_peaks_by_frequency() -> None:
    other = {**LINE, "name": "crystal"}
    assert fields({"lines": [LINE, other]}, {"lines": [other, LINE]}) == []
    assert fields({"lines": [LINE]}, {"lines": [LINE, other]}) == ["lines[crystal]"]
    peaks = [{"frequency_hz": f, "u_hz": 1.0, "level_dbfs": 0.0} for f in (1e6, 2e6)]
    assert fields(peaks, peaks[::-1]) == []
    assert fields(peaks, peaks[:1]) == ["[2000000 Hz]"]


def test_a_count_that_changed_by_one_differs() -> None:
    assert fields({"dropout_count": 300}, {"dropout_count": 301}) == ["dropout_count"]


def test_a_course_is_told_in_one_line() -> None:
    old = {"level_dbfs": [-39.0, None, -39.0, None]}
    assert differences(old, {"level_dbfs": [-39.01, None, -39.0, None]}) == []
    (one,) = differences(old, {"level_dbfs": [-30.0, None, None, None]})
    assert one.new == "2 of them otherwise"
    (other,) = differences(old, {"level_dbfs": [1.0]})
    assert (other.old, other.new) == ("4 values", "1 values")


def test_a_field_that_is_told_no_more_is_a_difference_and_one_told_besides_is_none() -> None:
    assert fields({"a": 1}, {"b": 1}) == ["a"]
    assert fields({"lines": [LINE]}, {"lines": [{**LINE, "placings": 1}]}) == []
    assert fields({"a": None}, {"a": 1}) == ["a"]
    assert fields({"a": True}, {"a": 1}) == []
