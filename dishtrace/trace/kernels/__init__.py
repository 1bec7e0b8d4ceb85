"""Device functions: scalars and arrays in, tuples out; tallies come in as arrays.

Rays are handled 256 at once, in columns. `sampling` turns point coordinates into places and directions, `mirror` meets
facets, `batch` makes the rays that leave the mirror, `going` has the columns of light under way, `flock` takes many
rays through a tree together, by the vectors of `lanes`; `triangles` takes one. `surface` decides what a hit does,
`meeting` books what light meets, `screens` records crossings, `populations` runs the steps for the light of the mirror
and for direct light. `backward` looks from a place back to the mirror.
"""
