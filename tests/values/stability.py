"""Published test data of frequency stability.

Source: W. J. Riley, *Handbook of Frequency Stability Analysis*, NIST SP 1065 (2008), section 12, as
quoted by a public test suite; the nine-point data come from NBS Monograph 140 (1974), Annex 8.E.
"""

NINE = (892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0)
NINE_DEVIATIONS = {
    # averaging time: overlapping Allan, modified Allan, time, overlapping Hadamard
    1: (91.22945, 91.22945, 52.67135, 70.80607),
    2: (85.95287, 74.78849, 86.35831, 85.61487),
}

THOUSAND_SEED, THOUSAND_FACTOR, THOUSAND_MODULUS = 1234567890, 16807, 2147483647
"""n0 = seed; n = factor * n mod modulus; y = n / modulus, the seed itself first; 1000 values."""
THOUSAND_LAST = 1560135652

THOUSAND_DEVIATIONS = {
    1: (2.922319e-1, 2.922319e-1, 1.687202e-1, 2.943883e-1),
    10: (9.159953e-2, 6.172376e-2, 3.563623e-1, 9.581083e-2),
    100: (3.241343e-2, 2.170921e-2, 1.253382e0, 3.237638e-2),
}

FEW_DEGREES = {
    # alpha: (differences: (a0, a1)), 1/edf = (a0 - a1 / r) / r where many averaging times r fit
    # into the phases. C. A. Greenhall and W. J. Riley, "Uncertainty of stability variances based on
    # finite differences", PTTI 2003, tables 1 and 2 (NIST SP 1065, 5.4), as quoted in allantools.
    "modified": {
        2: {2: (7 / 9, 1 / 2), 3: (22 / 25, 2 / 3)},
        1: {2: (0.997, 0.616), 3: (1.141, 0.843)},
        0: {2: (1.033, 0.607), 3: (1.184, 0.848)},
        -1: {2: (1.048, 0.534), 3: (1.180, 0.816)},
        -2: {2: (1.302, 0.535), 3: (1.175, 0.777)},
        -3: {3: (1.194, 0.703)},
        -4: {3: (1.489, 0.702)},
    },
    "unmodified": {
        0: {2: (2 / 3, 1 / 3), 3: (7 / 9, 1 / 2)},
        -1: {2: (0.852, 0.375), 3: (0.997, 0.617)},
        -2: {2: (1.079, 0.368), 3: (1.033, 0.607)},
        -3: {3: (1.053, 0.553)},
        -4: {3: (1.302, 0.535)},
    },
}

WHITE_PHASE_DEGREES = {2: (35 / 18, 1.0), 3: (231 / 100, 3 / 2)}
"""The same source, table 2 for alpha = 2: 1/edf = (a0 - a1 / r) / M with M overlapping terms."""
