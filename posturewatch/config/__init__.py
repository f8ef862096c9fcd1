"""Files to values: settings, limit profiles, instrument profiles, resources."""
