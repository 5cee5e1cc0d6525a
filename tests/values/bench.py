"""Figures that the simulated bench must show, from outside it."""

QUANTIZATION_NOISE_DBFS = -49.89
"""Total quantisation noise of unsigned 8-bit IQ about 127.5, full scale 127.5. Closed form: a
step D = 1/127.5 leaves D²/12 in each of I and Q (Bennett, Bell Syst. Tech. J. 27, 1948)."""

QUANTIZATION_NOISE_OF_A_TONE_DBFS = -49.79
"""The same under a line of amplitude 0.99, which dwells near its peaks: simulated by others."""

DC_OFFSET_OF_HALF_A_STEP_DBFS = -45.1
"""Level of half a step of offset on both I and Q: |0.5 / 127.5| sqrt(2)."""

FIR_LOSS_DB = ((0.5e6, 0.06), (0.8e6, 0.62), (0.96e6, 1.3), (1.2e6, 3.0), (1.44e6, 5.9))
"""Loss of the demodulator's fixed 32-tap filter, Hz and dB: worked out from its coefficients in
the driver's source, facts sheet of the dongle, section 4."""

IF_FILTERS_HZ = ((240e3, 290e3, 1925e3), (2.4e6, 1953e3, 1530e3))
"""Sample rate, and for a bandwidth of 0.8 of it the IF filter's -3 dB width and the IF: the
driver's table, facts sheet of the dongle, 3.6."""

SPUR_MULTIPLES_HZ = {1: 28.8e6, 2: 57.6e6, 3: 86.4e6, 6: 172.8e6, 15: 432.0e6, 20: 576.0e6}
"""Multiples of its clock at which the dongle hears itself: its facts sheet, section 4."""

GAIN_STEPS_DB = (0.0, 0.9, 8.7, 28.0, 29.7, 40.2, 48.0, 49.6)
"""Some of the 29 steps of the tuner's gain: the driver's table, facts sheet, section 4."""

BESSEL = {
    # modulation index: |J0|, |J1|, |J2| (Abramowitz and Stegun 1964, tables 9.1 and 9.2)
    0.2: (0.990025, 0.099501, 0.004983),
    1.0: (0.765198, 0.440051, 0.114903),
    2.0: (0.223891, 0.576725, 0.352834),
    5.0: (0.177597, 0.327579, 0.046565),
}
"""Line amplitudes of an FM carrier with one tone, relative to the unmodulated carrier."""

CARRIER_NULL = 2.4048255577
"""First zero of J0 (Abramowitz and Stegun 1964, table 9.5)."""

PILOT_HZ = 32_768.0
"""Pilot tone of analogue wireless microphones, the 2**15 Hz of a watch crystal (common
practice)."""
