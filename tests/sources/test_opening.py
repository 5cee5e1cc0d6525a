"""What may follow --from, and what is said when it cannot be opened."""

import subprocess
import sys

import numpy as np
import pytest

from sniff.errors import SourceError, UsageError
from sniff.model import Source
from sniff.sources.opening import Wishes, open_source


def raw(path):
    np.arange(200, dtype=np.uint8).tofile(path)
    return str(path)


def test_a_path_is_a_recording(tmp_path):
    name = raw(tmp_path / "LO.cu8")
    source: Source = open_source(name, Wishes(rate_hz=1e6, center_hz=83.6e6))
    assert (source.info.kind, source.info.name) == ("recording", name)
    source.close()


def test_a_path_with_a_colon_or_a_live_sources_name_is_a_recording_all_the_same(
    tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    raw(tmp_path / "dongle")
    raw(tmp_path / "at:noon.cu8")
    for name in ("./dongle", "at:noon.cu8"):
        source = open_source(name, Wishes(datatype="cu8", rate_hz=1e6, center_hz=83.6e6))
        assert source.info.kind == "recording"
        source.close()


@pytest.mark.parametrize("text", ["", "nothing", "radio:7", "bench.", "no/such/folder"])
def test_what_is_no_source_is_answered_with_all_that_are(text):
    with pytest.raises(SourceError, match=r"is not a source; give bench:SCENE .*\.cu8, \.ci16_le"):
        open_source(text)


def test_a_missing_recording_is_only_missing():
    with pytest.raises(SourceError, match=r"^gone\.wav: there is no such file$"):
        open_source("gone.wav", Wishes(center_hz=1e8))


@pytest.mark.parametrize("stem", ["LO", "LO_83.6M"])
def test_a_recordings_name_without_its_extension_is_answered_with_the_whole_name(tmp_path, stem):
    (tmp_path / f"{stem}.sigmf-meta").write_text("{}")
    with pytest.raises(SourceError, match=rf"no such file; .*{stem}\.sigmf-meta is there"):
        open_source(str(tmp_path / stem))


def test_a_scene_is_opened_on_the_bench_with_the_options_given():
    source: Source = open_source("bench:room", Wishes(rate_hz=1.2e6, center_hz=84.0e6))
    info = source.info
    source.close()
    assert (info.kind, info.name, info.rate_hz) == ("bench", "bench:room", pytest.approx(1.2e6))
    assert info.centers_hz == (pytest.approx(84.0e6, abs=1e3),)  # the tuner's nearest step


@pytest.mark.parametrize("text", ["bench", "bench:"])
def test_a_bench_needs_a_scene(text):
    with pytest.raises(UsageError, match="names no scene"):
        open_source(text)


def test_a_scene_given_as_a_path_is_pointed_to_the_bench(tmp_path):
    path = tmp_path / "deaf.toml"
    path.write_text("")
    with pytest.raises(UsageError, match=r"write bench:.*deaf\.toml"):
        open_source(str(path))


def test_options_that_do_not_go_with_the_source_are_refused(tmp_path):
    with pytest.raises(UsageError, match="leave --gain out"):
        open_source(raw(tmp_path / "some.cu8"), Wishes(rate_hz=1e6, center_hz=1e8, gain=20.0))
    with pytest.raises(UsageError, match="leave --datatype out"):
        open_source("bench:anything", Wishes(datatype="cu8"))


def test_naming_sources_loads_no_format_library():
    program = (
        "import sys\n"
        "import sniff.sources.opening\n"
        "from sniff.sources.recording.raw import open_raw\n"
        "print({'sigmf', 'soundfile', 'jsonschema', 'scipy', 'sniff.sources.bench'}"
        " & set(sys.modules))\n"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert ran.stdout == "set()\n", ran.stderr
