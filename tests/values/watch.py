"""Values for watching a line in time, from outside the project."""

# Rice, Bell System Technical Journal 24 (1945) 46, sec. 3.10, in its limits: without a line the
# power of one complex sample of Gaussian noise is exponentially distributed, P(> x) = exp(-x), and
# the mean of M such has 2 M degrees of freedom: for M = 2, P(sum > x) = (1 + x) exp(-x).

# What is asked of a watch: drop-outs found, timed, told apart; false ones.
FOUND = 0.99
WITHIN_S = 1e-3
RIGHT = 0.95
FALSE_PER_HOUR = 1.0 / 24.0
