"""Regression guards: bounds a little beyond what the weights in use reach today.

They notice that something broke. They say nothing of how good the measurement is: `python -m calibration.evaluate`
says that, and `calibration/MODEL_CARD.md` keeps it. With other weights they are set anew from what it prints. What is
held against something outside instead, such as that a 90 % interval holds nine in ten, stands in the tests themselves.
"""

from __future__ import annotations

# ---- single pictures: what the tracker saw of the test players (`calibration.evaluate`, first table)
#: Mean absolute error in degrees of the hands that get a number: flexion, deviation.
WRIST_ERROR_DEG = (6.1, 6.2)
#: Of the hands found under the right side, the share that gets both numbers.
REPORTED_OF_FOUND = 0.91
#: Of the hands found, the share that gets its own side.
OWN_SIDE = 0.96
#: How far the intervals' coverage may lie from 0.9: over all hands, and in one framing.
COVERAGE_OFF, COVERAGE_OFF_FRAMING = 0.05, 0.06
#: Numbers given to no hand, or under the wrong side, of those given.
REPORTED_WRONGLY = 0.015
#: Of the fretting hands in view, in each framing: found, and given both numbers.
FRETTING_FOUND, FRETTING_REPORTED = 0.88, 0.84
#: Outputs given of either kind of hand, together; the coverage of each.
OUTPUTS_REPORTED, OUTPUT_COVERAGE = 10, 0.84

# ---- lifts of the fingers that are given
LIFTS_REPORTED, LIFT_REPORTED_SHARE, LIFT_ERROR_MM, LIFT_COVERAGE_OFF = 3, 0.9, 5.3, 0.04
#: In the middle, of fingers truly above 25 mm and of those that are down; the chance to tell one from the other.
LIFT_HIGH_MM, LIFT_DOWN_MM, LIFT_RANKED = 18.0, 1.5, 0.85

# ---- the pictures from file to angle
PICTURES_FOUND, PICTURES_OWN_SIDE, PICTURES_REPORTED = 0.9, 0.94, 0.85
PICTURES_ERROR_DEG, PICTURES_COVERAGE, FOREARM_AXIS_DEG = 7.5, 0.8, 4.0

# ---- the demo video, which is one view of one player
DEMO_REPORTED, DEMO_FLEXION_DEG, DEMO_MEAN_DEG, DEMO_WORST_DEG = 0.9, 3.0, 4.0, 5.0
#: Share of the truth inside the 90 % intervals: of the flexions, and of all four angles.
DEMO_FLEXION_COVERAGE, DEMO_COVERAGE = 0.9, 0.85
DEMO_LIFTS, DEMO_LIFT_MM, DEMO_LIFT_SHARE_OFF = 3, 4.3, 0.15
