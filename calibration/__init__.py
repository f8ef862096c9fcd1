"""Rendered ground truth: players with exactly known wrist and finger angles, as stills and as videos.

Nothing here is needed to run the program. Install the ``calibration`` extra, bake the bodies once with
``python -m calibration.body.bodies``, then see ``calibration.dataset.generate`` and ``calibration.dataset.demo_video``.
"""
