"""Labels of a SigMF recording stand on the source's own time axis."""

import json
from pathlib import Path

import numpy as np
import pytest

from sniff.errors import UsageError
from sniff.sources.recording.annotations import read_labels


def recording(folder: Path, *, offset: int = 0) -> Path:
    """A thousand samples, five hundred lost, a thousand more; at 1000 samples per second."""
    np.zeros(4000, np.int8).tofile(folder / "r.sigmf-data")
    document = {
        "global": {
            "core:version": "1.2.0",
            "core:datatype": "ci8",
            "core:sample_rate": 1000.0,
            "core:offset": offset,
        },
        "captures": [
            {"core:sample_start": offset, "core:frequency": 1e6, "core:global_index": 7_000},
            {"core:sample_start": offset + 1000, "core:frequency": 1e6, "core:global_index": 8_500},
        ],
        "annotations": [
            {"core:sample_start": offset + 250, "core:label": "tap stick C14"},
            {"core:sample_start": offset + 900, "core:sample_count": 10},
            {"core:sample_start": offset + 1100, "core:label": "tap cold Q2"},
        ],
    }
    (folder / "r.sigmf-meta").write_text(json.dumps(document))
    return folder / "r.sigmf-meta"


@pytest.mark.parametrize("offset", [0, 12345])
def test_lost_samples_count_in_the_time_of_a_label(tmp_path: Path, offset: int) -> None:
    labels = read_labels(str(recording(tmp_path, offset=offset)), rate_hz=1000.0)
    assert [(label.at_s, label.text) for label in labels] == [
        (0.25, "tap stick C14"),
        (1.6, "tap cold Q2"),
    ]


def test_what_is_no_sigmf_carries_no_labels(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="only a SigMF recording"):
        read_labels(str(tmp_path / "r.cu8"), rate_hz=1000.0)
