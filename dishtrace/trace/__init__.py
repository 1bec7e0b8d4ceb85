"""Carries rays from the sun over the mirror to where they end, and writes what they meet into tallies.

`points` makes the sample points, `tree` the bounding volumes, `optics` the plain arrays that the `kernels` see;
`cpu` runs the kernels on threads, `reference` does the same physics in plain NumPy for the tests, `run` drives a run.
"""
