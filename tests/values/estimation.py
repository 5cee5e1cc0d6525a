"""Bounds of frequency estimation.

Source: D. C. Rife and R. R. Boorstyn, *Single-tone parameter estimation from discrete-time
observations*, IEEE Trans. Inf. Theory IT-20(5), 591-598, 1974. The formula is from memory and was
confirmed by Monte Carlo outside this project; SNR is A² over the total complex noise power per
sample.
"""

CRAMER_RAO_CYCLES_PER_SAMPLE = {
    # (samples, SNR in dB): standard deviation of the frequency, cycles per sample
    (1024, 0.0): 1.189723469578e-05,
    (1024, 20.0): 1.189723469578e-06,
    (4096, 0.0): 1.487153672162e-06,
    (4096, -10.0): 4.702792834715e-06,
    (262144, 40.0): 2.904596929399e-11,
}

# C/N0 = 40 dB Hz over 1 s: 3.898e-3 Hz, the same bound in its form for long takes.
CARRIER_TO_NOISE_40_DB_HZ_1_S_HZ = 3.898e-3
