"""The sun as the dish sees it: its place in the sky, its direct normal irradiance, the spread of its light.

Public: `sun_state` puts the three together for a scene and gives a `SunState`; `SunShape` holds the inverse
table that the tracer samples, `sunshape_of` makes one for a scene; `locate_sun` gives the position alone.
"""
