"""The numbers a plan of the count asks for, in the words of the bench."""

from app.stations.plan_entry import Asked
from measure.sizes.composition import CONSTITUENTS
from measure.sizes.plan_rare import SALT_G_PER_CM3

EXPECTED = (
    Asked(
        "median_um", "Median", "µm",
        "Half of the pieces are smaller, counted one by one. A guess will do for the first batch.",
        0.5, 5000, 20,
    ),
    Asked(
        "sigma_g", "Spread", "times",
        "Geometric standard deviation: two pieces of three lie between the median over it and the median "
        "times it. 1.3 is narrow, 1.6 usual, 2 wide.",
        1.01, 10, 1.6,
    ),
)  # fmt: skip
WANTED = (
    Asked(
        "relative_error", "Within ±", "%",
        "Half of the 95 % interval you want of the figure above", 0.1, 90, 10, per_cent=True,
    ),
    Asked(
        "variation", "Fields differ by", "%",
        "How much the figure differs from field to field beyond the chance of the pieces; 10 % where the "
        "paste is stirred well",
        0, 90, 10, per_cent=True,
    ),
)  # fmt: skip
SLIDE = (
    Asked("field_width_um", "Field, wide", "µm", "Width of one picture on the slide", 10, 50_000, 1200),
    Asked("field_height_um", "Field, high", "µm", "Height of one picture on the slide", 10, 50_000, 900),
    Asked("film_um", "Film", "µm", "Height between slide and cover glass", 5, 500, 50),
    Asked(
        "cover", "Cover", "%",
        "Share of a picture that pieces shall cover; 1 to 3 % keeps most of them apart", 0.1, 50, 1.3,
        per_cent=True,
    ),
    Asked(
        "smallest_um", "Lower limit", "µm", "Smaller pieces will not be counted", 0.1, 1000,
    ),
    Asked(
        "slides", "Slides", "", "Each from a dab of its own, from another depth of the jar", 1, 50, 3,
        whole=True,
    ),
)  # fmt: skip
SOLIDS = Asked(
    "solids", "Solids", "% of volume",
    "All of the paste but its fat; about 45 % in nut and seed pastes", 1, 99, 45, per_cent=True,
)  # fmt: skip
LABEL = tuple(
    Asked(
        name, name.capitalize(), "g in 100 g", f"{name.capitalize()} in 100 g, as on the label", 0, 100,
        empty="none",
    )
    for name in CONSTITUENTS
)  # fmt: skip
OPTICS = (
    Asked(
        "na", "Aperture (NA)", "", "Numerical aperture as printed on the objective, such as 0.25", 0.005, 1.6
    ),
    Asked("magnification", "Magnification", "times", "Of the objective on the camera", 0.1, 500),
    Asked("camera_px_um", "Camera pixel", "µm", "Pixel of the camera's chip, from its data sheet", 0.2, 50),
)
RARE = (
    Asked(
        "above_um", "Pieces above", "µm", "How many pieces above this size are to be expected", 0.5, 10_000
    ),
    Asked(
        "rare_share", "Rare kind", "% of pieces", "A kind that is few of the pieces, such as shell",
        0.0001, 99, per_cent=True,
    ),
    Asked(
        "grains_share", "Coarse grains", "% of mass", "Grains such as salt, by mass: paste to be sampled",
        0.001, 99, per_cent=True,
    ),
    Asked("grains_um", "Largest grain", "µm", "Nearly all of the grains' mass is finer than this", 1, 10_000),
    Asked(
        "grain_g_per_cm3", "Grain density", "g/cm³", "2.165 is that of salt", 0.5, 20, SALT_G_PER_CM3
    ),
)  # fmt: skip
ALL = (*EXPECTED, *WANTED, *SLIDE, SOLIDS, *LABEL, *OPTICS, *RARE)
