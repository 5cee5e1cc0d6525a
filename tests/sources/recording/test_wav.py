"""IQ in WAV, written by two libraries and by hand."""

import os
import struct

import numpy as np
import pytest
import soundfile
from scipy.io import wavfile

from sniff.errors import SourceError, UsageError
from sniff.sources.recording.formats import open_recording
from tests.sources.recording.files import joined

CENTER = {"center_hz": 83.6e6}


def whole_numbers(bits, count=3000, seed=2):
    """Random I and Q that a PCM of so many bits holds exactly, stops included."""
    limit = 2 ** (bits - 1)
    values = np.random.default_rng(seed).integers(-limit, limit, (count, 2))
    values[0] = -limit, limit - 1
    return values


def read(path, **given):
    source = open_recording(str(path), **(CENTER | given))
    samples = joined(source.stream(seconds=None))
    source.close()
    return samples, source.info


@pytest.mark.parametrize("container", ["WAV", "WAVEX", "RF64"])
@pytest.mark.parametrize(
    ("subtype", "bits", "datatype"),
    [
        ("PCM_U8", 8, "cu8"),
        ("PCM_16", 16, "ci16_le"),
        ("PCM_24", 24, "ci24_le"),
        ("PCM_32", 32, "ci32_le"),
    ],
)
def test_pcm_of_each_width_written_by_libsndfile_reads_back_equal(
    tmp_path, container, subtype, bits, datatype
):
    values = whole_numbers(bits)
    shifted = (values << (32 - bits)).astype(np.int32)  # libsndfile keeps the upper bits
    path = tmp_path / "some.wav"
    soundfile.write(path, shifted, 2_400_000, subtype=subtype, format=container)
    samples, info = read(path)
    np.testing.assert_array_equal(
        samples, (values / 2 ** (bits - 1) @ [1, 1j]).astype(np.complex64)
    )
    assert (info.datatype, info.rate_hz, info.cautions) == (datatype, 2.4e6, ())
    assert info.rail == (2 ** (bits - 1) - 1) / 2 ** (bits - 1)


@pytest.mark.parametrize("container", ["WAV", "WAVEX", "RF64"])
@pytest.mark.parametrize(("subtype", "datatype"), [("FLOAT", "cf32_le"), ("DOUBLE", "cf64_le")])
def test_float_written_by_libsndfile_reads_back_equal(tmp_path, container, subtype, datatype):
    values = np.random.default_rng(4).uniform(-1.2, 1.2, (3000, 2))
    path = tmp_path / "some.wav"
    soundfile.write(path, values, 250_000, subtype=subtype, format=container)
    samples, info = read(path)
    np.testing.assert_array_equal(samples, (values @ [1, 1j]).astype(np.complex64))
    assert (info.datatype, info.rail) == (datatype, 1.0)


@pytest.mark.parametrize(
    ("dtype", "middle", "full"),
    [("u1", 128, 128), ("i2", 0, 2**15), ("i4", 0, 2**31), ("f4", 0, 1), ("f8", 0, 1)],
)
def test_files_of_scipy_read_back_equal(tmp_path, dtype, middle, full):
    rng = np.random.default_rng(6)
    values = (rng.uniform(-0.99, 0.99, (2000, 2)) * full + middle).astype(dtype)
    wavfile.write(tmp_path / "some.wav", 2_048_000, values)
    samples, info = read(tmp_path / "some.wav")
    expected = (values.astype(np.float64) - middle) / full @ [1, 1j]
    np.testing.assert_allclose(samples, expected, rtol=0, atol=7e-8)
    assert info.rate_hz == 2.048e6


@pytest.mark.parametrize("channels", [1, 3])
def test_another_number_of_channels_than_two_is_refused(tmp_path, channels):
    soundfile.write(tmp_path / "some.wav", np.zeros((100, channels)), 48_000)
    with pytest.raises(SourceError, match="is mono" if channels == 1 else "has 3 channels"):
        read(tmp_path / "some.wav")


def test_a_compressed_wav_is_refused(tmp_path):
    soundfile.write(tmp_path / "some.wav", np.zeros((100, 2)), 48_000, subtype="ULAW")
    with pytest.raises(SourceError, match="coded as ULAW; only PCM and float"):
        read(tmp_path / "some.wav")


def test_another_container_under_the_name_of_wav_is_refused(tmp_path):
    soundfile.write(tmp_path / "some.wav", np.zeros((100, 2)), 48_000, format="AIFF")
    with pytest.raises(SourceError, match="is AIFF, not WAV"):
        read(tmp_path / "some.wav")


def test_a_centre_must_be_given(tmp_path):
    soundfile.write(tmp_path / "some.wav", np.zeros((100, 2)), 48_000)
    with pytest.raises(UsageError, match="a WAV does not say its centre; give --center"):
        read(tmp_path / "some.wav", center_hz=None)


def test_a_datatype_must_not_be_given(tmp_path):
    soundfile.write(tmp_path / "some.wav", np.zeros((100, 2)), 48_000)
    with pytest.raises(UsageError, match="leave --datatype out"):
        read(tmp_path / "some.wav", datatype="ci16_le")


def test_a_rate_against_the_header_is_used_with_a_caution(tmp_path):
    soundfile.write(tmp_path / "some.wav", np.zeros((100, 2)), 48_000)
    _, info = read(tmp_path / "some.wav", rate_hz=2.4e6)
    assert info.rate_hz == 2.4e6
    assert [caution.text for caution in info.cautions] == [
        "rate: the file says 48 kHz; 2.4 MHz is used as asked"
    ]
    _, info = read(tmp_path / "some.wav", rate_hz=48e3)
    assert info.cautions == ()


@pytest.mark.parametrize("content", [b"hello world" * 50, b"RIFF\x10\x00\x00\x00WAVEfmt "])
def test_what_is_no_wav_is_refused(tmp_path, content):
    (tmp_path / "some.wav").write_bytes(content)
    with pytest.raises(SourceError, match=r"is not a readable WAV: [A-Z]"):
        read(tmp_path / "some.wav")


@pytest.mark.parametrize("container", ["WAV", "RF64"])
def test_a_wav_cut_short_is_read_with_a_caution_that_says_how_much_is_there(tmp_path, container):
    path = tmp_path / "some.wav"
    soundfile.write(path, whole_numbers(16).astype(np.int16), 1_000_000, format=container)
    content = path.read_bytes()
    path.write_bytes(content[: content.index(b"data") + 8 + 4 * 2000])
    samples, info = read(path)
    assert samples.size == 2000
    [caution] = info.cautions
    assert caution.code == "truncated"
    assert caution.text.endswith("speaks of 3000 samples, 2000 (2 ms) are there")


def header(data_bytes, *, chunks=b"", rate=1_000_000):
    """A header by hand: 16-bit stereo PCM; RIFF as the 1991 specification has it."""
    form = struct.pack("<HHIIHH", 1, 2, rate, 4 * rate % 2**32, 4, 16)
    body = b"WAVE" + chunks + b"fmt " + struct.pack("<I", 16) + form
    return b"RIFF\xff\xff\xff\xff" + body + b"data" + struct.pack("<I", data_bytes)


def test_a_header_that_was_never_finished_is_read_to_the_end_with_a_caution(tmp_path):
    values = whole_numbers(16).astype("<i2")
    (tmp_path / "some.wav").write_bytes(header(0xFFFFFFFF) + values.tobytes())
    samples, info = read(tmp_path / "some.wav")
    assert samples.size == 3000
    assert [caution.code for caution in info.cautions] == ["truncated"]
    assert "header was never finished; 3000 samples (3 ms) are there" in info.cautions[0].text


def test_a_length_of_zero_before_samples_is_pointed_out(tmp_path):
    (tmp_path / "some.wav").write_bytes(header(0) + bytes(4000))
    with pytest.raises(SourceError, match="holds no samples; its header was never finished"):
        read(tmp_path / "some.wav")


def test_a_wav_without_samples_is_refused(tmp_path):
    soundfile.write(tmp_path / "some.wav", np.zeros((0, 2)), 48_000)
    with pytest.raises(SourceError, match=r"holds no samples$"):
        read(tmp_path / "some.wav")


def test_other_chunks_of_odd_length_before_the_samples_are_passed_over(tmp_path):
    values = whole_numbers(16, 50).astype("<i2")
    note = b"note" + struct.pack("<I", 5) + b"hello\0"
    (tmp_path / "some.wav").write_bytes(header(200, chunks=note) + values.tobytes())
    samples, info = read(tmp_path / "some.wav")
    assert samples.size == 50
    assert info.cautions == ()


def test_an_incomplete_last_sample_is_dropped_with_a_caution(tmp_path):
    values = whole_numbers(16, 50).astype("<i2")
    (tmp_path / "some.wav").write_bytes(header(202) + values.tobytes() + b"ab")
    samples, info = read(tmp_path / "some.wav")
    assert samples.size == 50
    assert [caution.code for caution in info.cautions] == ["odd-length"]


@pytest.mark.parametrize("rate", [0, 2**31 + 5])
def test_a_header_with_a_rate_that_cannot_be_is_refused(tmp_path, rate):
    (tmp_path / "some.wav").write_bytes(header(400, rate=rate) + bytes(400))
    with pytest.raises(SourceError, match="has no possible rate or number of channels"):
        read(tmp_path / "some.wav")


def test_a_float_wav_with_nan_is_refused_where_it_is_met(tmp_path):
    values = np.zeros((1000, 2), dtype=np.float32)
    values[700, 0] = np.nan
    soundfile.write(tmp_path / "some.wav", values, 1_000_000, subtype="FLOAT")
    source = open_recording(str(tmp_path / "some.wav"), **CENTER)
    with pytest.raises(SourceError, match="sample 700 "):
        list(source.stream(seconds=None))
    source.close()


def test_a_stretch_begins_and_ends_where_it_is_asked(tmp_path):
    values = whole_numbers(16)
    soundfile.write(tmp_path / "some.wav", values.astype(np.int16), 1_000_000)
    source = open_recording(str(tmp_path / "some.wav"), **CENTER)
    [block] = source.stream(start_s=1.5e-3, seconds=0.25e-3)
    source.close()
    source.close()
    expected = (values[1500:1750] / 2**15 @ [1, 1j]).astype(np.complex64)
    np.testing.assert_array_equal(block.samples, expected)
    assert (block.index, block.center_hz, block.rate_hz) == (1500, 83.6e6, 1e6)


def test_a_wav_that_shrinks_while_it_is_read_is_an_error(tmp_path):
    path = tmp_path / "some.wav"
    soundfile.write(path, np.zeros((600_000, 2), dtype=np.int16), 1_000_000)
    source = open_recording(str(path), **CENTER)
    blocks = source.stream(seconds=None)
    next(blocks)
    os.truncate(path, 4 * 400_000)
    with pytest.raises(SourceError, match="became shorter"):
        next(blocks)  # the one that the new end cuts in two
    source.close()


def test_a_closed_wav_says_so(tmp_path):
    soundfile.write(tmp_path / "some.wav", np.zeros((100, 2)), 48_000)
    source = open_recording(str(tmp_path / "some.wav"), **CENTER)
    take = source.take(seconds=None)
    source.close()
    with pytest.raises(SourceError, match="was closed"):
        list(take.blocks())
