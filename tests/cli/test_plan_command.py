"""``sniff plan`` as a user runs it: words in, table or JSON out, mistakes in one line."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from sniff.cli import main
from tests.values.superhet import CRYSTAL_CHAINS, SINGLE_CONVERSION, TOLERANCE_CHAIN

RECEIVER = ("--carrier", "72.9M", "--if", "10.7 MHz", "--side", "high", "--multiplier", "3")


class Ran:
    """Exit code, stdout and stderr of one run."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err

    @property
    def result(self) -> dict[str, Any]:
        data = json.loads(self.out)
        assert (data["schema"], data["command"]) == ("sniff/1", "plan")
        result: dict[str, Any] = data["result"]
        return result

    @property
    def codes(self) -> list[str]:
        return [caution["code"] for caution in json.loads(self.out)["cautions"]]


class Plan:
    """Runs the command in this process."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch, self._capsys = monkeypatch, capsys

    def __call__(self, *words: str) -> Ran:
        self._monkeypatch.setattr(sys, "argv", ["sniff", "plan", *words])
        with pytest.raises(SystemExit) as left:
            main()
        captured = self._capsys.readouterr()
        assert isinstance(left.value.code, int)
        return Ran(left.value.code, captured.out, captured.err)


@pytest.fixture
def plan(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Plan:
    return Plan(monkeypatch, capsys)


def test_table_shows_each_line_with_frequency_tolerance_and_formula(plan: Plan) -> None:
    ran = plan(*RECEIVER, "--tolerance", "50ppm")
    assert ran.code == 0
    rows = {line.split("  ")[0]: line for line in ran.out.splitlines()}
    assert "83.6 MHz  ± 4.2 kHz  must be there" in rows["LO"]
    assert rows["LO"].endswith("72.9 MHz + 10.7 MHz")
    assert "27.866667 MHz  ± 1.4 kHz  may be weak" in rows["crystal"]
    assert "94.3 MHz  ± 4.2 kHz  only responds" in rows["image"]
    assert "10.7 MHz  ± 4.2 kHz  while it receives" in rows["IF"]
    assert "Tolerance 50 ppm of the crystal." in ran.out
    assert "Crystal: 83.6 MHz / multiplier" in ran.out
    assert "× 3         27.866667 MHz" in ran.out


def test_columns_are_aligned(plan: Plan) -> None:
    lines = plan(*RECEIVER).out.splitlines()
    start = next(at for at, line in enumerate(lines) if line.startswith("line "))
    table = lines[start : lines.index("", start)]
    column = table[0].index("comes about as")
    assert len(table) == 9
    assert all(line[column - 1] == " " and line[column] != " " for line in table)


@pytest.mark.parametrize(("carrier", "if_", "side", "lo", "image", "half_if"), SINGLE_CONVERSION)
def test_json_gives_the_worked_examples(
    plan: Plan, carrier: float, if_: float, side: str, lo: float, image: float, half_if: float
) -> None:
    ran = plan("--carrier", f"{carrier}M", "--if", f"{if_}M", "--side", side, "--json")
    lines = {line["role"]: line["expected_hz"] for line in ran.result["lines"]}
    found = [lines[role] / 1e6 for role in ("lo", "image", "half-if")]
    assert found == pytest.approx([lo, image, half_if], abs=1e-8)
    assert ran.result["candidates"] == []


def test_json_line_has_every_field_of_the_contract(plan: Plan) -> None:
    ran = plan(*RECEIVER, "--json")
    lo = next(line for line in ran.result["lines"] if line["role"] == "lo")
    assert lo == {
        "name": "LO",
        "role": "lo",
        "expected_hz": pytest.approx(83.6e6),
        "tolerance_hz": pytest.approx(4180.0),
        "formula": "72.9 MHz + 10.7 MHz",
        "radiated": True,
        "wanted": True,
    }
    assert ran.result["plan"]["tolerance"] == {"ppm": 50.0, "hz": None}
    assert ran.result["tolerance_of"] == "crystal"
    assert ran.codes == ["assumed-tolerance", "overtone"]


def test_file_and_options_give_the_same_plan(plan: Plan, tmp_path: Path) -> None:
    file = tmp_path / "set.toml"
    file.write_text('carrier = "72.9M"\nif = "10.7M"\nside = "high"\nmultiplier = 3\n')
    assert plan("--plan", str(file), "--json").result == plan(*RECEIVER, "--json").result


def test_dual_conversion_lists_the_second_lo(plan: Plan) -> None:
    ran = plan(*RECEIVER, "--second-if", "455k", "--second-side", "low", "--multiples", "4")
    assert "second IF 455 kHz with low-side injection" in ran.out
    assert "10.7 MHz − 455 kHz" in ran.out
    assert re.search(r"^second LO × 4 +40\.98 MHz", ran.out, re.MULTILINE)
    assert "50 ppm is taken for it too" in ran.err


def test_channel_stands_for_its_carrier(plan: Plan) -> None:
    words = ("--channel-base", "216.025M", "--channel-step", "50k", "--channel", "43")
    assert "Transmitter on 218.125 MHz" in plan(*words).out
    assert "Transmitter on 216.125 MHz" in plan(*words, "--channel-first", "41").out


def test_marking_of_a_crystal_gives_its_carrier(plan: Plan) -> None:
    known = TOLERANCE_CHAIN
    words = ("--crystal", "17.645M", "--if", "10.7M", "--side", "low", "--tolerance", "50ppm")
    (choice,) = plan(*words, "--multiplier", "9", "--json").result["crystals"]
    assert choice["carrier_hz"] == pytest.approx(known["carrier_mhz"] * 1e6)
    assert choice["crystal_tolerance_hz"] == pytest.approx(known["crystal_hz"], abs=0.5)
    assert choice["channel_tolerance_hz"] == pytest.approx(known["lo_khz"] * 1e3, abs=0.5)
    assert choice["channel_tolerance_ppm"] == pytest.approx(known["channel_ppm"], abs=0.05)
    listed = plan(*words)
    assert "Carrier received: multiplier × 17.645 MHz + 10.7 MHz" in listed.out
    assert "× 9         169.505 MHz        ± 882 Hz       ± 7.9 kHz" in listed.out


def test_unknown_multiplier_lists_the_crystals_that_would_serve(plan: Plan) -> None:
    ran = plan("--carrier", "216.025M", "--if", "10.7M", "--side", "low", "--json")
    crystals = {each["multiplier"]: each["crystal_hz"] / 1e6 for each in ran.result["crystals"]}
    for carrier, _, _, multiplier, crystal in CRYSTAL_CHAINS:
        if carrier == 216.025:
            assert crystals[multiplier] == pytest.approx(crystal, abs=5e-6)
    assert "never work it out from the marking of a fundamental" in plan("--carrier", "72M").err


def test_lines_seen_tell_the_set_and_its_sibling(plan: Plan) -> None:
    words = ("--seen", "carrier=72.9M±60", "--seen", "83.6M±60", "--tolerance", "5ppm")
    ran = plan(*words, "--sibling-carrier", "74.7M", "--json")
    (best,) = ran.result["candidates"]
    assert (best["if_hz"], best["side"], best["fits"]) == (10.7e6, "high", True)
    assert best["injection_error_hz"] == pytest.approx(0.0, abs=1e-6)
    assert best["u_hz"] == pytest.approx((2 * 30.0**2) ** 0.5)
    assert ran.result["plan"]["carrier_hz"] == 74.7e6
    lo = next(line for line in ran.result["lines"] if line["role"] == "lo")
    assert lo["expected_hz"] == pytest.approx(85.4e6)
    assert ran.codes == ["overtone"]


def test_what_is_known_already_narrows_the_hypotheses(plan: Plan) -> None:
    words = ("--seen", "carrier=72.9M", "--seen", "83.6M", "--seen", "27.8667M", "--json")
    open_ = plan(*words).result["candidates"]
    assert {each["if_hz"] for each in open_} == {10.7e6, 10.695e6}
    assert {each["multiplier"] for each in open_} == {3, 6, 9, 12, 18}
    known = plan(*words, "--if", "10.695M", "--multiplier", "6").result["candidates"]
    assert [(each["if_hz"], each["multiplier"]) for each in known] == [(10.695e6, 6)]


def test_channel_may_be_the_known_carrier_of_lines_seen(plan: Plan) -> None:
    channel = ("--channel-base", "72.1M", "--channel-step", "200k", "--channel", "5")
    ran = plan(*channel, "--seen", "83.6M±60", "--tolerance", "5ppm")
    assert "What the set on 72.9 MHz may be" in ran.out
    assert "10.7 MHz  high" in ran.out


def test_plan_may_be_carried_to_a_sibling(plan: Plan) -> None:
    ran = plan(*RECEIVER, "--sibling-carrier", "74.7M")
    assert "Receiver on 74.7 MHz" in ran.out
    assert "85.4 MHz" in ran.out


def test_ambiguous_leakage_line_keeps_both_sets_and_says_so(plan: Plan) -> None:
    ran = plan("--carrier", "162.55M", "--seen", "141.15M±100", "--tolerance", "5ppm")
    assert ran.code == 0
    wide, narrow = [line for line in ran.out.splitlines() if "141.15 MHz" in line]
    assert wide.strip().startswith("21.4 MHz  low")
    assert wide.endswith("141.15 MHz LO")
    assert narrow.strip().startswith("10.7 MHz  low")
    assert narrow.endswith("141.15 MHz image, from elsewhere")
    assert "2 hypotheses fit" in ran.err


def test_lo_far_off_shows_its_misfit_and_the_measured_if(plan: Plan) -> None:
    ran = plan("--seen", "carrier=72.9M±60", "--seen", "lo=83.64M±60", "--tolerance", "5ppm")
    measured, nearest = [line for line in ran.out.splitlines() if line.endswith("MHz LO")]
    assert measured.strip().startswith("10.740000 MHz  high")
    assert "measured, no usual IF" in measured
    assert "+40.000 kHz ± 85 Hz  < 0.0001  does not fit" in nearest


def test_long_list_of_hypotheses_is_cut_in_text_but_not_in_json(plan: Plan) -> None:
    words = ("--seen", "72.9M", "--seen", "83.6M", "--seen", "27.8667M")
    words += ("--seen", "10.245M")
    assert "less likely ones; --json lists all" in plan(*words).out
    assert len(plan(*words, "--json").result["candidates"]) > 12


def test_lines_that_nothing_explains_are_said_to_be_so(plan: Plan) -> None:
    ran = plan("--seen", "carrier=72.9M", "--seen", "crystal=31.415M")
    assert (ran.code, ran.out) == (0, "Nothing explains these lines.\n")
    assert "no hypothesis explains these lines; add the line of the LO" in ran.err


def test_clock_of_lines_read_without_uncertainty_is_assumed_or_stated(plan: Plan) -> None:
    words = ("--seen", "carrier=72.9M", "--seen", "83.6M", "--json")
    # 100 / sqrt(3) ppm of the IF, and twice 500 / sqrt(3) Hz.
    assert plan(*words).result["candidates"][0]["u_hz"] == pytest.approx(740.4, abs=0.1)
    stated = plan(*words, "--u-ppm", "0").result["candidates"][0]
    assert stated["u_hz"] == pytest.approx(408.2, abs=0.1)


def test_quiet_keeps_cautions_off_the_screen_but_in_json(plan: Plan) -> None:
    assert plan(*RECEIVER, "--quiet").err == ""
    ran = plan(*RECEIVER, "--quiet", "--json")
    assert ran.err == ""
    assert "assumed-tolerance" in ran.codes


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "which set? Give --carrier"),
        (("--carrier", "72.9M", "--if", "10.7M"), "IF 10.7 MHz needs its side"),
        (("--carrier", "72.9M", "--side", "low"), "side 'low' says nothing without its IF"),
        (("--carrier", "9M", "--if", "10.7M", "--side", "low"), "only with an LO of -1.7 MHz"),
        ((*RECEIVER[:-1], "0"), "multiplier 0 is not 1, 2, 3"),
        ((*RECEIVER, "--multiples", "0"), "highest multiple 0"),
        ((*RECEIVER, "--crystal", "27.8667M"), "not carrier and crystal"),
        ((*RECEIVER, "--u-ppm", "3"), "--u-ppm belongs to --seen"),
        ((*RECEIVER, "--sibling-carrier", "-1M"), "carrier -1e+06 Hz is not a frequency"),
        (("--channel", "3"), "--channel, --channel-base and --channel-step go together"),
        (("--carrier", "72M", "--crystal", "27M"), "--carrier does not go with --crystal"),
        (("--crystal", "27M", "--sibling-carrier", "74.7M"), "needs --multiplier besides"),
        (("--crystal", "27M", "--if", "10.7M"), "IF 10.7 MHz needs its side"),
        (("--plan", "set.toml", "--channel", "3"), "--channel does not go with --plan"),
        (("--plan", "set.toml", "--carrier", "72M"), "--plan and --carrier do not go together"),
        (("--seen", "72.9M"), "one line never tells the IF alone"),
        (("--seen", "72.9M", "--seen", "83.6M", "--side", "low"), "--side does not go with"),
        (("--seen", "72.9M", "--plan", "set.toml"), "--plan does not go with --seen"),
        (("--seen", "72.9M", "--crystal", "27M"), "say --seen crystal=... instead"),
        (("--seen", "72.9M", "--seen", "image=94.3M"), "'image' is no line one can see"),
        (
            ("--seen", "carrier=72M", "--seen", "crystal=31.4M", "--sibling-carrier", "74M"),
            "no sibling can follow",
        ),
    ],
)
def test_words_that_are_off_are_told_in_one_line_with_exit_2(
    plan: Plan, words: tuple[str, ...], message: str
) -> None:
    ran = plan(*words)
    assert (ran.code, ran.out) == (2, "")
    assert message in ran.err
    assert ran.err.count("\n") == 1


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, "cannot be read: No such file"),
        ('carrier = "72.9M"\nsides = "low"\n', "line 2: sides: this key is not known here"),
        ('carrier = "72.9m"\n', "line 1: carrier: '72.9m' is not a frequency"),
    ],
)
def test_plan_file_that_is_off_is_told_in_one_line_with_exit_4(
    plan: Plan, tmp_path: Path, content: str | None, message: str
) -> None:
    file = tmp_path / "set.toml"
    if content is not None:
        file.write_text(content)
    ran = plan("--plan", str(file))
    assert (ran.code, ran.out) == (4, "")
    assert message in ran.err
    assert ran.err.count("\n") == 1


def test_places_of_a_plan_file_are_listed_and_move_with_a_sibling(
    plan: Plan, tmp_path: Path
) -> None:
    """By hand: 72.9 + 10.7 and 74.5 + 10.7 MHz; the sibling 1.8 MHz higher in both channels."""
    file = tmp_path / "set.toml"
    file.write_text(
        'carrier = "72.9M"\nif = "10.7M"\nside = "high"\n[[places]]\nname = "feed A"\n'
        'lines = [{ name = "LO", level = "-43dBFS", within = 4 }]\n[[places]]\nname = "feed B"\n'
        'carrier = "74.5M"\nlines = [{ name = "LO" }]\n'
    )
    ran = plan("--plan", str(file))
    assert ran.code == 0
    listed = ran.out[ran.out.index("Places on the board") :].splitlines()
    assert " ".join(listed[2].split()) == "feed A LO 83.6 MHz −43.0 dBFS 4 dB"
    assert " ".join(listed[3].split()) == "feed B LO 85.2 MHz"
    moved = plan("--plan", str(file), "--sibling-carrier", "74.7M").out
    assert "85.4 MHz" in moved
    assert "87 MHz" in moved
    told = json.loads(plan("--plan", str(file), "--json").out)["result"]["plan"]["places"]
    assert told[0]["lines"] == [{"name": "LO", "level_dbfs": -43.0, "within_db": 4.0}]
    assert told[1]["carrier_hz"] == 74.5e6


def test_forward_plan_starts_without_scipy_and_plots() -> None:
    program = (
        "import sys; from sniff.cli import commands\n"
        "commands.main(['plan', '--carrier', '72.9M'], standalone_mode=False)\n"
        "print([name for name in ('scipy', 'matplotlib', 'sigmf') if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert ran.stdout.splitlines()[-1] == "[]"
