"""Receivers, stands, secondary mirrors and covers as triangles in the dish frame.

Public: `part_meshes` and `PartMesh` (assemble.py), `Chart` (charts.py); the shapes are in sheets.py,
solids.py, cavity.py and meshes.py.
"""
