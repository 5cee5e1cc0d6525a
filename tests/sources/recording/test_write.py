"""Recordings we write: read by the `sigmf` package, and by ourselves, whole or not there."""

import hashlib
import json
import resource
import tarfile
from contextlib import contextmanager
from datetime import datetime, timezone

import numpy as np
import pytest
import sigmf
from hypothesis import given
from hypothesis import strategies as st

from sniff.errors import SourceError, UsageError
from sniff.model import IQBlock
from sniff.sources.recording.datatypes import DATATYPES
from sniff.sources.recording.formats import open_recording
from sniff.sources.recording.write import CaptureToWrite, captures_of, write_sigmf
from tests.sources.recording.files import joined, random_bytes, spans

RATE_HZ = 1e6


def block(index, count, center_hz=83.6e6):
    samples = DATATYPES["cu8"].to_complex64(random_bytes(2 * count, seed=index))
    return IQBlock(samples=samples, rate_hz=RATE_HZ, center_hz=center_hz, index=index)


STREAM = [
    block(500, 100),
    block(600, 50),
    block(700, 80),  # 50 lost
    block(780, 60, center_hz=27.9e6),
    block(840, 60, center_hz=27.9e6),
]


@pytest.mark.parametrize("archive", [False, True])
def test_what_we_write_the_sigmf_package_opens_validates_and_hashes(tmp_path, archive):
    native = random_bytes(2 * 5000)
    path = write_sigmf(
        tmp_path / "LO.83.6M",
        [
            CaptureToWrite(center_hz=83.6e6, pieces=[bytes(native[:6000])], index=10),
            CaptureToWrite(center_hz=27.9e6, pieces=[native[6000:].data], index=9010),
        ],
        rate_hz=RATE_HZ,
        fields={"core:description": "two tunings", "sniff:serial": "00000042"},
        annotations=[
            {"core:sample_start": 3100, "core:sample_count": 5, "core:label": "crystal"},
            {"core:sample_start": 7, "core:sample_count": 5, "core:label": "LO"},
        ],
        archive=archive,
    )
    theirs = sigmf.fromfile(path)  # compares the hash
    theirs.validate()  # with warnings as errors: our extension must be declared
    theirs.autoscale = False
    stored = theirs.read_samples()
    np.testing.assert_array_equal(stored.real, native[0::2])
    np.testing.assert_array_equal(stored.imag, native[1::2])
    assert theirs.sample_rate == RATE_HZ
    assert [capture["core:frequency"] for capture in theirs.get_captures()] == [83.6e6, 27.9e6]
    assert [capture["core:global_index"] for capture in theirs.get_captures()] == [10, 9010]
    assert [entry["core:label"] for entry in theirs.get_annotations()] == ["LO", "crystal"]
    assert theirs.get_global_field("core:sha512") == hashlib.sha512(native).hexdigest()


@pytest.mark.parametrize("archive", [False, True])
def test_a_stream_comes_back_with_its_gaps_and_centres(tmp_path, archive):
    start = datetime(2024, 2, 29, 12, 0, 0, tzinfo=timezone.utc)
    path = write_sigmf(
        tmp_path / "set", captures_of(STREAM, start_utc=start), rate_hz=RATE_HZ, archive=archive
    )
    source = open_recording(str(path), verify=True)
    blocks = list(source.stream(seconds=None))
    assert spans(blocks) == [(83.6e6, 0, 150), (83.6e6, 200, 280)]
    np.testing.assert_array_equal(joined(blocks), joined(STREAM[:3]))
    source.tune(27.9e6)
    blocks = list(source.stream(seconds=None))
    assert spans(blocks) == [(27.9e6, 280, 400)]
    np.testing.assert_array_equal(joined(blocks), joined(STREAM[3:]))
    source.close()
    assert source.info.cautions == ()
    assert source.info.start_utc == start.replace(microsecond=500)


@given(
    st.lists(st.tuples(st.integers(1, 30), st.sampled_from([0, 0, 7]), st.booleans()), min_size=1),
    st.sampled_from(sorted(DATATYPES)),
)
def test_streams_of_every_kind_come_back(tmp_path_factory, pieces, datatype):
    stored = DATATYPES[datatype]
    index, blocks = 0, []
    for number, (count, lost, elsewhere) in enumerate(pieces):
        index += lost
        rng = np.random.default_rng(number)
        values = rng.uniform(-1, 1, 2 * count).astype(np.float32).view(np.complex64)
        samples = stored.to_complex64(stored.from_complex64(values))
        center_hz = 27.9e6 if elsewhere else 83.6e6
        blocks.append(IQBlock(samples=samples, rate_hz=RATE_HZ, center_hz=center_hz, index=index))
        index += count
    path = write_sigmf(
        tmp_path_factory.mktemp("some") / "set",
        captures_of(blocks),
        rate_hz=RATE_HZ,
        datatype=datatype,
    )
    source = open_recording(str(path))
    first = blocks[0].index
    for center_hz in source.info.centers_hz:
        source.tune(center_hz)
        wanted = [one for one in blocks if one.center_hz == center_hz]
        got = list(source.stream(seconds=None))
        np.testing.assert_array_equal(joined(got), joined(wanted))
        assert [at for one in got for at in range(one.index, one.end_index)] == [
            at - first for one in wanted for at in range(one.index, one.end_index)
        ]
    source.close()
    assert source.info.cautions == ()


def test_a_recording_of_ours_that_was_cut_short_is_noticed(tmp_path):
    path = write_sigmf(tmp_path / "set", captures_of(STREAM), rate_hz=RATE_HZ)
    data = tmp_path / "set.sigmf-data"
    data.write_bytes(data.read_bytes()[:400])
    source = open_recording(str(path), verify=False)
    source.close()
    assert [caution.code for caution in source.info.cautions] == ["truncated"]
    assert "speak of 350 samples, 200 (0.2 ms)" in source.info.cautions[0].text


def test_annotations_and_fields_may_be_added_while_samples_come(tmp_path):
    annotations, fields = [], {}

    def pieces():
        yield STREAM[0]
        annotations.append({"core:sample_start": 3, "core:sample_count": 9})
        fields["core:comment"] = "seen"
        yield STREAM[1]

    path = write_sigmf(
        tmp_path / "set",
        [CaptureToWrite(center_hz=83.6e6, pieces=pieces(), fields={"sniff:gain_db": 12.5})],
        rate_hz=RATE_HZ,
        fields=fields,
        annotations=annotations,
    )
    document = json.loads(path.read_text())
    assert document["annotations"] == annotations
    assert document["global"]["core:comment"] == "seen"
    assert document["captures"][0]["sniff:gain_db"] == 12.5


def test_the_same_samples_make_the_same_archive(tmp_path):
    (tmp_path / "there").mkdir()
    for folder in (tmp_path, tmp_path / "there"):
        write_sigmf(folder / "set", captures_of(STREAM), rate_hz=RATE_HZ, archive=True)
    content = (tmp_path / "set.sigmf").read_bytes()
    assert content == (tmp_path / "there" / "set.sigmf").read_bytes()
    with tarfile.open(tmp_path / "set.sigmf") as packed:  # the specification's folder and names
        assert packed.getnames() == ["set/set.sigmf-meta", "set/set.sigmf-data"]


def test_a_recording_that_is_there_is_replaced_only_when_asked(tmp_path):
    path = write_sigmf(tmp_path / "set", captures_of(STREAM[:1]), rate_hz=RATE_HZ)
    with pytest.raises(UsageError, match="is there already"):
        write_sigmf(tmp_path / "set", captures_of(STREAM), rate_hz=RATE_HZ)
    write_sigmf(tmp_path / "set", captures_of(STREAM), rate_hz=RATE_HZ, overwrite=True)
    source = open_recording(str(path), verify=True)
    source.close()
    assert source.info.duration_s == 400e-6
    assert source.info.cautions == ()


def test_nothing_is_left_when_the_samples_stop_with_an_error(tmp_path):
    def pieces():
        yield STREAM[0]
        raise SourceError("unplugged")

    for archive in (False, True):
        with pytest.raises(SourceError, match="unplugged"):
            write_sigmf(
                tmp_path / "set",
                [CaptureToWrite(center_hz=83.6e6, pieces=pieces())],
                rate_hz=RATE_HZ,
                archive=archive,
            )
        assert list(tmp_path.iterdir()) == []


@contextmanager
def files_no_longer_than(size):
    """Let writes fail as on a full disk; Python turns the signal that goes with it off."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_full_disk_is_one_clear_line_and_leaves_nothing(tmp_path):
    with (
        files_no_longer_than(100_000),
        pytest.raises(SourceError, match=r"set\.sigmf-data: cannot be written: File too large"),
    ):
        write_sigmf(tmp_path / "set", captures_of([block(0, 400_000)]), rate_hz=RATE_HZ)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_one_clear_line(tmp_path):
    with pytest.raises(SourceError, match="cannot be written: No such file or directory"):
        write_sigmf(tmp_path / "nowhere" / "set", captures_of(STREAM), rate_hz=RATE_HZ)


def test_a_recording_without_samples_is_not_written(tmp_path):
    with pytest.raises(SourceError, match="not one sample"):
        write_sigmf(tmp_path / "set", captures_of([]), rate_hz=RATE_HZ)
    assert list(tmp_path.iterdir()) == []


def test_what_would_not_be_sigmf_is_not_written(tmp_path):
    capture = CaptureToWrite(center_hz=83.6e6, pieces=[b"1234"])
    for wrong in (
        {"rate_hz": -1.0},
        {"rate_hz": float("nan")},
        {"rate_hz": 1e6, "fields": {"core:description": 7}},
        {"rate_hz": 1e6, "datatype": "ru8"},
        {"rate_hz": 1e6, "datatype": "cf32_le"},
    ):
        with pytest.raises(ValueError, match=r"SigMF|JSON|real-valued|whole samples"):
            write_sigmf(tmp_path / "set", [capture], **wrong)
    assert list(tmp_path.iterdir()) == []


def test_pieces_left_unread_do_not_leak_into_the_next_capture():
    assert [(capture.center_hz, capture.index) for capture in list(captures_of(STREAM))] == [
        (83.6e6, 500),
        (83.6e6, 700),
        (27.9e6, 780),
    ]
