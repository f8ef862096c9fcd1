"""What the camera sees from where it stands: how well that measures, what it is off by, whether it was moved."""
