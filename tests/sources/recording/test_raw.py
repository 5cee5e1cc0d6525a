"""Raw samples: by extension or datatype, with rate and centre from the user."""

import os
from contextlib import contextmanager

import numpy as np
import pytest

from sniff.errors import SourceError, UsageError
from sniff.sources.recording.formats import open_recording
from tests.sources.recording.files import cu8, joined, random_bytes
from tests.values.recordings import SIGMF_COMPLEX_TYPES

HERE = {"rate_hz": 2.4e6, "center_hz": 83.6e6}


@pytest.mark.parametrize("name", sorted(SIGMF_COMPLEX_TYPES))
def test_numpy_files_of_each_type_are_read_by_their_extension(tmp_path, name):
    rng = np.random.default_rng(5)
    parts = rng.uniform(-0.9, 0.9, (1000, 2))
    dtype = np.dtype(SIGMF_COMPLEX_TYPES[name])
    stored = parts
    step = 1e-7
    if dtype.kind == "u":
        middle = (2.0 ** (8 * dtype.itemsize) - 1) / 2
        stored, step = np.rint(parts * middle + middle), 1 / middle
    elif dtype.kind == "i":
        full = 2.0 ** (8 * dtype.itemsize - 1)
        stored, step = np.rint(parts * full), 1 / full
    stored.astype(dtype).tofile(tmp_path / f"some.{name}")
    source = open_recording(str(tmp_path / f"some.{name}"), **HERE)
    samples = joined(source.stream(seconds=None))
    source.close()
    np.testing.assert_allclose(samples, parts @ [1, 1j], rtol=0, atol=step + 1e-7)
    assert source.info.datatype == name


def test_a_recording_says_what_it_is(tmp_path):
    path = tmp_path / "LO.CU8"
    random_bytes(2400).tofile(path)
    source = open_recording(str(path), **HERE)
    info = source.info
    source.close()
    assert (info.kind, info.name, info.datatype, info.rail) == ("recording", str(path), "cu8", 1.0)
    assert (info.rate_hz, info.centers_hz, info.duration_s) == (2.4e6, (83.6e6,), 1200 / 2.4e6)
    assert (info.tunable, info.range_hz, info.clock_hz) == (False, None, 28.8e6)
    assert info.cautions == ()


def test_a_datatype_names_what_the_extension_does_not(tmp_path):
    native = random_bytes(2000)
    native.tofile(tmp_path / "some.iq")
    source = open_recording(str(tmp_path / "some.iq"), datatype="CU8", **HERE)
    np.testing.assert_allclose(joined(source.stream(seconds=None)), cu8(native), atol=1e-7)
    source.close()


def test_a_datatype_against_the_extension_is_used_with_a_caution(tmp_path):
    native = random_bytes(2000)
    native.tofile(tmp_path / "some.cu8")
    source = open_recording(str(tmp_path / "some.cu8"), datatype="ci8", **HERE)
    first = next(source.stream(seconds=None)).samples[0]
    source.close()
    assert first == pytest.approx(complex(*native[:2].view(np.int8) / 128))
    [caution] = source.info.cautions
    assert caution.code == "datatype-overridden"
    assert caution.text == "datatype: the file says cu8; ci8 is used as asked"


def test_an_incomplete_last_sample_is_dropped_with_a_caution(tmp_path):
    native = random_bytes(4 * 100 + 3)
    native.tofile(tmp_path / "odd.ci16_le")
    source = open_recording(str(tmp_path / "odd.ci16_le"), **HERE)
    samples = joined(source.stream(seconds=None))
    source.close()
    assert samples.size == 100
    [caution] = source.info.cautions
    assert caution.code == "odd-length"
    assert "last 3 of 4 bytes" in caution.text


@pytest.mark.parametrize(
    ("missing", "says"),
    [
        ({"rate_hz": None}, "give --rate$"),
        ({"center_hz": None}, "give --center$"),
        ({"rate_hz": None, "center_hz": None}, "give --rate and --center$"),
    ],
)
def test_what_raw_samples_do_not_say_must_be_given(tmp_path, missing, says):
    random_bytes(20).tofile(tmp_path / "some.cu8")
    with pytest.raises(UsageError, match=says):
        open_recording(str(tmp_path / "some.cu8"), **(HERE | missing))


def test_metadata_that_lie_beside_raw_samples_are_pointed_out(tmp_path):
    random_bytes(20).tofile(tmp_path / "LO.83M.cu8")
    (tmp_path / "LO.83M.sigmf-meta").write_text("{}")
    with pytest.raises(UsageError, match=r"or read LO\.83M\.sigmf-meta beside it"):
        open_recording(str(tmp_path / "LO.83M.cu8"))


@pytest.mark.parametrize("value", [0.0, -2.4e6, float("nan"), float("inf"), 2e12])
@pytest.mark.parametrize("option", ["rate_hz", "center_hz"])
def test_a_rate_or_centre_that_cannot_be_is_refused(tmp_path, option, value):
    random_bytes(20).tofile(tmp_path / "some.cu8")
    with pytest.raises(UsageError, match="makes no sense; write for example --"):
        open_recording(str(tmp_path / "some.cu8"), **(HERE | {option: value}))


@contextmanager
def an_ordinary_user():
    """Root may read everything, so it steps down for a while."""
    if os.geteuid():
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_no_permission_is_said(tmp_path):
    path = tmp_path / "some.cu8"
    random_bytes(20).tofile(path)
    path.chmod(0)
    with an_ordinary_user(), pytest.raises(SourceError, match="no permission to read it"):
        open_recording(str(path), **HERE)


@pytest.mark.parametrize(
    "extension", ["cu8", "cf32_le", "sigmf-meta", "sigmf-data", "sigmf", "wav"]
)
def test_missing_empty_and_directory_are_told_apart_in_every_format(tmp_path, extension):
    path = tmp_path / f"some.{extension}"
    with pytest.raises(SourceError, match="there is no such file"):
        open_recording(str(path), **HERE)
    path.write_bytes(b"")
    with pytest.raises(SourceError, match="is empty"):
        open_recording(str(path), **HERE)
    path.unlink()
    path.mkdir()
    with pytest.raises(SourceError, match="is a directory"):
        open_recording(str(path), **HERE)


def test_a_device_is_not_a_recording():
    with pytest.raises(SourceError, match="not a regular file"):
        open_recording("/dev/zero", datatype="cu8", **HERE)


def test_a_name_no_system_allows_is_refused():
    with pytest.raises(SourceError, match="is not the name of a file"):
        open_recording("some\0.cu8", **HERE)


@pytest.mark.parametrize(
    ("extension", "says"),
    [("rf32_le", "real-valued"), ("ci12", "unknown"), ("cf32", "leaves the byte order open")],
)
def test_an_extension_that_is_no_readable_datatype_is_refused(tmp_path, extension, says):
    random_bytes(64).tofile(tmp_path / f"some.{extension}")
    with pytest.raises(SourceError, match=says):
        open_recording(str(tmp_path / f"some.{extension}"), **HERE)


def test_an_unknown_extension_lists_the_formats(tmp_path):
    random_bytes(64).tofile(tmp_path / "some.bin")
    with pytest.raises(UsageError, match=r"known are \.sigmf-meta, .* or with --datatype"):
        open_recording(str(tmp_path / "some.bin"), **HERE)


def test_an_unknown_or_real_datatype_is_a_slip_of_the_user(tmp_path):
    random_bytes(64).tofile(tmp_path / "some.bin")
    for name, says in (("cs16", "unknown"), ("ru8", "real-valued")):
        with pytest.raises(UsageError, match=says):
            open_recording(str(tmp_path / "some.bin"), datatype=name, **HERE)


def test_less_than_a_sample_is_nothing(tmp_path):
    (tmp_path / "some.cf32_le").write_bytes(b"1234567")
    with pytest.raises(SourceError, match="7 bytes are less than one sample"):
        open_recording(str(tmp_path / "some.cf32_le"), **HERE)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("name", ["cf32_le", "cf64_be"])
def test_a_float_that_is_no_number_is_named_with_its_place(tmp_path, name, value):
    values = np.zeros(2 * 500_000, dtype=SIGMF_COMPLEX_TYPES[name])
    values[2 * 300_001 + 1] = value
    values.tofile(tmp_path / f"some.{name}")
    source = open_recording(str(tmp_path / f"some.{name}"), rate_hz=1e6, center_hz=1e8)
    with pytest.raises(
        SourceError, match=rf"some\.{name}: sample 300001 \(300 ms from the start\) is"
    ):
        list(source.stream(seconds=None))
    assert joined(source.stream(seconds=0.3)).size == 300_000
    source.close()


def test_a_double_too_large_for_single_precision_is_refused_too(tmp_path):
    np.array([0.0, 1e300]).tofile(tmp_path / "some.cf64_le")
    source = open_recording(str(tmp_path / "some.cf64_le"), **HERE)
    with pytest.raises(SourceError, match="sample 0 "):
        list(source.stream(seconds=None))
    source.close()


def test_a_file_that_shrinks_while_it_is_read_is_an_error(tmp_path):
    path = tmp_path / "some.cu8"
    random_bytes(2 * 600_000).tofile(path)
    source = open_recording(str(path), **HERE)
    blocks = source.stream(seconds=None)
    next(blocks)
    os.truncate(path, 2 * 400_000)
    with pytest.raises(SourceError, match="became shorter"):
        next(blocks)  # the one that the new end cuts in two
    source.close()


def test_a_closed_recording_says_so(tmp_path):
    random_bytes(2000).tofile(tmp_path / "some.cu8")
    source = open_recording(str(tmp_path / "some.cu8"), **HERE)
    take = source.take(seconds=None)
    source.close()
    source.close()
    with pytest.raises(SourceError, match="was closed"):
        list(take.blocks())
