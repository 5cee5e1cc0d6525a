"""The live bench page: the line board on a screen across the bench, as it is now."""
