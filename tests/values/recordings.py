"""Facts about sample formats and the shipped recordings, each with its source."""

SIGMF_COMPLEX_TYPES = {
    # SigMF specification 1.2.6, schema of core:datatype ("^(c|r)(f32|f64|i32|i16|u32|u16|i8|u8)
    # (_le|_be)?"), complex ones; with the numpy type of I and of Q.
    "cf64_le": "<f8",
    "cf64_be": ">f8",
    "cf32_le": "<f4",
    "cf32_be": ">f4",
    "ci32_le": "<i4",
    "ci32_be": ">i4",
    "ci16_le": "<i2",
    "ci16_be": ">i2",
    "cu32_le": "<u4",
    "cu32_be": ">u4",
    "cu16_le": "<u2",
    "cu16_be": ">u2",
    "ci8": "i1",
    "cu8": "u1",
}

U8_QUANTISATION_DBFS = -49.89
"""Step²/12 for each of I and Q, step 1/127.5: 10 log10(127.5⁻²/6) (uniform quantiser, Widrow)."""

U8_MIDPOINT_128_DC_DBFS = -45.1
"""Line at the centre when 128 is taken for the middle of u8: 20 log10(sqrt(2) * 0.5 / 127.5)."""

GLOBAL_INDEX_EXAMPLE = ((0, 0), (500, 1000))
"""sample_start and global_index of two captures: SigMF 1.2.6, example under core:global_index
("500 samples were lost")."""

HEADER_BYTES_EXAMPLE = {"starts": (0, 500), "header_bytes": 4, "offsets": (4, 1008)}
"""Two captures of cu8 with 4-byte headers, and where their samples lie in the file: SigMF 1.2.6,
example under core:header_bytes."""

SHIPPED = {
    # name: rate Hz, centre Hz, samples, SHA-256 of the samples as published. The first two are
    # the authors' statements, the others those of the file as downloaded (its .json).
    "nfm_voice_144.470M_280k": (
        280e3,
        144.470e6,
        1_728_000,
        "89a3a2baeaeb2798430e8dff8927a73aa6d3ba4ddba1b5131761dff87642b9c1",
    ),
    "ook_433.800M_1000k": (
        1e6,
        433.800e6,
        500_000,
        "caaf512f638273633d7d764f6882cec08acd5083ca17b265a52990dab980e28d",
    ),
    "wmbus_t1_868.950M_1600k": (
        1.6e6,
        868.950e6,
        1_048_576,
        "012e3369149fca9837d083130e07a179a6a77117c29cb24f586b2287bd9783d2",
    ),
}

SHIPPED_RMS_DBFS = {
    # Independent script of whoever chose the recordings, to 0.1 dB.
    "nfm_voice_144.470M_280k": -3.9,
    "ook_433.800M_1000k": -10.0,
    "wmbus_t1_868.950M_1600k": -15.7,
}
