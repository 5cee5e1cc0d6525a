"""Published figures of reference carriers and of weighted means.

Sources: 47 CFR 73.1545 (FM ±2000 Hz, AM ±20 Hz; found in public text, 2015 edition); the ATSC pilot
lies 309 440.5594 Hz above the channel's edge (symbol rate 4.5 MHz x 684/286; trade texts,
recomputed). Weighted mean with Birge ratio: synthetic case, recomputed outside this project with
double precision (R. T. Birge, Phys. Rev. 40, 1932, for the ratio).

DAB blocks of band III: the usual table, found in public text; rounding to 16 kHz shows in 13D.
DVB-T in bands IV and V: 474 MHz + 8 MHz (channel - 21), found in public text. ATSC: RF channels of
6 MHz from 54, 76, 174 and 470 MHz on (47 CFR 73.603, from memory), and the offsets of its pilot
(trade texts). 47 CFR 90.213 (2015 edition): base stations 5 ppm at 150 to 174 MHz, 2.5 ppm at 421
to 512 MHz. JCGM 100:2008, 4.3.7: a rectangle of half-width a has u = a / sqrt(3); 4.3.3: an
expanded uncertainty is divided by its k.
"""

ATSC_PILOT_HZ = 309_440.5594
FM_LIMIT_HZ = 2_000.0
ATSC_OFFSETS_HZ = (22_697.4, 19_403.07)
ATSC_PILOTS_MHZ = {"2": 54.3094406, "6": 82.3094406, "7": 174.3094406, "36": 602.3094406}
DVBT_MHZ = {"21": 474.0, "38": 610.0, "69": 858.0}
BASE_STATION_PPM = {155e6: 5.0, 460e6: 2.5}

# fmt: off
DAB_MHZ = {
    "5A": 174.928, "5B": 176.640, "5C": 178.352, "5D": 180.064,
    "6A": 181.936, "6B": 183.648, "6C": 185.360, "6D": 187.072,
    "7A": 188.928, "7B": 190.640, "7C": 192.352, "7D": 194.064,
    "8A": 195.936, "8B": 197.648, "8C": 199.360, "8D": 201.072,
    "9A": 202.928, "9B": 204.640, "9C": 206.352, "9D": 208.064,
    "10A": 209.936, "10B": 211.648, "10C": 213.360, "10D": 215.072,
    "11A": 216.928, "11B": 218.640, "11C": 220.352, "11D": 222.064,
    "12A": 223.936, "12B": 225.648, "12C": 227.360, "12D": 229.072,
    "13A": 230.784, "13B": 232.496, "13C": 234.208, "13D": 235.776, "13E": 237.488, "13F": 239.200,
}
# fmt: on

WEIGHTED = {
    "x": (10.02, 10.00, 9.96, 10.05),
    "u": (0.02, 0.01, 0.02, 0.03),
    "mean": 10.000345,
    "u_inner": 0.0078784,
    "birge": 1.60995,
    "u_outer": 0.0126838,
}
