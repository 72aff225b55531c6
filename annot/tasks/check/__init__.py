"""Calibration checks: whole archives looked through, rooms and their objects checked over time."""
