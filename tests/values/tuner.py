"""Tuner and resampler figures, from the facts sheet of the dongle's driver.

Unless said otherwise: decoded from the registers that the shipped driver wrote (0.9 as packaged
with pyrtlsdrlib 0.0.7), 2.4 MS/s, bandwidth 2.4 MHz, tuner clock 28.8 MHz, driver ppm 0.
"""

R82XX_SETTINGS = (
    # request Hz, divider, nint, sdm, step Hz, centre minus request Hz
    (50e6, 64, 57, 21845, 13.733, 1.526),
    (100e6, 32, 56, 29127, 27.466, 3.052),
    (200e6, 16, 56, 0, 54.932, 6.104),
    (400e6, 8, 55, 50972, 109.863, -42.725),
    (800e6, 4, 55, 43691, 219.727, 79.346),
    (1090e6, 2, 37, 59164, 439.453, -189.209),
    (1600e6, 2, 55, 40050, 439.453, 103.760),
)

R82XX_WORST_ERROR_HZ = (
    # request Hz, lowest and highest centre minus request, Hz, of 20 000 random requests in the
    # same divider band
    (100e6, -7.6, 19.8),
    (200e6, -21.0, 34.0),
    (400e6, -49.0, 61.0),
    (800e6, -104.0, 116.0),
    (1090e6, -214.0, 226.0),
)

R82XX_IF_HZ = (
    # bandwidth (= sample rate) Hz, IF Hz
    (250e3, 1925e3),
    (1.024e6, 2205e3),
    (1.8e6, 1400e3),
    (2.048e6, 1530e3),
    (2.4e6, 1600e3),
    (2.56e6, 1600e3),
    (3.2e6, 2000e3),
    (4.6e6, 3570e3),
    (6.5e6, 4570e3),
    (8e6, 4570e3),
)

R82XX_WIDTH_HZ = ((1e6, 950e3),)  # bandwidth asked, -3 dB width applied

R82XX_RANGE_HZ = (26.0565e6, 1768.399499e6)  # at IF 1.6 MHz: LO 27.6565 ... 1769.999499 MHz

R828D_STEP_TIMES_DIVIDER_HZ = 488.28  # tuner clock 16 MHz

# Clock 30 ppm fast: the true centre misses 433.92 MHz by this, Hz, and 2.4 MS/s become this, Hz.
FAST_CLOCK_ERROR_HZ = 13043.0
FAST_CLOCK_RATE_HZ = 2_400_072.0

E4000_ERROR_HZ = ((100e6, -10.7), (1600e6, -170.9))  # centre minus request, Hz
E4000_STEP_TIMES_DIVIDER_HZ = 439.45

RESAMPLER = (
    # rate asked Hz, register, rate made Hz
    (250_000, 0xCCCCCCC, 250000.000414),
    (1_024_000, 0x7080000, 1_024_000.0),
    (1_800_000, 0x4000000, 1_800_000.0),
    (2_048_000, 0x3840000, 2_048_000.0),
    (2_400_000, 0x3000000, 2_400_000.0),
    (2_560_000, 0x2D00000, 2_560_000.0),
    (3_200_000, 0x2400000, 3_200_000.0),
    (2_000_000, 0x3999998, 2_000_000.053),
    (2_800_000, 0x2924924, 2_800_000.037),
)
RESAMPLER_WORST_ERROR_HZ = 0.34
