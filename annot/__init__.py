"""Measure stored angiography and echo loops; the public names are in the rooms."""
