"""What people and other programs get of a result: summary, cautions, tables, pictures, and the folder they go to.

`tables.summary` is the text in the terminal, `exports.write_tables` writes results.json and csv files,
`pictures.draw_all` the pictures; `comparison` tells several results side by side; `cautions.cautions` says what can
hurt someone; `overview.overview` describes a scene before it is traced. Only `pictures` imports the plotting library;
`fluxmap`, `spotmap`, `sideview`, `projection` and `layout` prepare what it draws.
"""
