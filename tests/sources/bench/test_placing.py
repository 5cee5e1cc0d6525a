"""Placing the loop on the bench: places, and levels that move from placing to placing."""

from pathlib import Path

import numpy as np
import pytest
from pydantic import ValidationError

from sniff.errors import InputError, SourceError
from sniff.sources.bench import open_bench
from sniff.sources.bench.placing import placed_emitters
from sniff.sources.bench.schema import Emitter, Heard, Line, LoopPlace, Scene
from sniff.sources.bench.source import BenchSource
from tests.sources.bench.measure import center_hz, heard, level_dbfs, quiet_dongle

RATE_HZ = 240e3
LOW_HZ, HIGH_HZ = 83.4631e6, 83.5213e6
PLACES = (
    LoopPlace(name="feed A", heard=(Heard(emitter="low", by_db=-12.0),)),
    LoopPlace(
        name="feed B",
        heard=(
            Heard(emitter="high", by_db=-3.0),
            Heard(emitter="high", times=2, by_db=-5.0),
        ),
    ),
)


def scene(**more: object) -> Scene:
    fields: dict[str, object] = {
        "title": "test",
        "seed": 3,
        "rate_hz": RATE_HZ,
        "center_hz": 83.5e6,
        "gain_db": 40.2,
        "dongle": quiet_dongle(),
        "emitters": (
            Emitter(name="low", oscillator_hz=LOW_HZ, lines=(Line(level_dbfs=-20),)),
            Emitter(
                name="high",
                oscillator_hz=HIGH_HZ,
                lines=(Line(level_dbfs=-30), Line(times=2, level_dbfs=-40)),
            ),
        ),
        "places": PLACES,
    }
    return Scene(**{**fields, **more})  # type: ignore[arg-type]


def levels(source: BenchSource) -> tuple[float, float]:
    """What the loop hears of the two lines, by a projection of the tests' own, dBFS."""
    samples = heard(source, 0.02)
    offsets = (hz - center_hz(source) for hz in (LOW_HZ, HIGH_HZ))
    low, high = (level_dbfs(samples, RATE_HZ, hz) for hz in offsets)
    return low, high


def test_a_place_hears_what_the_scene_says() -> None:
    source = BenchSource(scene(), name="bench:test")
    assert levels(source) == pytest.approx((-20, -30), abs=0.05)
    source.place_loop("feed A", 1)
    assert levels(source) == pytest.approx((-32, -30), abs=0.05)
    source.place_loop("feed B", 1)
    assert levels(source) == pytest.approx((-20, -33), abs=0.05)
    source.place_loop(None, 1)
    assert levels(source) == pytest.approx((-20, -30), abs=0.05)


def test_what_is_said_of_a_multiple_comes_on_top() -> None:
    _, high = placed_emitters(scene(), place="feed B", number=1, seed=3)
    assert [line.level_dbfs for line in high.lines] == [-33.0, -48.0]


def test_a_scene_without_spread_and_place_sounds_as_if_it_was_never_placed() -> None:
    source = BenchSource(scene(), name="bench:test")
    placed, before = BenchSource(scene(), name="bench:test"), heard(source, 0.05)
    placed.place_loop(None, 1)
    settled = round(0.015 * RATE_HZ)  # the settling of `Dongle.settle_s` goes by once more
    assert np.array_equal(heard(placed, 0.03), before[settled : settled + round(0.03 * RATE_HZ)])


def test_placings_move_each_line_by_the_spread_that_is_stated() -> None:
    """Sample standard deviations of 400 normal values lie within 1.5 ± 0.15 (chi-square, 2.8
    standard deviations of 1.5 / sqrt(800)), and two lines move apart."""
    moving = scene(placing_spread_db=1.5)
    drawn = np.array(
        [
            [
                line.level_dbfs
                for emitter in placed_emitters(moving, place="feed A", number=number, seed=3)
                for line in emitter.lines
            ]
            for number in range(1, 401)
        ]
    )
    assert np.std(drawn, axis=0, ddof=1) == pytest.approx(np.full(3, 1.5), abs=0.15)
    assert np.mean(drawn, axis=0) == pytest.approx([-32, -30, -40], abs=0.3)
    apart = np.corrcoef(drawn.T)[np.triu_indices(3, 1)]
    assert np.all(np.abs(apart) < 0.2)


def test_the_same_placing_is_the_same_whatever_was_before() -> None:
    moving = scene(placing_spread_db=1.5)

    def of(place: str | None, number: int, seed: int = 3) -> tuple[Emitter, ...]:
        return placed_emitters(moving, place=place, number=number, seed=seed)

    assert of("feed A", 2) == of("feed A", 2)
    apart = [of("feed A", 2), of("feed A", 1), of("feed B", 2), of(None, 2), of("feed A", 2, 4)]
    levels_dbfs = [placed[0].lines[0].level_dbfs for placed in apart]
    assert len({round(level, 6) for level in levels_dbfs}) == len(levels_dbfs)


def test_a_place_is_found_however_it_is_spelt() -> None:
    one = placed_emitters(scene(), place=" Feed  b", number=1, seed=3)
    assert one == placed_emitters(scene(), place="feed B", number=1, seed=3)


def test_an_unknown_place_is_named_with_those_there_are() -> None:
    source = BenchSource(scene(), name="bench:test")
    with pytest.raises(SourceError, match=r"bench:test: .*'feed C'; it has feed A, feed B"):
        source.place_loop("feed C", 1)
    with pytest.raises(SourceError, match="nor any other"):
        BenchSource(scene(places=()), name="bench:test").place_loop("feed C", 1)


@pytest.mark.parametrize(
    ("place", "complaint"),
    [
        ({"name": "x", "heard": [{"emitter": "mid", "by_db": -1}]}, "no emitter 'mid'"),
        ({"name": "x", "heard": [{"emitter": "low", "times": 2, "by_db": -1}]}, "no line of times"),
        ({"name": "x", "heard": [{"emitter": "low", "by_db": -1}] * 2}, "once"),
        ({"name": "Feed a"}, "one name"),
        ({"name": ""}, "at least 1"),
    ],
)
def test_a_place_that_cannot_be_is_refused(place: dict[str, object], complaint: str) -> None:
    with pytest.raises(ValidationError, match=complaint):
        scene(places=(*PLACES, LoopPlace.model_validate(place)))


@pytest.mark.parametrize(
    ("name", "place", "lo_hz", "level"),
    # As the scenes' own comments state them, the dongle 20.9 ppm slow.
    [
        ("diversity-receiver", "LO B", 196.9e6 * (1 + 5.5e-6), -36),
        ("diversity-receiver", "feed B", 196.9e6 * (1 + 5.5e-6), -60),
        ("diversity-receiver", "feed A", 195.3e6 * (1 - 3.0e-6), -43),
        ("diversity-good", "feed B", 200.5e6 * (1 - 1.9e-6), -43),
        ("diversity-good", "mixer A", 198.9e6 * (1 + 4.1e-6), -50),
    ],
)
def test_the_diversity_sets_hear_their_feeds(
    name: str, place: str, lo_hz: float, level: float
) -> None:
    """Within four standard deviations of the placing, 6 dB, of what the scene's comment says."""
    source = open_bench(name, rate_hz=RATE_HZ, center_hz=lo_hz - 31e3)
    assert isinstance(source, BenchSource)
    found = []
    for number in range(1, 4):
        source.place_loop(place, number)
        samples = heard(source, 0.01)
        found.append(level_dbfs(samples, RATE_HZ, lo_hz / (1 - 20.9e-6) - center_hz(source)))
    assert np.mean(found) == pytest.approx(level, abs=4 * 1.5 / np.sqrt(3))
    assert np.std(found) > 0.05


def test_a_mistake_in_a_place_names_its_line(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(
        'title = "t"\nrate_hz = "1M"\ncenter_hz = "84M"\n'
        '[[places]]\nname = "feed A"\n[[places.heard]]\nemitter = "x"\nby_dB = -3\n'
    )
    with pytest.raises(InputError, match=r"line 8: places.0.heard.0.by_dB: this key is not known"):
        open_bench(str(path))
