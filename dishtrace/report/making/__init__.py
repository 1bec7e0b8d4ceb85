"""The making documents: what a builder takes to the bench to make the mirror of a scene.

`facet_table` lists where each facet sits and how high its corners stand, `cutting` unrolls facets flat and `nesting`
lays them on sheets, `moulds` gives the curve of what cannot be unrolled, `ribs` the profiles of sections, `aligning`
the places where images must fall. `gather` works all of it out, `files` writes it. `plan`, `cut_sheets` and
`rib_drawing` make sketches in millimetres, which `drawing_dxf`, `drawing_svg` and `tiles_pdf` write. Lengths are metres
until they enter a sketch.
"""
