"""Superheterodyne worked examples, MHz unless a name says otherwise.

Arithmetic of Terman, *Radio Engineers' Handbook* (1943) and the receiver chapter of the *ARRL
Handbook* (cited from memory), each row worked by hand. The last row's image is printed in a public
receiver manual.
"""

SINGLE_CONVERSION = (
    # carrier, IF, side, LO, image, half-IF
    (98.1, 10.7, "high", 108.8, 119.5, 103.45),
    (121.5, 10.7, "high", 132.2, 142.9, 126.85),
    (162.55, 10.7, "low", 151.85, 141.15, 157.2),
    (162.55, 21.4, "low", 141.15, 119.75, 151.85),
    (72.5, 10.7, "high", 83.2, 93.9, 77.85),
    (169.505, 10.7, "low", 158.805, 148.105, 164.155),
    (216.025, 10.7, "low", 205.325, 194.625, 210.675),
    (614.4, 70.0, "low", 544.4, 474.4, 579.4),
    (863.5, 10.7, "low", 852.8, 842.1, 858.15),
    (1.0, 0.455, "high", 1.455, 1.91, 1.2275),
    (431.975, 21.4, "high", 453.375, 474.775, 442.675),
)

SECOND_LO = (
    # first IF, second IF, side, second LO: dual conversion to 455 kHz
    (10.7, 0.455, "low", 10.245),
    (10.7, 0.455, "high", 11.155),
    (10.695, 0.455, "low", 10.24),
    (10.695, 0.455, "high", 11.15),
    (21.4, 0.455, "low", 20.945),
    (21.4, 0.455, "high", 21.855),
    (45.0, 0.455, "low", 44.545),
    (45.0, 0.455, "high", 45.455),
    (58.1125, 0.455, "low", 57.6575),
)

CRYSTAL_CHAINS = (
    # carrier, IF, side, multiplier, crystal as printed
    (169.505, 10.7, "low", 9, 17.645),
    (169.505, 10.7, "low", 3, 52.935),
    (216.025, 10.7, "low", 3, 68.44167),
    (216.025, 10.7, "low", 6, 34.22083),
    (216.025, 10.7, "low", 9, 22.81389),
    (216.025, 10.7, "low", 12, 17.11042),
)

TOLERANCE_CHAIN = {
    # 50 ppm of a 17.645 MHz crystal, times nine, at the LO and in the channel 169.505 MHz
    "crystal_mhz": 17.645,
    "multiplier": 9,
    "if_mhz": 10.7,
    "carrier_mhz": 169.505,
    "ppm": 50.0,
    "crystal_hz": 882.0,
    "lo_khz": 7.940,
    "channel_ppm": 46.8,
}

TWENTY_AND_EIGHTY_METERS = {"vfo": 5.0, "if": 9.0, "carrier": 14.0, "image": 4.0}
"""A 5 MHz VFO with a 9 MHz IF receives both bands: common practice, no source."""
