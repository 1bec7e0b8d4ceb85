"""Random scenes for the property tests: one to three parts near the focus of a dish of any outline."""

from __future__ import annotations

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from tests.support.small_scenes import part, scene_text

# The same examples in every run; a wider run raises max_examples.
QUICK = settings(
    max_examples=12, deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
SHAPES = {
    "disc": "radius_m = {a}",
    "rectangle": "size_m = [{a}, {b}]",
    "box": "size_m = [{a}, {b}, {c}]",
    "cylinder": "radius_m = {a}\nheight_m = {b}",
    "tube": "radius_m = {a}\nheight_m = {b}",
    "sphere": "radius_m = {a}",
    "cone": "radius_m = {a}\nheight_m = {b}",
    "cavity": "radius_m = {a}\ndepth_m = {b}\nopening_radius_m = {hole}",
}
CONVEX = ("box", "cylinder", "sphere", "cone")
OUTLINES = (
    'shape = "circle"\nradius_m = 0.9\nhole_radius_m = 0.12',
    'shape = "circle"\nradius_m = 0.5\ncenter_m = [0.2, -0.7]',
    'shape = "rectangle"\nsize_m = [1.8, 1.1]',
    'shape = "polygon"\nvertices_m = [[-0.9, -0.9], [0.9, -0.8], [0.7, 0.9], [0.0, 0.3], [-0.8, 1.0]]',
)
SUNS = (
    "dni_w_m2 = 1000.0",
    'dni_w_m2 = 850.0\nshape = { profile = "gaussian", sigma_mrad = 4.0 }',
    'dni_w_m2 = 850.0\nshape = { profile = "circumsolar", csr = 0.08 }',
)


def lengths(low: float, high: float) -> st.SearchStrategy[float]:
    """Lengths [m], to a tenth of a millimetre."""
    return st.integers(int(low * 1e4), int(high * 1e4)).map(lambda n: n / 1e4)


def shares(low: float = 0.0, high: float = 1.0) -> st.SearchStrategy[float]:
    """Shares in steps of 1/97, so that no product of two falls on the threshold of faint light."""
    return st.integers(int(low * 97), int(high * 97)).map(lambda n: n / 97)


@st.composite
def surfaces(draw, absorptance=None) -> str:
    """A surface by its numbers."""
    taken = draw(shares(0.15)) if absorptance is None else absorptance
    return f"absorptance = {taken}, specular_share = {draw(shares())}"


@st.composite
def parts(draw, name: str, role: str, *, shapes: tuple[str, ...] = tuple(SHAPES), absorptance=None) -> str:
    """One part within 15 cm of the focus."""
    shape = draw(st.sampled_from(shapes))
    a, b, c = (draw(lengths(0.02, 0.15)) for _ in range(3))
    size = SHAPES[shape].format(a=a, b=b, c=c, hole=round(0.6 * a, 6))
    center = [draw(lengths(0.0, 0.15)) for _ in range(3)]
    axis = [draw(st.integers(-5, 5)), draw(st.integers(-5, 5)), draw(st.sampled_from([-3, 4]))]
    place = f"center_m = {center}\naxis = {[float(x) for x in axis]}"
    return part(name, role, f'shape = "{shape}"\n{size}\n{place}', draw(surfaces(absorptance)))


@st.composite
def scenes(draw, *, absorptance=None) -> str:
    """A scene file with a receiver, often a stand and a secondary mirror."""
    text = draw(parts("pot", "receiver", absorptance=absorptance))
    if draw(st.booleans()):
        text += draw(parts("stand", "stand"))
    if draw(st.booleans()):
        center = [0.0, 0.0, -draw(lengths(0.3, 0.5))]
        text += part(
            "secondary",
            "mirror",
            f'shape = "disc"\nradius_m = 0.1\ncenter_m = {center}',
            "absorptance = 0.1, specular_share = 0.9",
        )
    dish = f"slope_error_mrad = {draw(st.integers(0, 8))}.0\nbeam_spread_mrad = {draw(st.integers(0, 3))}.0"
    mount = f'kind = "two-axis"\npointing_jitter_mrad = {draw(st.integers(0, 3))}.0'
    return scene_text(
        text, dish=dish, mount=mount, outline=draw(st.sampled_from(OUTLINES)), sun=draw(st.sampled_from(SUNS))
    )
