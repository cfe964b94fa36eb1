"""The looks: what lies in the oil, how it is lit, what the camera does. Some are held back from tuning."""

from dataclasses import dataclass, field

import numpy as np

from .body import CLEAR, Stuff
from .camera import Camera
from .optics import AIR, PLANT, SALT

TUNE_SEEDS = (3, 14, 27)
REPORT_SEEDS = (1001, 1002, 1003)
UM_PER_PX = 0.5
LIMIT_PX = 14.0  # lower size limit, area-equivalent diameter
HELD = (
    "kernels_facets",
    "curled_skins",
    "crossing",
    "sharpened",
    "dark_field",
    "amber",
    "bubbles_fibres",
    "mixed",
)


@dataclass(frozen=True)
class Look:
    """One condition. ``make`` maps a maker of stuff to its share of the pieces."""

    says: str
    make: dict[str, float]
    pieces: int = 110  # at 1200 px wide; stopped early by ``cover``
    cover: float = 0.15
    median_px: float = 34.0
    spread: float = 0.5  # log-normal sd
    touch: float = 0.12
    cross: float = 0.0
    height_px: float = 1.5  # sd
    far: float = 0.0  # share of pieces far out of focus
    focus_px: float = 2.0  # of the stage; its sign differs from picture to picture
    aperture: float = 0.16
    lamp: float = 0.06
    sharp_px: float = 0.8
    haze: float = 0.35  # thousands of specks below the limit
    bubbles: int = 0
    fibres: int = 0
    cut: bool = False
    light: str = "through"  # through, dark, reflected
    camera: Camera = field(default_factory=Camera)


def stuff(name: str, rng: np.random.Generator, roast: float = 0.5) -> Stuff:
    """Draw the material of one piece.

    Light roast scatters nearly evenly (blue a little more, as fine grains do); dark roast absorbs blue.
    Guessed from the look of roasted nuts; no source.
    """
    tone = np.array([1.0, 1.20 + 0.25 * roast, 1.65 + 0.85 * roast])
    vary = np.exp(rng.normal(0.0, 0.33)) * np.exp(rng.normal(0.0, 0.03, 3))
    mean = float(vary.mean())
    if name == "kernel":
        base = 0.21 * tone * vary
        return Stuff("kernel", tuple(base), PLANT * 0.35, 0.75, 0.28, (0.80, 0.68, 0.48))
    if name == "pale":
        base = 0.012 * tone * vary
        return Stuff(CLEAR, tuple(base), PLANT * 0.45 * mean, 0.42, 0.10, (0.75, 0.72, 0.62))
    if name == "weak":
        base = 0.075 * tone * vary
        return Stuff("kernel", tuple(base), PLANT * 0.30, 0.55, 0.25, (0.55, 0.48, 0.36))
    if name == "skin":
        base = np.array([0.16, 0.36, 0.60]) * vary
        return Stuff("skin", tuple(base), PLANT * 0.5, 0.25, 0.22, (0.50, 0.26, 0.14))
    if name == "salt":
        return Stuff("salt", (0.004, 0.004, 0.006), SALT, 0.9, 0.05, (0.80, 0.82, 0.84))
    if name == "bubble":
        return Stuff(
            "other", (0.0, 0.0, 0.0), AIR, float(rng.uniform(0.35, 0.9)), 0.0, (0.9, 0.9, 0.9), "bubble"
        )
    if name == "fibre":
        grey = 0.05 * mean
        return Stuff("other", (grey, grey, grey * 1.2), 0.055, 0.6, 0.1, (0.8, 0.8, 0.85), "fibre")
    raise KeyError(name)


_AMBER = Camera(tint=(0.74, 0.56, 0.20), vignette=0.42, gradient=0.18, electrons=9000, jpeg=85, sharpen=0.3)
_GREY = Camera(grey=True, mosaic=False, tint=(0.62, 0.62, 0.62), electrons=7000, sharpen=0.2, jpeg=0, dust=5)
_PHONE = Camera(tint=(0.78, 0.80, 0.78), sharpen=1.5, jpeg=65, electrons=6000, saturation=1.3, chroma=0.002)
_DARK = Camera(tint=(0.012, 0.013, 0.016), electrons=9000, read=18, sharpen=0.4, jpeg=92, vignette=0.2)
_COOL = Camera(tint=(0.60, 0.66, 0.70), electrons=10_000, jpeg=80, gradient=0.2, chroma=0.0015)
_WARM = Camera(tint=(0.80, 0.74, 0.58), electrons=16_000, jpeg=90, vignette=0.2)

LOOKS: dict[str, Look] = {
    "thick_kernels": Look("absorbing kernels, soft dark edges", {"kernel": 1}, camera=_WARM),
    "kernels_facets": Look(
        "kernels and salt with facets", {"kernel": 0.6, "salt": 0.4}, camera=_COOL, lamp=0.15, focus_px=3.0
    ),
    "pale_edges": Look(
        "pale pieces seen by their edge line", {"pale": 1}, median_px=42, touch=0.06, focus_px=6.0, haze=0.08
    ),
    "curled_skins": Look(
        "curled skins and flakes among kernels", {"skin": 0.7, "kernel": 0.3}, median_px=48, camera=_WARM
    ),
    "dense_touching": Look(
        "crowded and touching", {"kernel": 0.8, "weak": 0.2}, pieces=420, cover=0.35, touch=0.75, spread=0.45
    ),
    "crossing": Look(
        "pieces across one another", {"kernel": 0.7, "skin": 0.3}, cross=0.4, median_px=46, pieces=130,
        cover=0.25, height_px=3.0,
    ),
    "depth": Look(
        "deep film, many out of focus", {"kernel": 0.85, "salt": 0.15}, height_px=9.0, far=0.12, camera=_COOL
    ),
    "sharpened": Look(
        "firmware overshoot and JPEG", {"kernel": 0.6, "skin": 0.2, "salt": 0.2}, camera=_PHONE, sharp_px=1.2
    ),
    "grey_haze": Look("grey camera, fine haze", {"kernel": 0.6, "weak": 0.4}, haze=1.0, camera=_GREY),
    "dark_field": Look(
        "dark field", {"kernel": 0.7, "salt": 0.3}, light="dark", camera=_DARK, haze=0.4, cover=0.10
    ),
    "reflected": Look(
        "light from above on a dark ground", {"kernel": 0.7, "skin": 0.2, "salt": 0.1}, light="reflected",
        camera=_DARK, lamp=0.5, haze=0.3,
    ),
    "amber": Look(
        "amber oil, strong vignetting", {"kernel": 0.5, "weak": 0.25, "skin": 0.25}, camera=_AMBER, cover=0.12
    ),
    "cut_by_frame": Look(
        "large pieces, many cut by the frame", {"kernel": 0.8, "skin": 0.2}, median_px=110, spread=0.6,
        pieces=40, cover=0.30, cut=True, camera=_COOL,
    ),
    "bubbles_fibres": Look(
        "air bubbles and fibres among kernels", {"kernel": 1}, bubbles=14, fibres=5, pieces=70, cover=0.2
    ),
    "air_and_threads": Look(
        "bubbles and fibres among kernels and skins, cool light", {"kernel": 0.75, "skin": 0.25}, bubbles=10,
        fibres=3, pieces=70, cover=0.15, camera=_COOL, focus_px=3.0,
    ),
    "some_crossing": Look(
        "a few kernels across one another, warm light", {"kernel": 0.9, "weak": 0.1}, cross=0.3, median_px=44,
        pieces=110, cover=0.22, camera=_WARM,
    ),
    "salt_in_oil": Look(
        "mostly salt, facets, fringes", {"salt": 0.75, "kernel": 0.25}, focus_px=1.0, lamp=0.1, median_px=40,
        camera=_WARM,
    ),
    "mixed": Look(
        "everything at once", {"kernel": 0.4, "skin": 0.2, "salt": 0.2, "weak": 0.1, "pale": 0.1}, bubbles=5,
        fibres=2, cross=0.1, touch=0.25, height_px=4.0, far=0.04, haze=0.5, cut=True, cover=0.22, pieces=180,
        camera=Camera(jpeg=75, sharpen=0.8, gradient=0.2, vignette=0.2, electrons=8000),
    ),
}  # fmt: skip
