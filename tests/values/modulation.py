"""Cited values of modulation measurements.

Bessel functions themselves are taken from SciPy (`scipy.special.jv`) where a check needs them; the
numbers here are printed ones.
"""

CARRIER_NULLS = (2.4048255577, 5.5200781103, 8.6537279129)
"""Zeros of J0: modulation indices at which an FM carrier with one tone vanishes (Abramowitz and
Stegun 1964, table 9.5)."""

OCCUPIED_HZ = (
    # peak deviation, tone, 99 % occupied bandwidth, Carson's estimate, width at 26 dB below the
    # unmodulated carrier, Hz: worked out from the Bessel series outside this project, with the
    # definition of the ITU Radio Regulations, No. 1.153 (47 CFR 2.202(a)).
    (75e3, 15e3, 180e3, 180e3, 210e3),
    (75e3, 1e3, 154e3, 152e3, 154e3),
    (5e3, 1e3, 12e3, 12e3, 14e3),
    (5e3, 3e3, 18e3, 16e3, 18e3),
    (2.5e3, 1e3, 8e3, 7e3, 8e3),
    (15e3, 1e3, 34e3, 32e3, 34e3),
    (24e3, 1e3, 52e3, 50e3, 52e3),
)

NECESSARY_BANDWIDTH_HZ = ((3e3, 5e3, 16e3), (15e3, 75e3, 180e3))
"""Highest audio, deviation and 2 M + 2 D K with K = 1 (47 CFR 2.202(g))."""

DEEMPHASIS_DB = {
    # time constant: {Hz: dB}, -10 log(1 + (2 pi f tau)²), time constants of ITU-R BS.450-3
    50e-6: {400.0: -0.068, 1e3: -0.409, 3183.1: -3.010, 10e3: -10.362, 15e3: -13.656},
    75e-6: {400.0: -0.152, 1e3: -0.871, 2122.1: -3.010, 10e3: -13.656, 15e3: -17.073},
}

THD_AND_SINAD = {
    # Amplitudes of a tone and harmonics, with white noise of total power 1e-4, worked out outside
    # this project from the definitions (IEC 60268-3, IEEE 1057; from memory).
    "amplitudes": (1.0, 0.01, 0.005, 0.002),
    "noise_power": 1e-4,
    "thd_f_percent": 1.13578,
    "sinad_db": 34.8295,
}

STEREO_PILOT = {"frequency_hz": 19e3, "tolerance_hz": 2.0, "deviation_hz": 6.75e3}
"""47 CFR 73.322 and ITU-R BS.450-3: 19 kHz within 2 Hz, 8 to 10 % of 75 kHz."""

SQUELCH_TONES_HZ = (67.0, 88.5, 100.0, 123.0, 162.2, 203.5, 250.3)
"""Some of the squelch tones of ANSI/TIA-603 (from memory)."""
