"""The words everything shares: frozen records of pictures, scales, settings and field results."""

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from measure.particles import Particles


class Kind(StrEnum):
    """What a piece is made of. The position in the enumeration is its code in tables of numbers."""

    KERNEL = "kernel"
    SKIN = "skin"
    SALT = "salt"
    OTHER = "other"


KINDS: tuple[Kind, ...] = tuple(Kind)

# how a particle came to be; the position is its code
ORIGINS = ("found", "cut", "joined", "drawn", "reshaped")


@dataclass(frozen=True)
class Picture:
    """A decoded, upright picture.

    Attributes
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB, upright (EXIF orientation applied), alpha composed over white. Never mutated.
    bit_depth : int
        Bits a channel in the file (8, 10, 12, 16...); pixel values span 0 .. 2**bits - 1 of the dtype used.
    name : str
        File name without folder.
    sha256 : str
        Hex digest of the file's bytes.
    grey : bool
        True when the file holds one channel (the three planes are equal).
    embedded_um_per_px : float or None
        Pixel size the file claims for itself. A hint to compare, never a scale.
    embedded_source : str
        Where that claim stands, in words ("OME-XML", "TIFF resolution tags", ...).
    notes : tuple of str
        What a reader did that the user should know (alpha removed, first page of many, ...).
    """

    pixels: np.ndarray
    bit_depth: int = 8
    name: str = ""
    sha256: str = ""
    grey: bool = False
    embedded_um_per_px: float | None = None
    embedded_source: str = ""
    notes: tuple[str, ...] = ()

    @property
    def width_px(self) -> int:
        """Columns of the upright picture."""
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        """Rows of the upright picture."""
        return int(self.pixels.shape[0])


@dataclass(frozen=True)
class Scale:
    """Micrometres per pixel of one zoom setting, with where it came from."""

    um_per_px: float
    standard_uncertainty_um_per_px: float = 0.0
    zoom: str = ""
    width_px: int | None = None  # picture size it was made at
    height_px: int | None = None
    division_um: float | None = None
    angle_deg: float | None = None
    graduations: int | None = None
    residual_px: float | None = None  # standard deviation of the lines about the fit
    certificate_um: float | None = None  # expanded uncertainty of the ruling's length
    coverage_factor: float | None = None
    made: str = ""  # ISO 8601 date and time
    method: str = "typed"  # "ruling", "by hand", "typed"
    notes: tuple[str, ...] = ()

    @property
    def relative_uncertainty(self) -> float:
        """Relative standard uncertainty (shared by every particle of the zoom)."""
        return self.standard_uncertainty_um_per_px / self.um_per_px


@dataclass(frozen=True)
class FieldSettings:
    """How a field is measured. Few and physical.

    Attributes
    ----------
    smallest_um : float or None
        Pieces below this area-equivalent diameter are not counted. None: 10 px.
    sensitivity : float
        0..1; how faint a piece may be and still be found. 0.5 suits most pictures.
    cut_strength : float
        0..1; how shallow a neck is still cut. 0 never cuts.
    """

    smallest_um: float | None = None
    sensitivity: float = 0.5
    cut_strength: float = 0.5


@dataclass(frozen=True)
class Frame:
    """The measurement frame: the picture less its excluded zones.

    ``zones`` are polygons, each a (K, 2) array of x, y in px (corner of the first pixel is 0, 0).
    """

    width_px: int
    height_px: int
    zones: tuple[np.ndarray, ...] = ()


@dataclass(frozen=True)
class FieldQuality:
    """Figures about the field as a whole."""

    cover: float  # share of the frame covered by pieces, 0..1
    contacts_expected: float  # share of pieces expected to touch another by chance, 1 - exp(-4 cover)
    noise: float  # standard deviation of the oil, in CIELAB units
    oil_rgb: tuple[float, float, float]  # typical oil colour, 0..255
    focus: float  # median edge width of the pieces, px (nan without pieces)
    clipped: float  # share of pixels at either end of the range
    unevenness: float  # peak-to-peak of the background lightness, CIELAB L units
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class FieldResult:
    """What measuring one field gave: particles in pixels, the frame, quality and settings."""

    particles: Particles
    frame: Frame
    quality: FieldQuality | None  # None: taken from a table, no picture was seen
    settings: FieldSettings
    um_per_px: float
    smallest_px: float  # lower limit used, area-equivalent diameter
    seconds: float = 0.0
    notes: tuple[str, ...] = field(default=())
