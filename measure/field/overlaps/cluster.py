"""What is known of one cluster of pieces while it is worked out which of them lie over one another."""

from collections.abc import Sequence
from functools import cached_property

import cv2
import numpy as np
from shapely import Polygon

from measure.field.basics.found import Found
from measure.field.basics.masks import drawn
from measure.field.basics.outline import area
from measure.field.basics.polygons import polygons_of
from measure.field.basics.zoom import zoom_of, zoomed
from measure.field.crystals.grey_layer import without_crystals
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.edges.features import oil_at
from measure.field.ground.absorbance import density, difference, is_dark, sent_back
from measure.field.ground.light import Light
from measure.flags import bits

_STRIP, _LONG = 0.75, 2.5  # solidity below which, and length over width from which, a piece is a strip
_FEW_STRIPS = 0.3  # share of strips up to which they are pieces that were not parted
_STRONG = 5.0  # noise units from which a place is clear of the oil
_NO_COLOUR = 0.5  # CIELAB; a camera for colours always shows more somewhere
_CROSSED = bits("rim_only", "overlap")


def _zoom(outlines: Sequence[np.ndarray], rim_only: Sequence[bool]) -> int:
    """How many times larger a cluster is looked at; bits of rims are no small pieces.

    Rims are looked for by how many px wide they may be.
    """
    count = len(outlines)
    zoom = 1 if count == 1 or 2 * sum(rim_only) > count else zoom_of(outlines)
    if zoom > 1 and sum(map(_is_strip, outlines)) > _FEW_STRIPS * count:
        return 1
    return zoom


def _is_strip(outline: np.ndarray) -> bool:
    """Whether an outline is far longer than wide, or bent round something."""
    points = outline.astype(np.float32)
    sides = cv2.minAreaRect(points)[1]
    return area(outline) < _STRIP * cv2.contourArea(cv2.convexHull(points)) or max(sides) > _LONG * min(sides)


class Cluster:
    """Pieces that meet or nearly meet, in a crop; small ones in a larger picture of it.

    Its outlines and masks are in px of the crop, ``zoom`` of which make one of the picture.

    Parameters
    ----------
    found : Found
        The pieces.
    light : Light
    box : tuple of slice
        Rows and columns of the crop.
    crystals : sequence of (P, 2) ndarray
        Outlines of crystals that cross these pieces and were told apart from them; their rims are left out.
    """

    def __init__(
        self, found: Found, light: Light, box: tuple[slice, slice], crystals: Sequence[np.ndarray] = ()
    ) -> None:
        self._origin = np.array([box[1].start, box[0].start], np.float32)
        self.rim_only = [bool(flags & bits("rim_only")) for flags in found.flags]
        self.zoom = _zoom(found.outlines, self.rim_only)
        self.outlines = [self.inward(outline) for outline in found.outlines]
        self.distance = zoomed(light.solid_distance[box], self.zoom)
        self.masks = [drawn(outline, self.distance.shape) for outline in self.outlines]
        self.crossed = [(flags & _CROSSED) == _CROSSED for flags in found.flags]
        self.union = np.bitwise_or.reduce(self.masks) if len(self.masks) > 1 else self.masks[0]
        middle = [np.array([(side.start + side.stop) / 2]) for side in (box[1], box[0])]
        self.oil = oil_at(light, *middle)[0]
        self.on_dark = is_dark(float(self.oil[0]))
        self.light_weight = light.light_weight
        self._unsmoothed = zoomed(light.delta[box], self.zoom)
        self.crystals = [drawn(self.inward(outline), self.distance.shape) for outline in crystals]

    def inward(self, outline: np.ndarray) -> np.ndarray:
        """An outline of the picture in the crop's coordinates."""
        return (outline - self._origin) * np.float32(self.zoom)

    def outward(self, outline: np.ndarray) -> np.ndarray:
        """An outline of the crop in the picture's coordinates."""
        return outline / np.float32(self.zoom) + self._origin

    @cached_property
    def shapes(self) -> list[Polygon]:
        """The pieces in the crop's coordinates."""
        return polygons_of(self.outlines)

    @cached_property
    def _smooth(self) -> np.ndarray:
        return cv2.GaussianBlur(self._unsmoothed, (0, 0), SMOOTHING_SIGMA_PX, borderType=cv2.BORDER_REPLICATE)

    @cached_property
    def delta(self) -> np.ndarray:
        """Lightly smoothed difference from the oil."""
        return difference(self.density, self.oil) if self.crystals else self._smooth

    @property
    def is_grey(self) -> bool:
        """Whether it comes from a picture without colour."""
        return float(np.abs(self._smooth[..., 1:]).max()) < _NO_COLOUR

    @cached_property
    def density(self) -> np.ndarray:
        """Optical density, on dark ground of what is sent back; lines that were told are taken out."""
        if self.on_dark:
            return sent_back(self._smooth, self.oil)
        whole = density(self._smooth, self.oil)
        if not self.crystals:
            return whole
        return without_crystals(whole, self._smooth, self.distance > _STRONG, self.oil, self.crystals)

    def placed(self, outline: np.ndarray | None, least_px2: float) -> list[np.ndarray]:
        """Return an outline in the picture's coordinates if it is large enough."""
        if outline is None or len(outline) < 4 or area(outline) < least_px2:
            return []
        return [self.outward(outline)]
