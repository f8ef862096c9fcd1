"""Exposure over time: what a practice adds up to, what stands out in it, and how weeks compare. Pure."""
