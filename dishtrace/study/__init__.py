"""Studies that take more than one trace; what each is asked for is checked in `asked`.

`compare.compare` traces scenes and their variants with common random points, `comparison` tells the differences;
`figures` says what is compared, `dishes` how much one dish differs from the next by the luck of setting its facets.
`drift.leaving_times` tells how long a dish that stands still keeps its spot on the receiver; `day` follows one through
a day or a year. `tracer` traces one scene after another for them, `progress` shows how far all of it is,
`stopping` sees Ctrl-C.
"""
