"""What a thing in a smear is to light."""

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass
class Body:
    """A thing in a stamp of its own, in focus.

    Attributes
    ----------
    kind : str
        kernel, skin, salt, other; "foreign" for what is no piece.
    density : (M, N, 3) ndarray
        Optical density, natural logarithm, of absorbed and scattered light.
    path_px : (M, N) ndarray
        Optical path beside that of the oil: thickness times difference of refractive index, px.
    mask : (M, N) ndarray of bool
        Its true area; where the edge is feathered, down to half of the contrast.
    relief_px : (M, N) ndarray
        Height of its upper face.
    cover : (M, N) ndarray
        Share of the ground it hides when lit from above, 0..1.
    colour : (M, N, 3) ndarray
        Colour when lit from above, linear.
    shine : float
        How strongly it glitters when lit from above.
    retard : float
        How strongly it turns polarised light, waves a px of thickness.
    name : str
        What it is in words.
    """

    kind: str
    density: np.ndarray
    path_px: np.ndarray
    mask: np.ndarray
    relief_px: np.ndarray
    cover: np.ndarray
    colour: np.ndarray
    shine: float = 0.0
    retard: float = 0.0
    name: str = ""

    @property
    def diameter_px(self) -> float:
        """Of the circle of equal area."""
        return float(np.sqrt(4 * np.count_nonzero(self.mask) / np.pi))


def padded(body: Body, by: int) -> Body:
    """The same with clear ground about it."""

    def out(a: np.ndarray) -> np.ndarray:
        return cv2.copyMakeBorder(np.ascontiguousarray(a), by, by, by, by, cv2.BORDER_CONSTANT, value=0)

    body.density, body.path_px, body.relief_px, body.cover, body.colour = (
        out(a.astype(np.float32))
        for a in (body.density, body.path_px, body.relief_px, body.cover, body.colour)
    )
    body.mask = out(body.mask.astype(np.uint8)).astype(bool)
    return body


def ramped(solid: np.ndarray, ramp: np.ndarray) -> np.ndarray:
    """Where a feathered edge keeps half of its contrast; ``solid`` is the density without the feather."""
    return (1 - np.exp(-solid * ramp)) >= 0.5 * (1 - np.exp(-solid))


def spread(colour: np.ndarray | tuple[float, ...], by: np.ndarray) -> np.ndarray:
    """A colour at each pixel, (M, N, 3), times a map."""
    return (by[..., None] * np.asarray(colour, np.float32)).astype(np.float32)
