"""Rendered players with the truth beside what the tracker saw of them; crops for the networks."""
