"""The real recordings that come with the program: the bytes as published, and what they say."""

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
import sigmf

from sniff.errors import SourceError
from sniff.sources import shipped
from sniff.sources.opening import Wishes, open_source
from sniff.sources.shipped import shipped_recordings
from tests.values.recordings import SHIPPED, SHIPPED_RMS_DBFS

NAMES = sorted(SHIPPED)


@pytest.mark.parametrize("name", NAMES)
def test_the_bytes_are_those_that_were_published(name):
    content = (shipped_recordings() / f"{name}.cu8").read_bytes()
    assert hashlib.sha256(content).hexdigest() == SHIPPED[name][3]


@pytest.mark.parametrize("name", NAMES)
def test_the_metadata_say_rate_and_centre_and_their_hash_agrees(name):
    rate_hz, center_hz, samples, _ = SHIPPED[name]
    source = open_source(str(shipped_recordings() / f"{name}.sigmf-meta"), Wishes(verify=True))
    source.close()
    info = source.info
    assert (info.datatype, info.rate_hz, info.centers_hz) == ("cu8", rate_hz, (center_hz,))
    assert info.duration_s == samples / rate_hz
    assert info.cautions == ()


@pytest.mark.parametrize("name", NAMES)
def test_the_sigmf_package_validates_the_metadata_and_the_hash(name):
    theirs = sigmf.fromfile(shipped_recordings() / f"{name}.sigmf-meta")
    theirs.validate()
    assert len(theirs) == SHIPPED[name][2]


@pytest.mark.parametrize("name", NAMES)
def test_the_level_is_what_an_independent_script_measured(name):
    source = open_source(str(shipped_recordings() / f"{name}.sigmf-meta"))
    power = [np.mean(np.abs(block.samples) ** 2) for block in source.stream(seconds=None)]
    weights = [block.samples.size for block in source.stream(seconds=None)]
    source.close()
    level_dbfs = 10 * np.log10(np.average(power, weights=weights))
    assert level_dbfs == pytest.approx(SHIPPED_RMS_DBFS[name], abs=0.06)


@pytest.mark.parametrize("name", NAMES)
def test_metadata_and_the_published_description_agree(name):
    folder = shipped_recordings()
    described = json.loads((folder / f"{name}.cu8.json").read_text())
    top = json.loads((folder / f"{name}.sigmf-meta").read_text())["global"]
    assert top["core:sample_rate"] == described["sample_rate_hz"]
    assert described["source"]["repository"] in top["core:description"]
    assert described["source"]["snapshot_commit"] in top["core:description"]
    licence = folder / top["core:description"].rpartition("licence text in ")[2].rstrip(".")
    assert licence.read_text().strip()


def test_a_source_tree_and_an_installed_package_keep_them_in_different_places(
    tmp_path, monkeypatch
):
    assert shipped_recordings() == Path(__file__).parents[3] / "recordings"
    package = tmp_path / "site" / "sniff"
    (package / "sources").mkdir(parents=True)
    monkeypatch.setattr(shipped, "__file__", str(package / "sources" / "shipped.py"))
    with pytest.raises(SourceError, match="install the whole package"):
        shipped_recordings()
    (package / "shipped").mkdir()
    assert shipped_recordings() == package / "shipped"
