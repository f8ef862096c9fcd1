"""Models and settings put together to a run: the loop over frames, practice, recorded video, rest."""
