"""GUM worked examples.

Source: JCGM 100:2008, H.1 (end gauge; inputs and results found in public text) and H.2
(simultaneous resistance and reactance, correlated inputs; remembered, all printed digits
recomputed).
"""

H1_TERMS_NM = {
    # input: (contribution, degrees of freedom)
    "length of the standard": (25.0, 18.0),
    "difference": (9.7, 25.6),
    "difference of expansion": (2.9, 50.0),
    "difference of temperature": (16.6, 2.0),
}
H1_COMBINED_NM = 31.71  # printed as 32
H1_DEGREES = 16.66  # printed truncated, 16

H2_MEANS = (4.999, 19.661e-3, 1.04446)  # V, A, rad
H2_U = (0.0032093613, 9.4710084e-06, 0.00075206383)
H2_CORRELATIONS = {(0, 1): -0.3553112, (0, 2): 0.8576242, (1, 2): -0.6451112}
H2_RESISTANCE = (127.732, 0.071)
H2_REACTANCE = (219.847, 0.2956)
