"""What a drawn micrograph is made of: every quantity that can vary, in frozen records."""

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Sizes:
    """Log-normal sizes given by their volume median (ISO 9276-5 for the change of weighting)."""

    volume_median_um: float = 40.0
    sigma_g: float = 1.7
    smallest_um: float = 4.0
    largest_um: float = 160.0
    skin_factor: float = 1.25  # skin flakes are this much wider than kernel pieces
    salt_factor: float = 1.0

    @property
    def number_median_um(self) -> float:
        """Number median by the Hatch-Choate relation, ln x50,0 = ln x50,3 - 3 (ln sigma_g)^2."""
        return self.volume_median_um * float(np.exp(-3.0 * np.log(self.sigma_g) ** 2))


@dataclass(frozen=True)
class Arrangement:
    """How pieces lie to each other."""

    cover: float = 0.03  # share of the frame covered
    pieces: int | None = None  # number in the frame instead of a cover
    gap_px: float = 6.0  # least gap between pieces that do not touch
    touch_share: float = 0.0  # share of pieces laid against another one
    press_px: float = 1.0  # touching outlines may run into each other up to this deep
    overlap_share: float = 0.0  # share of pieces laid over another one
    overlap_low: float = 0.08  # overlapped share of the smaller of the two, from ... to
    overlap_high: float = 0.32


@dataclass(frozen=True)
class KernelLook:
    """Cloudy, translucent ground kernel."""

    absorbance: tuple[float, float, float] = (0.28, 0.44, 0.66)  # per unit of optical thickness, R G B
    strength: float = 1.0  # optical thickness of a 30-um piece
    growth: float = 0.35  # power of size by which thickness grows; pieces lie flat under the cover glass
    edge_step: float = 0.85  # share of the thickness reached at the very edge; below 1 the piece is domed
    edge_line: float = 0.30  # extra darkness of the refracting edge
    edge_line_px: float = 1.6
    softness_px: float = 0.0  # sigma of the natural softness of its edge
    texture: float = 0.22  # relative fluctuation of thickness
    texture_px: float = 4.0  # grain of it
    roughness: float = 0.10  # irregularity of the outline
    strength_spread: float = 0.18
    reflect: tuple[float, float, float] = (0.62, 0.50, 0.33)  # colour seen on dark ground


@dataclass(frozen=True)
class SkinLook:
    """Red-brown, thin, torn skin flakes."""

    absorbance: tuple[float, float, float] = (0.42, 1.20, 1.65)
    strength: float = 0.9
    strength_spread: float = 0.22
    streaks: float = 0.22  # veins and folds
    streak_px: float = 3.0
    tear: float = 0.20  # depth of the tears, relative to the radius
    elongation: float = 1.9
    reflect: tuple[float, float, float] = (0.38, 0.15, 0.07)


@dataclass(frozen=True)
class SaltLook:
    """Clear cubes seen by refraction at their rims."""

    rim: float = 0.75  # darkness of the outer rim, as absorbance
    rim_px: float = 3.0  # width of the dark rim
    glow: float = 0.22  # bright line inside the rim
    body: float = 0.02  # absorbance of the interior
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    facets: float = 0.25  # darkness of inner cube edges relative to the rim
    broken: float = 0.10  # share of the rim that is missing, mean over pieces
    chipped: float = 0.35  # chance of a chipped corner
    reflect: tuple[float, float, float] = (0.80, 0.82, 0.85)


@dataclass(frozen=True)
class Extras:
    """Things in the picture that are no ground paste."""

    bubbles: int = 0
    bubble_um: tuple[float, float] = (18.0, 60.0)
    bubble_ring: float = 0.42  # share of the radius taken by the dark ring
    bubble_dark: float = 2.2  # absorbance of the ring
    fibres: int = 0
    fibre_length_um: tuple[float, float] = (220.0, 520.0)
    fibre_width_um: tuple[float, float] = (9.0, 15.0)
    fibre_absorbance: tuple[float, float, float] = (0.32, 0.33, 0.36)


@dataclass(frozen=True)
class Light:
    """Lamp, oil and what floats in it below the limit."""

    oil: tuple[float, float, float] = (226.0, 217.0, 188.0)  # sRGB of the oil in the middle
    dark_ground: bool = False  # light from the side: oil dark, pieces bright
    vignette: float = 0.10  # loss of light at the corners
    slope: float = 0.04  # linear change of light from edge to edge
    slope_deg: float = 25.0
    tint: float = 0.01  # opposite slopes of red and blue
    haze: float = 0.5  # specks below the limit, per 100 px of picture area
    haze_px: float = 1.3
    haze_contrast: float = 0.035
    veil: float = 0.012  # slow fluctuation of the oil
    veil_px: float = 60.0
    glare: float = 0.01  # stray light, share of full scale


@dataclass(frozen=True)
class Camera:
    """Optics and sensor."""

    blur_px: float = 0.9  # sigma of the point spread in focus
    depth_um: float = 12.0  # pieces lie up to this far from the middle of the film
    focus_um: float = 0.0  # height of the focal plane above the middle of the film
    blur_px_per_um: float = 0.04  # growth of sigma with distance from the focal plane
    fringe: float = 0.0  # bright line outside an edge
    full_well: float = 12000.0  # electrons at full scale; sets the shot noise
    read_noise: float = 12.0  # electrons
    sharpen: float = 0.0  # unsharp masking in the camera
    jpeg_quality: int | None = None


@dataclass(frozen=True)
class Recipe:
    """Everything a drawn field depends on besides its seed."""

    name: str = "plain"
    width_px: int = 1600
    height_px: int = 1200
    um_per_px: float = 0.65
    kernel_share: float = 0.62  # of the pieces by number
    skin_share: float = 0.20
    salt_share: float = 0.18
    sizes: Sizes = field(default_factory=Sizes)
    arrangement: Arrangement = field(default_factory=Arrangement)
    kernel: KernelLook = field(default_factory=KernelLook)
    skin: SkinLook = field(default_factory=SkinLook)
    salt: SaltLook = field(default_factory=SaltLook)
    extras: Extras = field(default_factory=Extras)
    light: Light = field(default_factory=Light)
    camera: Camera = field(default_factory=Camera)


@dataclass(frozen=True)
class TruthPiece:
    """One drawn piece as it truly is.

    Attributes
    ----------
    outline : (P, 2) ndarray of float64
        Whole outline before any blur, x and y in px (corner of the first pixel is 0, 0); may leave the frame.
    kind : str
        "kernel", "skin", "salt", "bubble" or "fibre".
    area_px2, diameter_px : float
        Exact polygon area and the diameter of the circle of that area.
    hidden_share : float
        Share of its area lying under pieces drawn later.
    touches_frame : bool
        The outline meets or leaves the frame.
    defocus : float
        Sigma of the blur this piece was drawn with, px.
    """

    outline: np.ndarray
    kind: str
    area_px2: float
    diameter_px: float
    hidden_share: float
    touches_frame: bool
    defocus: float


@dataclass(frozen=True)
class Rendered:
    """A drawn field and its truth."""

    pixels: np.ndarray  # (M, N, 3) uint8, RGB
    truth: tuple[TruthPiece, ...]
    um_per_px: float
