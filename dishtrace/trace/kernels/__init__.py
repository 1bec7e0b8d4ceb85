"""Device functions: scalars and arrays in, tuples out; tallies come in as arrays.

`sampling` turns point coordinates into places and directions, `mirror` meets the paraboloid, `triangles` finds hits,
`surface` decides what a hit does, `screens` records crossings, `walk` follows a ray to its end, `populations` starts
the rays of the two populations.
"""
