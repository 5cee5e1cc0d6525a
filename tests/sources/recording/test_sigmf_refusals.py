"""SigMF recordings that cannot be read: each refused with one line that says why."""

import gzip
import json
import tarfile
from io import BytesIO

import pytest

from sniff.errors import SourceError, UsageError
from sniff.sources.recording.formats import open_recording
from tests.sources.recording.files import metadata, random_bytes, write_pair


def refused(path, kind, says, **given):
    with pytest.raises(kind, match=says) as caught:
        open_recording(str(path), **given)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 400


def test_metadata_without_samples(tmp_path):
    path = write_pair(tmp_path, metadata(), None)
    refused(path, SourceError, r"set\.sigmf-meta: its samples set\.sigmf-data are missing")
    path = write_pair(tmp_path, metadata(core__dataset="x.dat"), None)
    refused(path, SourceError, r"its samples x\.dat are missing")


def test_samples_without_metadata(tmp_path):
    random_bytes(80).tofile(tmp_path / "set.sigmf-data")
    refused(tmp_path / "set.sigmf-data", SourceError, r"its metadata set\.sigmf-meta are missing")


def test_metadata_for_other_samples(tmp_path):
    random_bytes(80).tofile(tmp_path / "x.dat")
    path = write_pair(tmp_path, metadata(core__dataset="x.dat"), random_bytes(80))
    refused(path.with_suffix(".sigmf-data"), SourceError, r"describes x\.dat instead")


@pytest.mark.parametrize("dataset", ["../x.dat", "a/../../x.dat", "/etc/passwd", "C:\\x.dat"])
def test_metadata_that_point_out_of_their_folder(tmp_path, dataset):
    path = write_pair(tmp_path, metadata(core__dataset=dataset), random_bytes(80))
    refused(path, SourceError, "core:dataset")


def test_samples_that_are_empty_or_less_than_one(tmp_path):
    refused(write_pair(tmp_path, metadata(), b""), SourceError, r"set\.sigmf-data: is empty")
    path = write_pair(tmp_path, metadata(datatype="cf32_le"), b"1234567")
    refused(path, SourceError, "holds no whole sample")
    first = {"core:sample_start": 50, "core:frequency": 1e8}
    refused(write_pair(tmp_path, metadata(first), b"12"), SourceError, "holds no whole sample")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"not json", "is not JSON: Expecting value"),
        (b"\xff\xfe\xfa", "is not JSON"),
        (b"[" * 100_000, "is not JSON"),
        (b"[]", "is not SigMF: "),
        (b'{"global": {}}', "is not SigMF: "),
        (b"7", "is not SigMF: "),
    ],
)
def test_metadata_that_are_none(tmp_path, text, says):
    path = write_pair(tmp_path, metadata(), random_bytes(80))
    path.write_bytes(text)
    refused(path, SourceError, says)


@pytest.mark.parametrize(
    ("document", "says"),
    [
        (metadata(rate_hz=0), r"global\.core:sample_rate: 0 is less than or equal"),
        (metadata(rate_hz=-1e6), r"global\.core:sample_rate"),
        (metadata(rate_hz=float("nan")), "a sample rate of nan Hz makes no sense"),
        (metadata(rate_hz=float("inf")), r"global\.core:sample_rate"),
        (metadata(rate_hz="1 MHz"), r"global\.core:sample_rate: '1 MHz' is not of type"),
        (
            metadata({"core:sample_start": 0, "core:frequency": 0}),
            "a centre of 0 Hz makes no sense",
        ),
        (metadata({"core:sample_start": 0, "core:frequency": -5}), "a centre of -5 Hz"),
        (metadata({"core:sample_start": 0, "core:frequency": float("nan")}), "centre of nan Hz"),
        (metadata({"core:sample_start": 0, "core:frequency": float("inf")}), "core:frequency"),
        (metadata({"core:frequency": 1e8}), "core:sample_start"),
        (metadata(datatype="rf32_le"), "'rf32_le' is real-valued"),
        (metadata(datatype="ru8"), "'ru8' is real-valued"),
        (metadata(datatype="cf32"), "leaves the byte order open; say cf32_le or cf32_be"),
        (metadata(datatype="cs16"), r"global\.core:datatype"),
        (metadata(datatype="cf32_lemon"), "'cf32_lemon' is unknown"),
        (metadata(core__num_channels=2), "has 2 interleaved channels"),
        (
            metadata(
                {"core:sample_start": 5, "core:frequency": 1e8},
                {"core:sample_start": 2, "core:frequency": 1e8},
            ),
            "captures has incorrect sample start ordering",
        ),
        (metadata(core__offset=10), "a capture at sample 0 lies before the dataset's first, 10"),
        (
            metadata(core__extensions=[{"name": "zip", "version": "1.0.0", "optional": False}]),
            "without the extension 'zip'",
        ),
        (metadata(sniff__serial=42), "sniff:serial is 42, not str"),
        (metadata(sniff__clock_hz="fast"), "sniff:clock_hz is 'fast'; it must be above 0"),
        (metadata(sniff__clock_hz=float("nan")), "sniff:clock_hz is nan"),
        (metadata(sniff__usable_fraction=1.5), "sniff:usable_fraction is 1.5"),
        (metadata(core__description="x" * 10_000, core__author=7), "core:author: 7 is not of type"),
    ],
)
def test_metadata_without_sense(tmp_path, document, says):
    refused(write_pair(tmp_path, document, random_bytes(80)), SourceError, says)


def test_a_rate_without_sense_can_be_overruled(tmp_path):
    path = write_pair(tmp_path, metadata(rate_hz=float("nan")), random_bytes(80))
    source = open_recording(str(path), rate_hz=1e6)
    source.close()
    assert source.info.rate_hz == 1e6


@pytest.mark.parametrize(
    ("document", "says"),
    [
        (metadata(rate_hz=None), r"does not say its sample rate; give --rate$"),
        (metadata({"core:sample_start": 0}), r"does not say its centre; give --center$"),
    ],
)
def test_what_neither_file_nor_user_says(tmp_path, document, says):
    refused(write_pair(tmp_path, document, random_bytes(80)), UsageError, says)


def archive(path, **members):
    with tarfile.open(path, "w") as packed:
        for name, content in members.items():
            member = tarfile.TarInfo(name.replace("__", ".sigmf-"))
            member.size = len(content)
            packed.addfile(member, BytesIO(content))
    return path


def test_archives_that_are_none_or_hold_too_little_or_too_much(tmp_path):
    path = tmp_path / "a.sigmf"
    document = json.dumps(metadata()).encode()
    path.write_bytes(b"no tar at all" * 100)
    refused(path, SourceError, "is not a whole SigMF archive")
    refused(archive(path, s__data=b"1234"), SourceError, r"holds no \.sigmf-meta")
    refused(archive(path, s__meta=document), SourceError, r"its samples s\.sigmf-data are missing")
    refused(archive(path, s__meta=document, t__meta=document), SourceError, "holds 2 recordings")
    refused(archive(path, s__meta=document, s__data=b""), SourceError, "holds no whole sample")
    whole = archive(path, s__data=bytes(9000), s__meta=document).read_bytes()
    path.write_bytes(whole[:4000])
    refused(path, SourceError, r"holds no \.sigmf-meta, or ends before it")
    path.write_bytes(gzip.compress(whole))
    refused(path, SourceError, "is not a whole SigMF archive")


@pytest.mark.parametrize("cut", range(0, 3000, 97))
def test_an_archive_cut_anywhere_is_read_as_far_as_it_goes_or_refused(tmp_path, cut):
    document = json.dumps(metadata()).encode()
    path = archive(tmp_path / "a.sigmf", s__meta=document, s__data=bytes(2000))
    path.write_bytes(path.read_bytes()[:cut])
    there = min(2000, cut - 3 * 512) // 2  # header, metadata, header
    if there < 1:
        refused(path, SourceError, r"a\.sigmf: ")
        return
    source = open_recording(str(path))
    assert sum(block.samples.size for block in source.stream(seconds=None)) == there
    source.close()
