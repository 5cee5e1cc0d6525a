"""Where the loop lies: what it hears of each line there, and how that moves when it is placed."""

from sniff.sources.bench.grid import Stream, generator
from sniff.sources.bench.schema import Emitter, LoopPlace, Scene


def placed_emitters(
    scene: Scene, *, place: str | None, number: int, seed: int
) -> tuple[Emitter, ...]:
    """The scene's emitters as loud as a loop hears them that was placed for the given time.

    Each line's level moves by itself, normally distributed in dB. It is the same for the same
    seed, place and number, whatever was placed before.

    Parameters
    ----------
    scene : Scene
    place : str or None
        One of the scene's; None: where the loop is without a place.
    number : int
        Of the placing, from 1 on.
    seed : int

    Raises
    ------
    ValueError
        When the scene has no such place.
    """
    at, chosen = _chosen(scene, place)
    moves = generator(seed, Stream.PLACING, at, number)
    placed = []
    for emitter in scene.emitters:
        lines = []
        for line in emitter.lines:
            by_db = _by_db(chosen, emitter.name, line.times)
            moved_db = scene.placing_spread_db * float(moves.standard_normal())
            lines.append(line.model_copy(update={"level_dbfs": line.level_dbfs + by_db + moved_db}))
        placed.append(emitter.model_copy(update={"lines": tuple(lines)}))
    return tuple(placed)


def _chosen(scene: Scene, place: str | None) -> tuple[int, LoopPlace | None]:
    """Number of the place in the scene, 0 for none, and the place."""
    if place is None:
        return 0, None
    for at, known in enumerate(scene.places, start=1):
        if _spelt(known.name) == _spelt(place):
            return at, known
    if not scene.places:
        raise ValueError(f"the scene has no place {place!r}, nor any other")
    names = ", ".join(known.name for known in scene.places)
    raise ValueError(f"the scene has no place {place!r}; it has {names}")


def _spelt(name: str) -> str:
    return " ".join(name.casefold().split())


def _by_db(place: LoopPlace | None, emitter: str, times: int) -> float:
    heard = () if place is None else place.heard
    return sum(
        each.by_db for each in heard if each.emitter == emitter and each.times in (None, times)
    )
