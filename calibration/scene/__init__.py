"""A player in a room: instrument, pose, movement, camera, clothes and light, from a seed."""
