"""Published figures of reference carriers and of weighted means.

Sources: 47 CFR 73.1545 (FM ±2000 Hz, AM ±20 Hz; found in public text, 2015 edition); the ATSC pilot
lies 309 440.5594 Hz above the channel's edge (symbol rate 4.5 MHz x 684/286; trade texts,
recomputed). Weighted mean with Birge ratio: synthetic case, recomputed outside this project with
double precision (R. T. Birge, Phys. Rev. 40, 1932, for the ratio).
"""

ATSC_PILOT_HZ = 309_440.5594
FM_LIMIT_HZ = 2_000.0

WEIGHTED = {
    "x": (10.02, 10.00, 9.96, 10.05),
    "u": (0.02, 0.01, 0.02, 0.03),
    "mean": 10.000345,
    "u_inner": 0.0078784,
    "birge": 1.60995,
    "u_outer": 0.0126838,
}
