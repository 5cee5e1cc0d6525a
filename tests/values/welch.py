"""Published figures of averaged periodograms.

P. D. Welch, "The use of fast Fourier transform for the estimation of power spectra", IEEE Trans.
Audio Electroacoust. AU-15(2), 70-73, June 1967: variance of the mean of K overlapping segments is
(1/K) [1 + 2 sum (1 - j/K) rho_j]; rho_j is the square of the window's autocorrelation. Formula from
memory, confirmed by an independent simulation; the numbers follow from it.
"""

# (window, overlap): rho at lags of one, two, ... hops.
RHO = {
    ("hann", 0.5): (1 / 36,),
    ("rectangular", 0.5): (1 / 4,),
    ("blackman-harris", 0.5): (0.0014139005,),
    ("hann", 0.75): (0.43448524, 0.02777777777778, 5.6426e-05),
}

# Hann, 50 % overlap: number of segments and of independent ones with the same variance.
EFFECTIVE_AVERAGES_HANN_50 = {
    2: 1.945945945946,
    7: 6.681818181818,
    8: 7.629139072848,
    15: 14.26056338028,
    16: 15.20792079208,
    31: 29.41836734694,
    63: 59.73411371237,
    99: 93.83936170213,
    127: 120.3656716418,
}

# Chi-square interval of 95 % about an estimate from K independent segments, dB. From 2K degrees of
# freedom: J. S. Bendat and A. G. Piersol, "Random Data", section 8.5 (formula from memory).
INTERVAL_95_DB = {
    10: (-2.326099869127, 3.191761847928),
    16: (-1.892835547656, 2.429181105654),
    64: (-1.001785993003, 1.134405532845),
}
