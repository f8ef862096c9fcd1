"""Scenes to frames: off-screen rendering, and what a webcam does to a frame."""
