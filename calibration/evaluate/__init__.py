"""How good the measurement is, and where it fails."""
