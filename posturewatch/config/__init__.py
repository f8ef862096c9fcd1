"""Files to values: settings, limit profiles, instruments, resources."""
