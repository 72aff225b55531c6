"""The steps, in the order in which they are applied."""
