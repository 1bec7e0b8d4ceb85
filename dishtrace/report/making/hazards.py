"""What can hurt someone at the bench and while aligning; the words on concentrated light stand in `report.cautions`."""

from __future__ import annotations

from dishtrace.report.cautions import CODES, Caution

ALIGNING = Caution(
    "eyes",
    "Align with all facets covered but one, and from the side: never put your eyes where an image falls, nor look into "
    "a facet along its beam. One facet is as bright as the sun; several on one place burn. A lamp is the safer light.",
    "common practice",
)
SUN = Caution(
    "fire",
    "Uncovered facets throw light on whatever stands in front of the dish, even far from the focus. Cover the mirror "
    "or turn it from the sun before you leave it, and keep whatever burns away from the board.",
    "common practice",
)
EDGES = Caution(
    "edges",
    "Cut glass and sheet metal have edges like knives, and sheet under bend springs back: gloves, sleeves, eye "
    "protection, clamps.",
    "common practice",
)
WIND = Caution(
    "wind",
    "Nothing here says that frame, ribs or mount are strong enough: wind on a dish is a heavy load, which these "
    "drawings do not look at.",
    "common practice",
)


def making_cautions() -> tuple[Caution, ...]:
    """Cautions for everyone who makes and aligns a mirror."""
    return (ALIGNING, SUN, EDGES, WIND, Caution("codes", CODES, "common practice"))
