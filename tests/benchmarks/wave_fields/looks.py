"""The conditions: how the microscope is set, and what lies in the film. Seeds below 1000 are for tuning."""

from dataclasses import dataclass, field

from .imaging import Optics

TUNE_SEEDS = (11, 12)
REPORT_SEEDS = (1011, 1012)
LIMIT_PX = 12.0  # lower size limit asked of the program, area-equivalent diameter


@dataclass(frozen=True)
class Camera:
    """Lamp and camera: light of clear oil (1 is the white level), its fall, full well, the file."""

    tint: tuple[float, float, float] = (0.66, 0.64, 0.58)
    gradient: float = 0.08
    vignette: float = 0.10
    electrons: float = 9000.0
    read: float = 12.0
    gamma: float = 2.2
    jpeg: int = 0
    grey: bool = False


@dataclass(frozen=True)
class Look:
    """One condition; sizes in px of the camera, heights in um."""

    mix: dict[str, float]
    median_px: float = 40.0
    spread: float = 0.45
    cover: float = 0.13
    touch: float = 0.1
    cross: float = 0.02
    cut: float = 0.1
    levels_um: tuple[float, ...] = (0.0,)  # heights of the slices
    roast: tuple[float, float] = (0.4, 1.0)
    bubbles: int = 0
    fibres: int = 0
    dark: bool = False
    optics: Optics = field(default_factory=Optics)
    camera: Camera = field(default_factory=Camera)


_USUAL = {"kernel": 0.6, "skin": 0.15, "salt": 0.25}
_COOL = Camera(tint=(0.58, 0.63, 0.66), gradient=0.12, electrons=7000)
_WARM = Camera(tint=(0.74, 0.68, 0.52), vignette=0.2, jpeg=92)
_PHONE = Camera(tint=(0.70, 0.70, 0.68), gradient=0.25, vignette=0.3, electrons=5000, jpeg=82)
_GREY = Camera(tint=(0.62, 0.62, 0.62), electrons=8000, grey=True)

LOOKS: dict[str, Look] = {
    "usual": Look(_USUAL),
    "closed": Look(_USUAL, optics=Optics(condenser=(0, 0.12), focus_um=3, points=14), camera=_COOL),
    "wide_open": Look(_USUAL, optics=Optics(condenser=(0, 1.0), points=36), camera=_WARM),
    "above_focus": Look(_USUAL, optics=Optics(condenser=(0, 0.35), focus_um=14)),
    "below_focus": Look(_USUAL, optics=Optics(condenser=(0, 0.35), focus_um=-14), camera=_COOL),
    "deep_film": Look(
        _USUAL, cover=0.15, cross=0.08, levels_um=(-18, 0, 16), optics=Optics(condenser=(0, 0.6), points=30)
    ),
    "crowded": Look(
        {"kernel": 0.75, "skin": 0.1, "salt": 0.15}, cover=0.30, touch=0.5, cross=0.12, levels_um=(-3, 3)
    ),
    "fine": Look(
        {"kernel": 0.7, "skin": 0.1, "salt": 0.2}, median_px=19, spread=0.35, cover=0.07,
        optics=Optics(px_um=0.25, na=0.42, condenser=(0, 0.6), chroma_um=0.6), camera=_COOL,
    ),
    "coarse_salt": Look(
        {"salt": 0.6, "kernel": 0.4}, median_px=80, cover=0.2,
        optics=Optics(px_um=1.1, na=0.1, condenser=(0, 0.7), chroma_um=8), camera=_WARM,
    ),
    "sugar": Look({"sugar": 0.6, "kernel": 0.4}, optics=Optics(condenser=(0, 0.4), focus_um=4)),
    "oblique": Look(_USUAL, optics=Optics(condenser=(0, 0.35), shift=0.6)),
    "dark_field": Look(
        _USUAL, cover=0.10, dark=True, camera=Camera(electrons=6000),
        optics=Optics(na=0.16, condenser=(1.15, 1.5), points=30),
    ),
    "uneven_air": Look(
        {"kernel": 0.8, "skin": 0.2}, bubbles=8, fibres=3, optics=Optics(condenser=(0, 0.25)), camera=_PHONE
    ),
    "grey": Look({"kernel": 0.7, "skin": 0.3}, optics=Optics(condenser=(0, 0.6)), camera=_GREY),
    "deep_crowded": Look(
        _USUAL, cover=0.26, touch=0.3, cross=0.2, levels_um=(-12, 12), camera=_PHONE,
        optics=Optics(condenser=(0, 0.3), focus_um=-5),
    ),
    "closed_fine": Look(
        _USUAL, median_px=22, spread=0.4, cover=0.08, camera=_GREY,
        optics=Optics(px_um=0.35, na=0.3, condenser=(0, 0.15), focus_um=2, chroma_um=1, points=14),
    ),
    "ring_light": Look(
        {"kernel": 0.5, "salt": 0.3, "sugar": 0.2}, optics=Optics(condenser=(0.6, 0.9), focus_um=-4)
    ),
    "wide_salt": Look(
        {"salt": 0.5, "sugar": 0.2, "kernel": 0.3}, median_px=55, cover=0.2, touch=0.3, camera=_WARM,
        bubbles=3, optics=Optics(px_um=0.8, na=0.14, condenser=(0, 0.95), chroma_um=5, points=36),
    ),
}  # fmt: skip
HELD = ("deep_crowded", "closed_fine", "ring_light", "wide_salt")
