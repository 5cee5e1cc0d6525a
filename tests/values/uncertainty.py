"""Worked numbers of measurement uncertainty and clock error.

Sources: JCGM 100:2008 (GUM) clauses cited beside each use; the ppm example is a published one of
the dongle community (found in public text, recomputed): 446.00625 MHz read 18 063.25 Hz too high,
which is an error of the reading of +40.5 ppm.
"""

READ_HZ = 446.00625e6 + 18_063.25
TRUE_HZ = 446.00625e6
READING_ERROR_PPM = 40.5  # (read - true) / true, rounded to 0.1 ppm
SLOW_CRYSTAL_PPM = -40.498  # the same as the error of the crystal, which then is slow
