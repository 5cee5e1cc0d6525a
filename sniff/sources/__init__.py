"""Sources of IQ: recordings, the simulated bench, the dongle. The only rooms that open them."""
