"""Published numbers of small counts.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 8.3.1.2 (test length factors) and its
example of a 200 h MTBF at 90 %; 7.2.4.2 (4 of 20). The factors were recomputed to more digits than
the handbook prints. R. A. Fisher, *The Design of Experiments* (1935), the lady tasting tea, and
*Statistical Methods for Research Workers*, twins of convicts. E. B. Andersen (1977), lung cancer in
Danish cities, with the interval that the manual of R prints for it (its `poisson.test`, from
memory).
"""

AT_MOST = {  # confidence: upper factor of 0, 1, 2 ... events
    0.50: (0.6931, 1.6783, 2.6741, 3.6721, 4.6709, 5.6702),
    0.80: (1.6094, 2.9943, 4.2790, 5.5150, 6.7210, 7.9060),
    0.90: (2.3026, 3.8897, 5.3223, 6.6808, 7.9936, 9.2747),
    0.95: (2.9957, 4.7439, 6.2958, 7.7537, 9.1535, 10.5130),
    0.99: (4.6052, 6.6384, 8.4059, 10.0451, 11.6046, 13.1085),
}
AT_MOST_OF_TEN = {0.50: 10.6685, 0.80: 13.6507, 0.90: 15.4066, 0.95: 16.9622, 0.99: 20.1447}
TWO_SIDED_95 = {
    0: (0.0, 3.6889),
    1: (0.0253, 5.5716),
    2: (0.2422, 7.2247),
    3: (0.6187, 8.7673),
    5: (1.6235, 11.6683),
}

MTBF_HOURS, MTBF_CONFIDENCE = 200.0, 0.9
MTBF_TEST_HOURS = {0: 460.517, 3: 1336.157, 4: 1598.718}
"""Failures allowed: length of test."""

PROPORTIONS = (  # successes, trials, confidence, low, high
    (4, 20, 0.90, 0.071354, 0.401029),
    (0, 20, 0.95, 0.0, 0.168433),
    (0, 10, 0.95, 0.0, 0.308497),
    (1, 10, 0.95, 0.002529, 0.445016),
    (81, 263, 0.95, 0.252737, 0.367622),
)

FREDERICIA, OTHER_CITIES = (11, 800), (21, 3011)  # cases, persons
FREDERICIA_RATIO, FREDERICIA_95 = 1.971488, (0.8584264, 4.2772659)

TEA = (((3, 1), (1, 3)), 17 / 70)  # table, one-sided p of more in the first row
TEA_ALL_RIGHT = (((4, 0), (0, 4)), 1 / 70)
TWINS = (((15, 3), (2, 10)), 0.0004651809)
"""One-sided; the rows are exchanged against the book, so that the first one is the greater."""

TREND_FAILURES_H = (5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478)
TREND_HOURS = 1500
"""The repairable system of NIST/SEMATECH e-Handbook 8.2.3.4 and 8.4.2.2, from memory."""
TREND_Z = -1.3269
"""Laplace's statistic of it by the formula of 8.2.3.4, by hand:
sqrt(120) (5683 - 10 * 750) / (10 * 1500)."""

HOLM = ((0.01, 0.04, 0.03, 0.005), (0.03, 0.06, 0.06, 0.02))
"""Four p values and the adjusted ones: a common worked example of S. Holm's method (Scandinavian
Journal of Statistics 6, 1979), from memory; by hand 4 * 0.005, 3 * 0.01, 2 * 0.03, 0.06."""

HORSE_KICKS = {0: 109, 1: 65, 2: 22, 3: 3, 4: 1}
"""Deaths in 200 corps-years: how many corps-years had so many (L. von Bortkiewicz, *Das Gesetz der
kleinen Zahlen*, 1898), the classical example of a Poisson law."""
