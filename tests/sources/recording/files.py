"""Recordings written by hand for the tests: json and numpy only, nothing of ours."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from sniff.model import IQBlock


def random_bytes(count: int, seed: int = 1) -> np.ndarray:
    """Bytes of every value, none of them in order."""
    return np.random.default_rng(seed).integers(0, 256, count, dtype=np.uint8)


def cu8(native: np.ndarray) -> np.ndarray:
    """What unsigned bytes mean, in double precision."""
    parts = (native.astype(np.float64) - 127.5) / 127.5
    return parts[0::2] + 1j * parts[1::2]


def metadata(
    *captures: dict[str, Any],
    datatype: str = "cu8",
    rate_hz: float | None = 1e6,
    annotations: tuple[dict[str, Any], ...] = (),
    **fields: Any,
) -> dict[str, Any]:
    """The smallest valid metadata, and what is added to them (``core__sha512=...``)."""
    top: dict[str, Any] = {"core:datatype": datatype, "core:version": "1.2.0"}
    if rate_hz is not None:
        top["core:sample_rate"] = rate_hz
    top |= {key.replace("__", ":"): value for key, value in fields.items()}
    default = {"core:sample_start": 0, "core:frequency": 83.6e6}
    return {
        "global": top,
        "captures": list(captures) or [default],
        "annotations": list(annotations),
    }


def write_pair(folder: Path, document: Any, native: Any, stem: str = "set") -> Path:
    """Write metadata and samples; returns the metadata's path."""
    path = folder / f"{stem}.sigmf-meta"
    path.write_text(json.dumps(document))
    if native is not None:
        (folder / f"{stem}.sigmf-data").write_bytes(bytes(native))
    return path


def joined(blocks: Any) -> np.ndarray:
    """Samples of all blocks."""
    return np.concatenate([block.samples for block in blocks])


def spans(blocks: list[IQBlock]) -> list[tuple[float, int, int]]:
    """Centre, first and end index of each block."""
    return [(block.center_hz, block.index, block.end_index) for block in blocks]
