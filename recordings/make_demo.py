"""Make the demo's recordings with the simulated bench: python recordings/make_demo.py."""

from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path

from sniff.sources.bench import open_bench
from sniff.sources.recording.write import CaptureToWrite, write_sigmf

HERE = Path(__file__).parent
RATE_HZ = 256e3
FIRST_UTC = datetime(2026, 3, 2, 9, 0, tzinfo=timezone.utc)

# Scene, title, and its tunings: (requested centre, seconds). Each line lies off the centre.
SETS = [
    ("tour-guide-good", "the working sibling", [(74.66e6, 0.5), (85.36e6, 1.5), (28.44e6, 0.5)]),
    ("tour-guide-deaf", "the deaf receiver as it came", [(83.56e6, 2.5), (27.84e6, 1.0)]),
    ("tour-guide-mended", "the same receiver, mended", [(83.56e6, 2.5), (27.84e6, 1.0)]),
]


def captures(scene: str, tunings: list[tuple[float, float]]) -> Iterator[CaptureToWrite]:
    source = open_bench(scene, rate_hz=RATE_HZ, center_hz=tunings[0][0], gain_db=None)
    try:
        at_utc = FIRST_UTC
        for requested_hz, seconds in tunings:
            center_hz = source.tune(requested_hz)
            yield CaptureToWrite(
                center_hz=center_hz,
                pieces=source.stream(seconds=seconds),
                start_utc=at_utc,
                fields={"sniff:requested_center_hz": requested_hz},
            )
            at_utc += timedelta(seconds=seconds)
    finally:
        source.close()


def main() -> None:
    for scene, title, tunings in SETS:
        path = write_sigmf(
            HERE / scene,
            captures(scene, tunings),
            rate_hz=RATE_HZ,
            fields={
                "core:description": f"Simulated: {title}. Invented; truth in the scene {scene}.",
                "core:license": "https://spdx.org/licenses/GPL-3.0-or-later.html",
            },
            overwrite=True,
        )
        print(path)


if __name__ == "__main__":
    main()
