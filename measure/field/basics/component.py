"""One component of the low level, as the steps hear of it that take it apart, and the pieces they find."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from measure.field.basics.masks import fill_holes, solidity
from measure.field.basics.zoom import SMALL_PX, ZOOM, zoomed, zoomed_mask

_THICK = 2.1  # across, over the root of the smallest area reported: of a round piece so small, and its flanks
_CONVEX = 0.95  # area over that of the hull from which it is one piece, however small
_SEVERAL = 1.3  # area over that of the largest disc in it, above which a component may be several pieces


@dataclass(frozen=True)
class Component:
    """What hangs together above the low level, and what is asked of pieces in it.

    Attributes
    ----------
    delta : (M, N, 3) ndarray of float32
        Lightly smoothed difference from the oil.
    distance : (M, N) ndarray of float32
        Noise-normalised distance from the oil.
    low : (M, N) ndarray of bool
        The component.
    least_px2 : float
        Smallest area reported.
    seed : float
        Distance a piece must reach somewhere.
    cut_strength : float
    frame : tuple of bool
        Whether the top, bottom, left and right border of the crop is the border of the picture.
    usual_height : float
        Usual colour difference of the field's pieces from the oil.
    oil_lab : (3,) ndarray
        CIELAB colour of the oil there.
    """

    delta: np.ndarray
    distance: np.ndarray
    low: np.ndarray
    least_px2: float
    seed: float
    cut_strength: float
    frame: tuple[bool, bool, bool, bool]
    usual_height: float
    oil_lab: np.ndarray


@dataclass(frozen=True)
class Parts:
    """Pieces of one component.

    Attributes
    ----------
    labels : (M, N) ndarray of int32
        1.. for each piece; 0 elsewhere.
    groups : list of list of int
        Numbers of the pieces that were cut from one cluster.
    clear : set of int
        Numbers of see-through pieces.
    threads : set of int
        Numbers of threads between, along or across pieces.
    whole : set of int
        Numbers of pieces known to be one, whatever necks their outlines have.
    """

    labels: np.ndarray
    groups: list[list[int]]
    clear: frozenset[int]
    threads: frozenset[int] = frozenset()
    whole: frozenset[int] = frozenset()


def zoom_of_component(component: Component) -> int:
    """How many times larger a component is looked at: twice where it may be several small pieces.

    A rim is as large as what it goes round, and thin bits of one are no pieces.
    """
    framed = fill_holes(cv2.copyMakeBorder(component.low.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT))
    across = 2.0 * float(cv2.distanceTransform(framed, cv2.DIST_L2, 3).max())
    if not _THICK * np.sqrt(component.least_px2) <= across < SMALL_PX:
        return 1
    size = cv2.countNonZero(framed)
    if size < _SEVERAL * np.pi / 4 * across**2 or solidity(framed) > _CONVEX:
        return 1
    return ZOOM


def zoomed_component(component: Component, zoom: int) -> Component:
    """The component in a larger picture."""
    if zoom == 1:
        return component
    return replace(
        component,
        delta=zoomed(component.delta, zoom),
        distance=zoomed(component.distance, zoom),
        low=zoomed_mask(component.low, zoom),
        least_px2=zoom**2 * component.least_px2,
    )
