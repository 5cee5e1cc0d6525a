"""Published parameters of multiplexes.

Sources: EN 300 401, clause 14 and table 38 (DAB mode I) and EN 300 744, clauses 4.4 to 4.5 and
table 7 (DVB-T); the numbers are from memory, each held against the sums that the standards state
beside them (frame 196 608 T; 45 and 177 continual pilots; all pilots at multiples of three).
"""

DAB = {
    "rate_hz": 2_048_000.0,  # 1 / T
    "frame_t": 196_608,
    "frame_s": 96e-3,
    "null_t": 2_656,
    "symbol_t": 2_552,
    "useful_t": 2_048,
    "guard_t": 504,
    "symbols": 76,  # the null symbol not counted
    "carriers": 1_536,
    "spacing_hz": 1_000.0,
}

# mode: useful part, s; spacing, Hz, as printed; carriers; continual pilots, for 8 MHz channels
DVBT_8MHZ = {
    2: (224e-6, 4464.0, 1_705, 45),
    8: (896e-6, 1116.0, 6_817, 177),
}
DVBT_BANDWIDTH_HZ = 7.61e6
DVBT_SCATTERED_EVERY = 12  # carriers; the places move by 3 from symbol to symbol
DVBT_BOOST = 4.0 / 3.0  # amplitude of pilots

# Elementary period, s, by channel width
DVBT_T_S = {8: 7 / 64e6, 7: 1 / 8e6, 6: 7 / 48e6}
