"""posturewatch: measures a string player's wrists and fingers through an ordinary webcam."""

__version__ = "0.1.0"

__all__ = ["__version__"]
