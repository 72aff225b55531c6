"""Synthetic cine loops with known truth; shares no code with the measuring packages."""
