"""SigMF pairs and archives, written by hand and by the `sigmf` package."""

import hashlib
import json
import tarfile
from datetime import datetime, timezone
from io import BytesIO

import numpy as np
import pytest
import sigmf
from sigmf.sigmffile import SigMFFile

from sniff.errors import UsageError
from sniff.sources.recording import checksum
from sniff.sources.recording.formats import open_recording
from tests.sources.recording.files import (
    cu8,
    joined,
    metadata,
    random_bytes,
    spans,
    write_pair,
)
from tests.values.recordings import GLOBAL_INDEX_EXAMPLE, HEADER_BYTES_EXAMPLE


def read(path, *, tune_hz=None, **given):
    source = open_recording(str(path), **given)
    if tune_hz is not None:
        source.tune(tune_hz)
    blocks = list(source.stream(seconds=None))
    source.close()
    return blocks, source.info


def codes(info):
    return [caution.code for caution in info.cautions]


@pytest.mark.parametrize("end", [".sigmf-meta", ".sigmf-data"])
def test_a_pair_is_read_from_either_half(tmp_path, end):
    native = random_bytes(2 * 1000)
    path = write_pair(tmp_path, metadata(), native, stem="LO.83.6M")
    blocks, info = read(path.with_suffix(end))
    np.testing.assert_allclose(joined(blocks), cu8(native), atol=1e-7)
    assert spans(blocks) == [(83.6e6, 0, 1000)]
    assert (info.rate_hz, info.centers_hz, info.duration_s) == (1e6, (83.6e6,), 1e-3)
    assert (info.datatype, info.cautions) == ("cu8", ())


def test_a_pair_of_the_sigmf_package_reads_as_that_package_reads_it(tmp_path):
    stored = np.random.default_rng(8).integers(-(2**15), 2**15, (5000, 2)).astype("<i2")
    stored.tofile(tmp_path / "set.sigmf-data")
    made = SigMFFile(
        data_file=tmp_path / "set.sigmf-data",
        global_info={sigmf.DATATYPE_KEY: "ci16_le", sigmf.SAMPLE_RATE_KEY: 250_000},
    )
    made.add_capture(0, metadata={sigmf.FREQUENCY_KEY: 72.9e6})
    made.tofile(tmp_path / "set.sigmf-meta")
    made.archive(str(tmp_path / "packed.sigmf"))
    theirs = np.asarray(sigmf.fromfile(tmp_path / "set.sigmf-meta").read_samples())
    for name in ("set.sigmf-meta", "packed.sigmf"):
        blocks, info = read(tmp_path / name)
        np.testing.assert_allclose(joined(blocks), theirs, rtol=0, atol=1e-7)
        assert (info.rate_hz, info.centers_hz, info.cautions) == (250e3, (72.9e6,), ())


def test_captures_with_other_centres_are_reached_by_tuning(tmp_path):
    native = random_bytes(2 * 900)
    captures = [
        {"core:sample_start": 0, "core:frequency": 83.6e6},
        {"core:sample_start": 200, "core:frequency": 27.9e6},
        {"core:sample_start": 500, "core:frequency": 83.6e6},
    ]
    path = write_pair(tmp_path, metadata(*captures), native)
    blocks, info = read(path)
    assert info.centers_hz == (83.6e6, 27.9e6)
    assert spans(blocks) == [(83.6e6, 0, 200), (83.6e6, 500, 900)]
    blocks, _ = read(path, tune_hz=27.9e6 + 0.4)
    assert spans(blocks) == [(27.9e6, 200, 500)]
    np.testing.assert_allclose(joined(blocks), cu8(native)[200:500], atol=1e-7)
    assert info.duration_s == 900e-6


def test_a_given_centre_chooses_among_captures(tmp_path):
    captures = [
        {"core:sample_start": 0, "core:frequency": 83.6e6},
        {"core:sample_start": 200, "core:frequency": 27.9e6},
    ]
    path = write_pair(tmp_path, metadata(*captures), random_bytes(800))
    blocks, info = read(path, center_hz=27.9e6)
    assert spans(blocks) == [(27.9e6, 200, 400)]
    assert info.cautions == ()
    blocks, _ = read(path, center_hz=27.9e6 + 1e3)  # this capture shows it
    assert spans(blocks) == [(27.9e6, 200, 400)]
    with pytest.raises(UsageError, match=r"about .*; --center chooses among 83\.6 MHz, 27\.9 MHz"):
        read(path, center_hz=10.7e6)


def test_captures_at_one_centre_stay_separate_blocks(tmp_path):
    captures = [{"core:sample_start": at, "core:frequency": 83.6e6} for at in (0, 300)]
    blocks, _ = read(write_pair(tmp_path, metadata(*captures), random_bytes(800)))
    assert spans(blocks) == [(83.6e6, 0, 300), (83.6e6, 300, 400)]


def test_lost_samples_are_counted_by_global_index(tmp_path):
    captures = [
        {"core:sample_start": start, "core:global_index": index, "core:frequency": 83.6e6}
        for start, index in GLOBAL_INDEX_EXAMPLE
    ]
    blocks, info = read(write_pair(tmp_path, metadata(*captures), random_bytes(2 * 600)))
    assert spans(blocks) == [(83.6e6, 0, 500), (83.6e6, 1000, 1100)]
    assert info.duration_s == 1100e-6


def test_the_index_counts_from_the_recordings_start_wherever_its_stream_began(tmp_path):
    captures = [
        {"core:sample_start": 7000, "core:global_index": 10**12, "core:frequency": 83.6e6},
        {"core:sample_start": 7100, "core:global_index": 10**12 + 150, "core:frequency": 83.6e6},
    ]
    document = metadata(*captures, core__offset=7000)
    blocks, _ = read(write_pair(tmp_path, document, random_bytes(2 * 200)))
    assert spans(blocks) == [(83.6e6, 0, 100), (83.6e6, 150, 250)]


def test_a_global_index_that_runs_backwards_is_not_used(tmp_path):
    captures = [
        {"core:sample_start": 0, "core:global_index": 5000, "core:frequency": 83.6e6},
        {"core:sample_start": 300, "core:frequency": 83.6e6},
    ]
    blocks, info = read(write_pair(tmp_path, metadata(*captures), random_bytes(800)))
    assert spans(blocks) == [(83.6e6, 0, 300), (83.6e6, 300, 400)]
    assert codes(info) == ["global-index"]


@pytest.mark.parametrize(
    ("second", "expected"), [("00:00:05", ["gap-uncounted"]), ("00:00:00.0003", [])]
)
def test_a_pause_that_only_the_clock_tells_of_is_a_caution(tmp_path, second, expected):
    captures = [
        {"core:sample_start": 0, "core:frequency": 83.6e6, "core:datetime": "2024-02-29T00:00:00Z"},
        {
            "core:sample_start": 300,
            "core:frequency": 83.6e6,
            "core:datetime": f"2024-02-29T{second}Z",
        },
    ]
    _, info = read(write_pair(tmp_path, metadata(*captures), random_bytes(800)))
    assert codes(info) == expected
    if expected:
        assert "disagree by 5 s" in info.cautions[0].text


def test_samples_before_the_first_capture_are_left_out_with_a_caution(tmp_path):
    document = metadata({"core:sample_start": 100, "core:frequency": 83.6e6})
    blocks, info = read(write_pair(tmp_path, document, random_bytes(800)))
    assert spans(blocks) == [(83.6e6, 100, 400)]
    assert codes(info) == ["undescribed-samples"]


def test_headers_and_trailer_of_another_format_are_passed_over(tmp_path):
    starts, header = HEADER_BYTES_EXAMPLE["starts"], HEADER_BYTES_EXAMPLE["header_bytes"]
    captures = [
        {"core:sample_start": at, "core:header_bytes": header, "core:frequency": 83.6e6}
        for at in starts
    ]
    document = metadata(*captures, core__dataset="other.dat", core__trailing_bytes=6)
    native = random_bytes(1008 + 2 * 40 + 6)
    native.tofile(tmp_path / "other.dat")
    blocks, info = read(write_pair(tmp_path, document, None))
    first, second = HEADER_BYTES_EXAMPLE["offsets"]
    np.testing.assert_allclose(blocks[0].samples, cu8(native[first : first + 1000]), atol=1e-7)
    np.testing.assert_allclose(blocks[1].samples, cu8(native[second : second + 80]), atol=1e-7)
    assert spans(blocks) == [(83.6e6, 0, 500), (83.6e6, 500, 540)]
    assert info.cautions == ()


def archive(path, *members):
    with tarfile.open(path, "w") as packed:
        for name, content in members:
            member = tarfile.TarInfo(name)
            member.size = len(content)
            packed.addfile(member, BytesIO(content))
    return path


@pytest.mark.parametrize("metadata_first", [True, False])
def test_an_archive_is_read_in_place_whatever_the_order_of_its_members(tmp_path, metadata_first):
    native = random_bytes(2 * 1000)
    members = [
        ("set/set.sigmf-meta", json.dumps(metadata()).encode()),
        ("set/set.sigmf-data", bytes(native)),
    ]
    path = archive(
        tmp_path / "renamed.sigmf",
        ("set/notes.txt", b"x"),
        *members[:: 1 if metadata_first else -1],
    )
    blocks, info = read(path)
    np.testing.assert_allclose(joined(blocks), cu8(native), atol=1e-7)
    assert info.cautions == ()
    assert [entry.name for entry in tmp_path.iterdir()] == ["renamed.sigmf"]


def test_an_archive_may_hold_samples_under_another_name(tmp_path):
    native = random_bytes(2 * 100)
    document = json.dumps(metadata(core__dataset="x.dat")).encode()
    path = archive(tmp_path / "a.sigmf", ("s/x.dat", bytes(native)), ("s/s.sigmf-meta", document))
    blocks, _ = read(path)
    np.testing.assert_allclose(joined(blocks), cu8(native), atol=1e-7)


def test_an_archive_cut_short_is_read_with_a_caution_when_its_metadata_come_first(tmp_path):
    document = json.dumps(metadata(core__sha512=hashlib.sha512(b"other").hexdigest())).encode()
    path = archive(
        tmp_path / "a.sigmf",
        ("s.sigmf-meta", document),
        ("s.sigmf-data", bytes(random_bytes(40_000))),
    )
    path.write_bytes(path.read_bytes()[: 3 * 512 + 10_001])
    blocks, info = read(path)
    assert joined(blocks).size == 5000
    assert codes(info) == ["odd-length", "truncated", "hash-mismatch"]
    assert "speak of 20000 samples, 5000 (5 ms) are there" in info.cautions[1].text


def test_a_hash_that_agrees_is_no_matter_in_either_case_of_letters(tmp_path):
    native = random_bytes(3_000_000)
    digest = hashlib.sha512(native).hexdigest()
    for letters in (digest, digest.upper()):
        _, info = read(write_pair(tmp_path, metadata(core__sha512=letters), native))
        assert info.cautions == ()


def test_a_hash_that_does_not_match_is_a_caution_not_a_refusal(tmp_path):
    native = random_bytes(2_000)
    digest = hashlib.sha512(native).hexdigest()
    native[1234] ^= 1
    path = write_pair(tmp_path, metadata(core__sha512=digest), native)
    blocks, info = read(path)
    assert joined(blocks).size == 1000
    assert codes(info) == ["hash-mismatch"]
    assert "set.sigmf-data: the samples are not those" in info.cautions[0].text
    assert codes(read(path, verify=False)[1]) == []


def test_a_long_recording_is_hashed_only_when_asked(tmp_path, monkeypatch):
    native = random_bytes(2_000)
    path = write_pair(tmp_path, metadata(core__sha512="0" * 128), native)
    monkeypatch.setattr(checksum, "UNASKED_BYTES", 1999)
    assert codes(read(path)[1]) == ["hash-unchecked"]
    assert codes(read(path, verify=True)[1]) == ["hash-mismatch"]


def test_the_hash_of_an_archive_is_that_of_its_samples(tmp_path):
    native = bytes(random_bytes(2_000))
    document = json.dumps(metadata(core__sha512=hashlib.sha512(native).hexdigest())).encode()
    path = archive(tmp_path / "a.sigmf", ("s.sigmf-data", native), ("s.sigmf-meta", document))
    assert codes(read(path)[1]) == []


@pytest.mark.parametrize(
    ("extra", "missing"),
    [
        ({"annotations": ({"core:sample_start": 100, "core:sample_count": 500},)}, 600),
        ({"annotations": ({"core:sample_start": 700},)}, 700),
        ({"captures": ({"core:sample_start": 900, "core:frequency": 1e8},)}, 900),
    ],
)
def test_samples_missing_against_the_metadata_are_a_caution(tmp_path, extra, missing):
    first = {"core:sample_start": 0, "core:frequency": 83.6e6}
    document = metadata(first, *extra.get("captures", ()), annotations=extra.get("annotations", ()))
    blocks, info = read(write_pair(tmp_path, document, random_bytes(800)))
    assert joined(blocks).size == 400
    assert codes(info) == ["truncated"]
    assert f"speak of {missing} samples, 400 (0.4 ms) are there" in info.cautions[0].text
    assert info.centers_hz == (83.6e6,)


def test_an_incomplete_last_sample_is_dropped_with_a_caution(tmp_path):
    blocks, info = read(write_pair(tmp_path, metadata(), random_bytes(801)))
    assert joined(blocks).size == 400
    assert codes(info) == ["odd-length"]


def test_what_the_user_says_against_the_file_is_used_with_cautions(tmp_path):
    native = random_bytes(800)
    path = write_pair(tmp_path, metadata(), native)
    blocks, info = read(path, rate_hz=2.4e6, center_hz=72.9e6, datatype="ci8")
    assert (info.rate_hz, info.centers_hz, info.datatype) == (2.4e6, (72.9e6,), "ci8")
    assert blocks[0].center_hz == 72.9e6
    assert [caution.text for caution in info.cautions] == [
        "datatype: the file says cu8; ci8 is used as asked",
        "rate: the file says 1 MHz; 2.4 MHz is used as asked",
        "center: the file says 83.6 MHz; 72.9 MHz is used as asked",
    ]
    _, info = read(path, rate_hz=1e6, center_hz=83.6e6, datatype="cu8")
    assert info.cautions == ()


def test_a_difference_of_less_than_is_shown_is_still_told_apart(tmp_path):
    _, info = read(write_pair(tmp_path, metadata(), random_bytes(80)), rate_hz=1e6 + 0.25)
    assert info.cautions[0].text == (
        "rate: the file says 1000000.0 Hz; 1000000.25 Hz is used as asked"
    )


def test_what_the_file_leaves_out_can_be_given(tmp_path):
    document = metadata({"core:sample_start": 0}, rate_hz=None)
    _, info = read(write_pair(tmp_path, document, random_bytes(80)), rate_hz=3e5, center_hz=1e7)
    assert (info.rate_hz, info.centers_hz, info.cautions) == (3e5, (1e7,), ())


def test_no_captures_mean_one_from_the_beginning(tmp_path):
    document = metadata() | {"captures": []}
    blocks, _ = read(write_pair(tmp_path, document, random_bytes(80)), center_hz=1e7)
    assert spans(blocks) == [(1e7, 0, 40)]


def test_a_capture_without_centre_takes_the_given_one_among_others(tmp_path):
    captures = [{"core:sample_start": 0, "core:frequency": 83.6e6}, {"core:sample_start": 10}]
    path = write_pair(tmp_path, metadata(*captures), random_bytes(80))
    blocks, info = read(path, center_hz=72.9e6)
    assert info.centers_hz == (83.6e6, 72.9e6)
    assert spans(blocks) == [(72.9e6, 10, 40)]


def test_our_own_fields_reach_the_source(tmp_path):
    fields = {
        "sniff__serial": "00000042",
        "sniff__tuner_image_offset_hz": 7.14e6,
        "sniff__clock_hz": 28.7999e6,
        "sniff__usable_fraction": 0.75,
        "core__extensions": [{"name": "sniff", "version": "1.0.0", "optional": False}],
    }
    _, info = read(write_pair(tmp_path, metadata(**fields), random_bytes(80)))
    assert (info.serial, info.image_offset_hz) == ("00000042", 7.14e6)
    assert (info.clock_hz, info.usable_fraction) == (28.7999e6, 0.75)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2024-02-29T23:59:59Z", datetime(2024, 2, 29, 23, 59, 59, tzinfo=timezone.utc)),
        (
            "1955-11-05T14:00:00.123456789Z",
            datetime(1955, 11, 5, 14, 0, 0, 123457, tzinfo=timezone.utc),
        ),
        ("2016-12-31T23:59:60Z", None),
        ("2024-02-29", None),
    ],
)
def test_the_time_of_the_first_sample_is_read(tmp_path, text, expected):
    document = metadata({"core:sample_start": 0, "core:frequency": 1e8, "core:datetime": text})
    _, info = read(write_pair(tmp_path, document, random_bytes(80)))
    assert info.start_utc == expected
