"""Every figure in plain words: what it is, why it matters to a maker, how it is computed, and the source."""

import textwrap
from dataclasses import dataclass

_GUM = "JCGM 100, guide to the expression of uncertainty in measurement"
_SIZES, _MOMENTS = "ISO 9276-1, representation of sizes", "ISO 9276-2, mean sizes and moments"
_SHAPE, _IMAGES = "ISO 9276-6, shape of particles", "ISO 13322-1, particle sizes by static image analysis"
_OURS = "our own, no published source"


def narrow(text: str) -> str:
    """Return a long tip in lines short enough to read; tool tips of plain text are not wrapped by Qt."""
    return textwrap.fill(text, 72)


@dataclass(frozen=True)
class Words:
    """One figure explained.

    Attributes
    ----------
    place : str
        Name of the station it is met in first.
    title : str
        What the window calls it.
    what, why, how : str
        A sentence or two each.
    source : str
        Where the definition is from.
    """

    place: str
    title: str
    what: str
    why: str
    how: str
    source: str

    def tip(self) -> str:
        """Return it as a tool tip."""
        lines = self.what, f"Why: {self.why}", f"How: {self.how}", f"Source: {self.source}."
        return "\n".join(narrow(line) for line in lines)


def _percentile(percent: int, by: str) -> Words:
    of = "pieces, counted one by one," if by == "number" else "solids' volume"
    why = {
        10: "Shows how much fine dust there is; fines take up oil and thicken the paste.",
        50: "The middle size: the plainest single word for how coarse a batch is.",
        90: "Shows the coarse end. A tongue meets the coarse pieces first, so this is the one to watch.",
    }[percent]
    return Words(
        "sizes",
        f"x{percent} by {by}",
        f"{percent} % of the {of} {'are' if by == 'number' else 'is in pieces'} smaller than this.",
        why,
        "Read off the cumulative curve; each piece is weighted for how easily the frame cuts it.",
        _SIZES,
    )


def _moment(p: int, q: int, what: str, why: str) -> Words:
    how = f"Sum of x to the power {p} over sum of x to the power {q}"
    how += f", its root of order {p - q}." if p - q > 1 else "."
    return Words("sizes", f"D[{p},{q}]", what, why, how, _MOMENTS)


_MEAN = "Volume-weighted means move when a single large piece is found or missed; look at the interval too."

HELP: dict[str, Words] = {
    "um_per_px": Words(
        "scale",
        "µm per px",
        "How many thousandths of a millimetre one pixel of the picture is.",
        "Every size hangs on it. An error of 1 % here is 1 % on every size and 3 % on every volume.",
        "A straight grid is fitted to the lines of the stage micrometer; its step is the scale.",
        _IMAGES,
    ),
    "scale_uncertainty": Words(
        "scale",
        "± of the scale",
        "The true scale lies within this interval in about 95 of 100 cases.",
        "It cannot be made smaller by counting more pieces, only by a better ruling.",
        "Scatter of the lines and the certificate, added as squares, times the coverage factor k = 2.",
        _GUM,
    ),
    "cover": Words(
        "fields",
        "Cover",
        "Share of the picture that pieces cover.",
        "Too full and pieces touch and are taken for one; too thin and you need many pictures.",
        "Area inside the outlines over the area that is measured.",
        _OURS,
    ),
    "contacts": Words(
        "fields",
        "Chance contacts",
        "Share of pieces expected to touch another by mere chance.",
        "Each contact must be cut apart, and each cut is an estimate.",
        "1 − exp(−4 × cover), for pieces strewn at random.",
        "statistics of points strewn at random (Poisson)",
    ),
    "edge_width": Words(
        "fields",
        "Edge width",
        "How many pixels an edge takes from oil to piece; half of the pieces have a softer one.",
        "Out of focus, pieces look larger and small ones vanish.",
        "Width of the step of colour across each outline.",
        _OURS,
    ),
    "unevenness": Words(
        "fields",
        "Uneven light",
        "How much the brightness of clear oil differs over the picture, where 0 is black and 100 white.",
        "Uneven light makes pieces in dark corners look larger; a picture of blank oil takes it out best.",
        "Range of the lightness L* of the oil between the pieces.",
        "CIE 1976 L*a*b* for lightness",
    ),
    "lower_limit": Words(
        "fields",
        "Lower limit",
        "Pieces smaller than this are not counted.",
        "Figures by number depend on it strongly. Compare batches only above the largest limit of all.",
        "The smallest piece with enough pixels and a sharp enough edge to be measured.",
        _IMAGES,
    ),
    "size": Words(
        "particles",
        "Size",
        "Diameter of a circle of the same area as the piece, also written x with a small A (xₐ).",
        "One number for a piece of any shape; all sizes here are this one unless another is named.",
        "Root of 4 × area / π, the area from the outline between the pixels.",
        _IMAGES,
    ),
    "feret": Words(
        "particles",
        "Feret diameters",
        "Longest and shortest distance between two parallel lines that touch the piece on both sides.",
        "Long splinters and flat flakes are felt otherwise than round grains.",
        "From the hull of the outline, over all directions.",
        _IMAGES,
    ),
    "circularity": Words(
        "particles",
        "Circularity",
        "1 for a circle, less for anything longer or more ragged.",
        "Rounder pieces glide; ragged ones scratch.",
        "Root of 4 π × area / perimeter².",
        _SHAPE,
    ),
    "solidity": Words(
        "particles",
        "Solidity",
        "1 for a shape without dents, less for one with bays and notches.",
        "A low value often means two pieces taken for one.",
        "Area over the area of the hull.",
        _SHAPE,
    ),
    "doubt": Words(
        "particles",
        "Doubt",
        "How likely something about this piece is wrong: its outline, its kind, or that it is one piece.",
        "Look at the pieces with the most doubt first; that mends the most in the least time.",
        "All reasons for distrust weighed together; the reasons stand with the piece.",
        _OURS,
    ),
    **{f"{by}.x{p}_um": _percentile(p, by) for by in ("number", "volume") for p in (10, 50, 90)},
    "number.mean_um": Words(
        "sizes",
        "Mean by number",
        "The plain average of all sizes.",
        "Follows the many fine pieces, and so the lower limit; it says little about the coarse ones.",
        "Sum of the sizes over their number.",
        _MOMENTS,
    ),
    "number.geometric_mean_um": Words(
        "sizes",
        "Geometric mean",
        "The middle of the sizes on a scale of ratios.",
        "Steadier than the plain mean, because sizes spread by factors.",
        "exp of the mean of ln x.",
        _MOMENTS,
    ),
    "number.geometric_sd": Words(
        "sizes",
        "Geometric standard deviation",
        "The typical factor between a size and the geometric mean; 1 would be all alike.",
        "A wide spread of sizes packs closer; it changes how a paste flows.",
        "exp of the standard deviation of ln x.",
        "ISO 9276-5, log-normal distributions",
    ),
    "volume.mean_um": Words(
        "sizes",
        "Mean by volume",
        "Average size where each piece counts by its volume.",
        _MEAN,
        "Sum of volume × size over the sum of volumes, the volume after the model of each kind.",
        _MOMENTS,
    ),
    "span": Words(
        "sizes",
        "Span",
        "How wide the sizes spread around their middle; 0 would be all alike.",
        "A falling span means that the mill breaks the coarse pieces rather than making more dust.",
        "(x90 − x10) / x50, by volume.",
        "common practice, no source",
    ),
    "means_um.D[1,0]": _moment(1, 0, "The plain mean of all sizes.", "For comparing with counts by eye."),
    "means_um.D[2,0]": _moment(
        2, 0, "Size of a piece with the mean area.", "For comparing with measurements by projected area."
    ),
    "means_um.D[3,0]": _moment(
        3, 0, "Size of a piece with the mean volume.", "Tells how many pieces a gram of solids holds."
    ),
    "means_um.D[3,2]": _moment(
        3,
        2,
        "Mean weighted by surface.",
        "Six over it is the surface per volume: how much fat it takes to wet the solids.",
    ),
    "means_um.D[4,3]": _moment(4, 3, "Mean weighted by volume, were all pieces of one shape.", _MEAN),
    "interval": Words(
        "sizes",
        "95 % interval",
        "Where the figure would lie for the whole batch, in about 95 of 100 such measurements.",
        "Two batches differ only if their difference is larger than what chance does.",
        "Fields are drawn again at random many times (bootstrap). What coarse pieces too rare to be among "
        "those seen may add widens the upper side, and the doubt about scale and edges both sides.",
        _GUM,
    ),
    "felt_share": Words(
        "sizes",
        "Felt share",
        "Share of the solids' volume in pieces of a size that a tongue is likely to feel.",
        "It follows mouthfeel better than any one size. The limits are yours to change under Limits.",
        "Each kind has a size nobody feels and one all feel; between them the chance rises with ln x.",
        "Engelen et al. 2005, Imai et al. 1999, Tyle 1993; the limits of each kind stand under Limits",
    ),
    "strays": Words(
        "sizes",
        "Strays",
        "Single pieces far larger than the rest.",
        "One in a spoonful can spoil it, though it hardly moves a mean. Few pictures cannot rule them out.",
        "Pieces beyond the size that all feel; none seen still allows up to 3.7 (exact 95 % limit).",
        "Poisson limits, Garwood 1936",
    ),
    "budget": Words(
        "sizes",
        "Where the doubt comes from",
        "How much each source adds to the width of the interval.",
        "Tells what to do next: more fields, a better scale, a sharper picture, or more corrections.",
        "Shares of the variance.",
        _GUM,
    ),
    "ratio": Words(
        "compare",
        "Ratio",
        "How many times larger a figure of one batch is than that of another.",
        "An interval that leaves out 1 shows a difference; otherwise there may be none.",
        "Both batches are drawn again at random many times and divided.",
        "bootstrap, Efron and Tibshirani 1993",
    ),
    "common_range": Words(
        "compare",
        "Common range",
        "The sizes that were counted in all batches compared.",
        "A batch with finer limits would otherwise look finer than it is.",
        "Pieces below the largest lower limit of all are left out.",
        _OURS,
    ),
    "grind_curve": Words(
        "compare",
        "Grind curve",
        "How the size falls with passes or minutes.",
        "Answers how much longer to grind; more than that wastes time and warms the paste.",
        "Laws of grinding fitted through your batches; the forecast band grows away from them.",
        "laws of grinding named beside the curve",
    ),
    "panel_limit": Words(
        "tasting",
        "Limit of the panel",
        "The size your own tasters just notice in your own paste.",
        "Published limits are from other foods; this one is yours.",
        "Best-estimate threshold of an ascending series, as a geometric mean.",
        "ASTM E679",
    ),
    "triangle": Words(
        "tasting",
        "Triangle test",
        "Three samples, two of them alike; each taster picks the odd one.",
        "Shows whether a difference is noticed at all before you spend money on it.",
        "Right answers against the one in three that guessing gives (binomial).",
        "ISO 4120",
    ),
}


def tip(name: str) -> str:
    """Return the tool tip of a figure, empty where there is none."""
    return HELP[name].tip() if name in HELP else ""
