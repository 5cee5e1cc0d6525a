"""How outliers of a fleet are told, from published rules."""

PER_MAD = 0.6745
"""Of the modified z score ``0.6745 (x - median) / MAD`` (Iglewicz and Hoaglin 1993; NIST/SEMATECH
e-Handbook of Statistical Methods, 1.3.5.17; from memory)."""

BEYOND = 3.5
"""Modified z scores beyond this are labelled as potential outliers (the same)."""
