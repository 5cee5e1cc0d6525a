"""Sample types: names, scaling, and the way there and back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.sources.recording.datatypes import DATATYPES, find_datatype
from tests.values.recordings import (
    SIGMF_COMPLEX_TYPES,
    U8_MIDPOINT_128_DC_DBFS,
    U8_QUANTISATION_DBFS,
)

NAMES = sorted(SIGMF_COMPLEX_TYPES)


def expected(stored: np.ndarray) -> np.ndarray:
    """The scaling rule in double precision: middle to zero, and full scale to one."""
    values = stored.astype(np.float64)
    bits = 8 * stored.dtype.itemsize
    if stored.dtype.kind == "u":
        middle = (2.0**bits - 1) / 2
        values = (values - middle) / middle
    elif stored.dtype.kind == "i":
        values = values / 2.0 ** (bits - 1)
    return values[0::2] + 1j * values[1::2]


def some_of(dtype: np.dtype, count: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    if dtype.kind == "f":
        return rng.uniform(-1.5, 1.5, count).astype(dtype)
    limits = np.iinfo(dtype)
    values = rng.integers(
        limits.min, limits.max, count, endpoint=True, dtype=dtype.newbyteorder("=")
    )
    values[:2] = limits.min, limits.max
    return values.astype(dtype)


def test_every_complex_type_of_the_specification_is_known_and_no_other():
    assert sorted(DATATYPES) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_samples_of_each_type_read_as_numpy_reads_them(name):
    stored = some_of(np.dtype(SIGMF_COMPLEX_TYPES[name]), 2000, seed=3)
    samples = DATATYPES[name].to_complex64(stored.view(np.uint8))
    assert samples.dtype == np.complex64
    np.testing.assert_allclose(samples, expected(stored), rtol=0, atol=1.2e-7)
    assert DATATYPES[name].sample_bytes == 2 * stored.dtype.itemsize


@pytest.mark.parametrize("name", [name for name in NAMES if "f" not in name])
def test_the_rail_is_where_the_nearer_stop_of_the_converter_is(name):
    dtype = np.dtype(SIGMF_COMPLEX_TYPES[name])
    limits = np.iinfo(dtype)
    stops = np.array([limits.min, limits.max], dtype=dtype)
    reached = DATATYPES[name].to_complex64(stops.view(np.uint8))[0]
    assert min(abs(reached.real), abs(reached.imag)) == np.float32(DATATYPES[name].rail)


@pytest.mark.parametrize(
    ("name", "rail"), [("cu8", 1.0), ("ci16_le", 32767 / 32768), ("cf32_be", 1)]
)
def test_rails_are_as_agreed(name, rail):
    assert DATATYPES[name].rail == rail


def test_unsigned_bytes_have_no_false_carrier_at_the_centre():
    # A converter's two middle codes lie half a step on either side of nothing.
    middle = np.array([127, 128, 128, 127], dtype=np.uint8)
    mean = DATATYPES["cu8"].to_complex64(middle).mean()
    assert mean == 0
    taken_as_128 = abs((127.5 - 128) / 127.5 * (1 + 1j))
    assert 20 * np.log10(taken_as_128) == pytest.approx(U8_MIDPOINT_128_DC_DBFS, abs=0.05)


def test_storing_a_tone_as_bytes_adds_the_noise_of_a_uniform_quantiser():
    at = np.arange(50_000)
    tone = (0.99 * np.exp(2j * np.pi * 0.1234567 * at + 0.3j)).astype(np.complex64)
    cu8 = DATATYPES["cu8"]
    noise = cu8.to_complex64(cu8.from_complex64(tone)) - tone
    level_dbfs = 10 * np.log10(np.mean(np.abs(noise) ** 2))
    assert level_dbfs == pytest.approx(U8_QUANTISATION_DBFS, abs=0.15)


@given(st.sampled_from(NAMES), st.integers(1, 300), st.integers(0, 2**32 - 1))
def test_reading_what_was_stored_gives_it_back(name, count, seed):
    datatype = DATATYPES[name]
    samples = datatype.to_complex64(some_of(datatype.component, 2 * count, seed).view(np.uint8))
    again = datatype.to_complex64(datatype.from_complex64(samples))
    np.testing.assert_array_equal(again, samples)


@given(st.binary(min_size=2, max_size=400).filter(lambda data: len(data) % 2 == 0))
def test_bytes_of_a_dongle_come_back_to_the_bit(data):
    native = np.frombuffer(data, dtype=np.uint8)
    cu8 = DATATYPES["cu8"]
    np.testing.assert_array_equal(cu8.from_complex64(cu8.to_complex64(native)), native)


@pytest.mark.parametrize("name", [name for name in NAMES if "f" not in name])
def test_a_sample_beyond_full_scale_is_stored_at_the_stop(name):
    datatype = DATATYPES[name]
    limits = np.iinfo(datatype.component)
    stored = datatype.from_complex64(np.array([3 - 3j], dtype=np.complex64))
    assert stored.view(datatype.component).tolist() == [limits.max, limits.min]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("rf32_le", "real-valued"),
        ("ru8", "real-valued"),
        ("cf32", "cf32_le or cf32_be"),
        ("ci24_le", "unknown; known are cf32_be"),
        ("cs16", "unknown"),
        ("", "unknown"),
    ],
)
def test_a_type_that_cannot_be_read_is_named_with_the_reason(name, says):
    with pytest.raises(ValueError, match=says):
        find_datatype(name)


def test_one_byte_has_no_order_whatever_the_name_says():
    assert find_datatype("cu8_le") is DATATYPES["cu8"]
    assert find_datatype("ci8_be") is DATATYPES["ci8"]
