"""Practices for somebody else, such as a teacher: a bundle that another posturewatch opens, and notes come back."""
