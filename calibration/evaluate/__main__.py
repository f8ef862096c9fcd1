"""``python -m calibration.evaluate``."""

from calibration.evaluate.report.report import main

main()
