"""The dish: its paraboloid, its outline as seen along the axis, and how the mount turns it to the sun.

Public: `outline_of` and `Outline` (outline.py), `pose`, `Pose`, `placed_mirror` and `PlacedMirror` (mount.py), and
the plain functions of paraboloid.py.
"""
