"""Before a practice is recorded: choices, a look through the camera, and what is measured of the player."""
