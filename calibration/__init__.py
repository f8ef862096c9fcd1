"""Rendered ground truth: players with exactly known wrist and finger angles, as stills and as films.

Nothing here is needed to run the program. Install the ``calibration`` extra, bake the bodies once with
``python -m calibration.bodies``, then see ``calibration.generate`` and ``calibration.demo``.
"""
