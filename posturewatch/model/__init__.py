"""The project's data as frozen dataclasses, in the order of the flow: frame, observation, measurement, verdict,
reading."""
