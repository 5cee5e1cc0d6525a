"""Published numbers that the tests check against; each file cites its source and evidence."""
