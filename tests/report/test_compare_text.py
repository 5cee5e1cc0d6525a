"""A comparison as text: every number whole at any width, and the verdict last."""

import re
from dataclasses import replace

import pytest
from rich.cells import cell_len

from sniff.compare import Comparison, Likeness, Origin
from sniff.report.compare_text import print_comparison
from sniff.report.compare_words import SIGNS
from tests.report.compared import WEAKER_DB, at_two_places, compared, row, with_rows

_COLOURS = re.compile(r"\x1b\[[0-9;]*m")


class Printed:
    """Prints a comparison into a terminal of so many columns, or into a pipe."""

    def __init__(self, capsys: pytest.CaptureFixture[str], patch: pytest.MonkeyPatch) -> None:
        self._capsys = capsys
        self._patch = patch

    def __call__(self, comparison: Comparison, columns: int | None = None) -> str:
        self._patch.delenv("NO_COLOR", raising=False)
        self._patch.setenv("TERM", "xterm")
        for name, value in (("FORCE_COLOR", "1"), ("COLUMNS", str(columns))):
            if columns is None:
                self._patch.delenv(name, raising=False)
            else:
                self._patch.setenv(name, value)
        print_comparison(comparison)
        return self._capsys.readouterr().out


@pytest.fixture
def printed(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Printed:
    return Printed(capsys, monkeypatch)


def numbers(text: str) -> list[str]:
    """Quantities, as often as they stand there."""
    return sorted(re.findall(r"[−+]?[0-9][0-9.]*(?: ± [0-9.]+)? (?:MHz|dBFS|ppm|dB)\b", text))


@pytest.mark.parametrize("columns", [80, 120])
@pytest.mark.parametrize("fault", ["none", "missing", "weak", "moved"])
def test_no_number_is_cut_on_a_narrow_terminal(printed: Printed, fault: str, columns: int) -> None:
    comparison = compared(fault)
    narrow = _COLOURS.sub("", printed(comparison, columns))
    assert max(cell_len(line) for line in narrow.split("\n")) <= columns
    assert "…" not in narrow
    assert numbers(" ".join(narrow.split())) == numbers(printed(comparison))


def test_in_a_pipe_a_line_of_both_sets_is_one_row(printed: Printed) -> None:
    """85.4 and 83.6 MHz, 2 and 4 ppm high; −40 dBFS both, the suspect's 17 dB weaker."""
    (lo,) = [line for line in printed(compared("weak")).split("\n") if line.startswith("LO ")]
    good, suspect = re.findall(r"([0-9.]+) MHz", lo)
    assert float(good) == pytest.approx(85.4 * (1 + 2e-6), abs=90e-6)  # U is 1 ppm
    assert float(suspect) == pytest.approx(83.6 * (1 + 4e-6), abs=90e-6)
    assert "◐ weak" in lo
    shift, difference = re.findall(r"([−+][0-9.]+) ±", lo)
    assert float(shift) == pytest.approx(2.0, abs=0.1)
    assert float(difference.replace("−", "-")) == pytest.approx(-WEAKER_DB, abs=0.3)
    assert "\x1b" not in lo


def test_what_is_missing_is_told_with_what_would_have_been_seen(printed: Printed) -> None:
    comparison = compared("missing")
    (lo,) = [line for line in printed(comparison).split("\n") if line.startswith("LO ")]
    assert "○ only-good" in lo
    assert "not seen" in lo
    found = next(line for line in comparison.result.lines if line.name == "LO")
    assert found.would_see_suspect_dbfs is not None
    assert found.good_dbfs is not None
    assert f"below {found.would_see_suspect_dbfs:.1f} dBFS".replace("-", "−") in lo
    at_most = found.would_see_suspect_dbfs - found.good_dbfs + 6.0  # U, as stated of placements
    assert f"below {at_most:.1f} dB ".replace("-", "−") in lo


def test_the_heading_tells_both_sets_their_clock_and_the_placing(printed: Printed) -> None:
    text = printed(compared("none"))
    assert "planted on 72.9 MHz against good planted on 74.7 MHz, 1.8 MHz lower." in text
    assert "One clock measured both, +30.4 ppm ± 1.0 ppm" in text
    assert "Loop placed once at each: levels compare to ±6.0 dB (95 %), as stated" in text


def test_each_place_has_its_verdict_and_all_of_them_come_last(printed: Printed) -> None:
    text = printed(at_two_places())
    parts = [text.index(words) for words in ("At feed A", "ALIKE: ", "At feed B", "DIFFERS: ")]
    assert parts == sorted(parts)
    last = text[text.index("All places together") :]
    assert last.count("DIFFERS: ") == 1
    assert "at feed B, the suspect lacks the LO" in last


def test_lines_of_one_set_come_before_those_of_both_and_the_rooms_last(printed: Printed) -> None:
    both = {"good_hz": 84e6, "suspect_hz": 84e6}
    text = printed(
        with_rows(
            compared("none"),
            row(Likeness.HIDDEN, name="faint", good_hz=84.1e6),
            *(
                row(Likeness.IN_BOTH, Origin.ROOM, name=f"transmitter {n}", **both)
                for n in range(9)
            ),
            row(Likeness.IN_BOTH, Origin.CARRIER, name="2 LO − carrier", **both),
            row(Likeness.ONLY_SUSPECT, suspect_hz=83.9e6),
        )
    )
    order = ["LO ", "line at 83.9 MHz", "faint", "2 LO − carrier", "transmitter 0"]
    at = [text.index(f"\n{name}") for name in order]
    assert at == sorted(at)
    assert "transmitter 3" in text
    assert "transmitter 4" not in text
    assert "and 5 weaker ones; --json lists all" in text


def test_a_source_named_like_markup_is_printed_as_it_is(printed: Printed) -> None:
    comparison = compared("none")
    (only,) = comparison.pairs
    odd = replace(only, suspect=replace(only.suspect, source="[red]set[/].cu8"))
    assert "Suspect [red]set[/].cu8 on" in printed(replace(comparison, pairs=(odd,)))


def test_every_state_has_a_sign_of_its_own() -> None:
    assert set(SIGNS) == set(Likeness)
    assert len(set(SIGNS.values())) == len(Likeness)
