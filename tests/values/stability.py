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
