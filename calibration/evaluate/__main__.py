"""``python -m calibration.evaluate``."""

from calibration.evaluate.report import main

main()
