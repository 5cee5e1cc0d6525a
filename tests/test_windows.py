"""Windows against published tables, SciPy, and the rule that recommends an overlap."""

import numpy as np
import pytest
import scipy.signal.windows
from hypothesis import given
from hypothesis import strategies as st

from sniff.errors import UsageError
from sniff.windows import Window, correlation_at
from tests.values import welch, windows

SCIPY_NAMES = {
    Window.HANN: "hann",
    Window.BLACKMAN_HARRIS: "blackmanharris",
    Window.FLAT_TOP: "flattop",
    Window.RECTANGULAR: "boxcar",
}

LETTERS = {window.value.replace("-", "") for window in Window}


@pytest.mark.parametrize("window", Window)
@pytest.mark.parametrize("n", [16, 100, 4096])
def test_samples_are_those_of_scipys_periodic_window(window: Window, n: int) -> None:
    expected = scipy.signal.windows.get_window(SCIPY_NAMES[window], n, fftbins=True)
    np.testing.assert_allclose(window.samples(n), expected, atol=1e-15)


@pytest.mark.parametrize("name", windows.HARRIS)
def test_figures_of_merit_are_those_of_harris(name: str) -> None:
    enbw_bins, scalloping_db, at_half, at_three_quarters = windows.HARRIS[name]
    window = Window(name)
    # Two decimals are printed, some of them truncated.
    assert window.enbw_bins == pytest.approx(enbw_bins, abs=0.006)
    assert window.scalloping_db == pytest.approx(scalloping_db, abs=0.006)
    assert 100 * window.overlap_correlation(0.5) == pytest.approx(at_half, abs=0.06)
    assert 100 * window.overlap_correlation(0.75) == pytest.approx(at_three_quarters, abs=0.06)


@pytest.mark.parametrize("name", windows.HEINZEL)
def test_figures_of_merit_are_those_of_heinzel(name: str) -> None:
    enbw_bins, loss_db, overlap_percent = windows.HEINZEL[name]
    window = Window(name)
    assert window.enbw_bins == pytest.approx(enbw_bins, abs=5e-5)
    assert window.scalloping_db == pytest.approx(loss_db, abs=5e-5)
    assert 100 * window.recommended_overlap == pytest.approx(overlap_percent)


@pytest.mark.parametrize("name", windows.RECOMPUTED)
def test_figures_of_merit_are_those_of_an_independent_computation(name: str) -> None:
    enbw_bins, scalloping_db, at_half, at_three_quarters = windows.RECOMPUTED[name]
    window = Window(name)
    assert window.enbw_bins == pytest.approx(enbw_bins, rel=1e-9)
    assert window.scalloping_db == pytest.approx(scalloping_db, rel=1e-6)
    assert window.overlap_correlation(0.5) == pytest.approx(at_half, rel=1e-9)
    assert window.overlap_correlation(0.75) == pytest.approx(at_three_quarters, rel=1e-9)


@pytest.mark.parametrize("window", Window)
def test_noise_bandwidth_in_closed_form_is_that_of_the_samples(window: Window) -> None:
    # Harris 1978, eq. 11.
    shape = window.samples(1000)
    assert window.enbw_bins == pytest.approx(1000 * np.sum(shape**2) / np.sum(shape) ** 2)
    assert window.coherent_gain == pytest.approx(shape.mean())


@pytest.mark.parametrize(("name", "overlap"), welch.RHO)
def test_rho_of_welch_is_the_square_of_the_overlap_correlation(name: str, overlap: float) -> None:
    shape = Window(name).samples(4096)
    hop = round(4096 * (1 - overlap))
    rho = [correlation_at(shape, lag) ** 2 for lag in range(hop, 4096, hop)]
    assert rho == pytest.approx(welch.RHO[name, overlap], rel=1e-4)


def test_segments_that_share_no_sample_do_not_correlate() -> None:
    assert correlation_at(Window.HANN.samples(64), 64) == 0.0


def recommended_overlap(shape: np.ndarray) -> float:
    """Heinzel 2002, section 10: where amplitude flatness less overlap correlation is greatest."""
    best = (-np.inf, 0.0)
    for hop in range(shape.size // 10, shape.size + 1, shape.size // 1000):
        overlapped = np.zeros(hop)
        for start in range(0, shape.size, hop):
            part = shape[start : start + hop]
            overlapped[: part.size] += part
        flatness = overlapped.min() / overlapped.max()
        best = max(best, (flatness - correlation_at(shape, hop), 1 - hop / shape.size))
    return best[1]


def cosine_sum(terms: tuple[float, ...], n: int) -> np.ndarray:
    z = 2 * np.pi * np.arange(n) / n
    return sum(((-1) ** k * term * np.cos(k * z) for k, term in enumerate(terms)), np.zeros(n))


@pytest.mark.parametrize("name", windows.FLAT_TOPS_OF_HEINZEL)
def test_the_rule_for_overlap_gives_what_heinzel_printed(name: str) -> None:
    terms, percent = windows.FLAT_TOPS_OF_HEINZEL[name]
    assert 100 * recommended_overlap(cosine_sum((1.0, *terms), 4000)) == pytest.approx(percent)


@pytest.mark.parametrize("window", Window)
def test_overlaps_are_what_the_rule_recommends(window: Window) -> None:
    assert window.recommended_overlap == pytest.approx(recommended_overlap(window.samples(4000)))


@pytest.mark.parametrize("text", ["Blackman-Harris", " blackman harris ", "BLACKMAN_HARRIS"])
def test_a_window_is_found_however_its_name_is_written(text: str) -> None:
    assert Window.named(text) is Window.BLACKMAN_HARRIS


@given(st.text().filter(lambda text: "".join(filter(str.isalpha, text.lower())) not in LETTERS))
def test_any_other_name_is_refused_in_one_line_with_the_list_of_names(text: str) -> None:
    names = "hann, blackman-harris, flat-top, rectangular"
    with pytest.raises(UsageError, match=rf"\A[^\n]*; there are {names}\Z"):
        Window.named(text)


def test_too_few_samples_for_the_terms_are_refused() -> None:
    with pytest.raises(ValueError, match="n=9 is too short for flat-top"):
        Window.FLAT_TOP.samples(9)
