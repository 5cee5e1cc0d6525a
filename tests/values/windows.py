"""Published figures of the windows.

Harris: F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier
transform", Proc. IEEE 66(1), 51-83, Jan 1978, Table I: digits from memory, each reproduced by an
independent computation. Heinzel: G. Heinzel, A. Rüdiger, R. Schilling, "Spectrum and spectral
density estimation by the DFT ...", AEI, 15 Feb 2002, appendices C and D.
"""

# name: (ENBW in bins, scalloping loss in dB, overlap correlation at 50 % and 75 % in per cent),
# Harris, Table I.
HARRIS = {
    "rectangular": (1.00, 3.92, 50.0, 75.0),
    "hann": (1.50, 1.42, 16.7, 65.9),
    "blackman-harris": (2.00, 0.83, 3.8, 46.0),
}

# name: (NENBW in bins, loss half a bin off in dB, recommended overlap in per cent), Heinzel.
HEINZEL = {
    "hann": (1.5000, 1.4236, 50.0),
    "blackman-harris": (2.0044, 0.8256, 66.1),
}

# The 5-term flat-top and the rectangular window are in neither list to four digits; an independent
# computation on the periodic window, N = 4096, with SciPy's coefficients:
# name: (ENBW in bins, scalloping loss in dB, overlap correlation at 50 % and at 75 %).
RECOMPUTED = {
    "rectangular": (1.0, 3.922397327699, 0.5, 0.75),
    "hann": (1.5, 1.423622808437, 0.1666666666667, 0.6591549430919),
    "blackman-harris": (2.004352938217, 0.8255722309155, 0.03760186878822, 0.459985190708),
    "flat-top": (3.770246447443, 0.009778058428316, -0.01526031860347, 0.04550326122683),
}

# Coefficients c1, c2, ... of "1 - c1 cos z + c2 cos 2z - ..." and recommended overlap in per cent,
# Heinzel, appendices C and D.
FLAT_TOPS_OF_HEINZEL = {
    "HFT90D": ((1.942604, 1.340318, 0.440811, 0.043097), 76.0),
    "HFT95": ((1.9383379, 1.3045202, 0.4028270, 0.0350665), 75.6),
    "HFT116D": ((1.9575375, 1.4780705, 0.6367431, 0.1228389, 0.0066288), 78.2),
}
