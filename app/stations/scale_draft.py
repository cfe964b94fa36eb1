"""The scale being made: a picture of a ruling, lines found or marked, and what the user said of it."""

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from measure.errors import InvalidInput
from measure.model import Picture
from measure.progress import SILENT, Progress
from measure.scale import (
    RulingFit,
    count_divisions,
    find_scale,
    lines_between,
    normal_across,
    revised,
    scale_from_points,
    snap_to_line,
)
from measure.scale.burnt_in import find_burnt_in

REACH_SCREEN_PX = 14  # how near to a line a click has to be, on screen


@dataclass(frozen=True)
class Ruling:
    """What the user says of a ruling."""

    division_um: float = 10.0
    certificate_um: float | None = None
    coverage_factor: float = 2.0
    zoom: str = ""


@dataclass(frozen=True)
class Draft:
    """A scale in the making. Never mutated.

    Attributes
    ----------
    points_px : (N, 2) ndarray
        Lines marked by hand.
    normal : (2,) ndarray or None
        Direction across the lines marked, where the picture shows it.
    length_um : float or None
        From the first to the last point; None: so many divisions.
    fit : RulingFit or None
        Of the lines found, or of the points.
    trouble : str
        Why there is no fit.
    has_bar : bool
        Whether no ruling was found and something like a bar is drawn into the picture.
    """

    picture: Picture
    data: bytes
    points_px: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))
    normal: np.ndarray | None = None
    length_um: float | None = None
    fit: RulingFit | None = None
    trouble: str = ""
    has_bar: bool = False

    @property
    def by_hand(self) -> bool:
        """Whether lines were marked by hand."""
        return len(self.points_px) > 0

    def gaps(self) -> int:
        """Return how many divisions seem to lie between the first and the last line marked; 0 if unknown."""
        return count_divisions(self.points_px, self.normal)

    def with_points(self, points_px: np.ndarray, ruling: Ruling) -> "Draft":
        """Return the draft with other points, fitted anew."""
        points = np.asarray(points_px, float).reshape(-1, 2)
        length = self.length_um if len(points) == len(self.points_px) else None
        normal = normal_across(self.picture, points) if len(points) else None
        if len(points) == 2 and normal is not None and _along_the_line(points, normal):
            normal = None  # the ends of a bar: what counts is how far they lie apart
        draft = replace(self, points_px=points, normal=normal, length_um=length, fit=None, trouble="")
        return draft.fitted(ruling)

    def with_length(self, length_um: float | None, ruling: Ruling) -> "Draft":
        """Return the draft with another length from the first to the last point."""
        return replace(self, length_um=length_um).fitted(ruling)

    def with_line_near(self, x_px: float, y_px: float, reach_px: float, ruling: Ruling) -> "Draft":
        """Return the draft with a point more, moved to the line beneath it."""
        point = snap_to_line(self.picture, x_px, y_px, reach_px)
        return self.with_points(np.vstack([self.points_px, point]), ruling)

    def with_lines_across(
        self, start: tuple[float, float], end: tuple[float, float], width_px: float, ruling: Ruling
    ) -> "Draft":
        """Return the draft with every line that a stroke crosses in place of the points before."""
        return self.with_points(lines_between(self.picture, start, end, width_px), ruling)

    def fitted(self, ruling: Ruling) -> "Draft":
        """Return the draft fitted anew to what the user says of the ruling."""
        try:
            fit = self._fit(ruling)
        except InvalidInput as error:
            return replace(self, fit=None, trouble=error.text)
        return replace(self, fit=fit, trouble="")

    def _fit(self, ruling: Ruling) -> RulingFit | None:
        if self.by_hand:
            told = self.length_um is not None or self.gaps() > 0
            return self._from_points(ruling) if len(self.points_px) >= 2 and told else None
        if self.fit is None:
            return None
        return revised(
            self.fit,
            division_um=ruling.division_um,
            certificate_um=ruling.certificate_um,
            coverage_factor=ruling.coverage_factor,
            zoom=ruling.zoom,
        )

    def _from_points(self, ruling: Ruling) -> RulingFit:
        division = ruling.division_um
        if self.length_um is not None:
            division = self.length_um / max(self.gaps(), 1)
        two = len(self.points_px) == 2
        return scale_from_points(
            self.points_px,
            lengths_um=np.array([self.length_um]) if two else None,
            division_um=None if two else division,
            picture=self.picture,
            normal=self.normal,
            certificate_um=ruling.certificate_um,
            coverage_factor=ruling.coverage_factor,
            zoom=ruling.zoom,
        )


def _along_the_line(points: np.ndarray, normal: np.ndarray) -> bool:
    """Tell whether two points lie on one line rather than on two lines beside each other."""
    step = points[1] - points[0]
    return abs(float(step @ normal)) < 0.5 * float(np.hypot(*step))


def load(path: Path, progress: Progress = SILENT) -> Draft:
    """Read a picture for a worker thread.

    Raises
    ------
    InvalidInput
        If it cannot be read.
    """
    from measure.picture_file import read_picture

    progress.report(0.0, "reading")
    picture = read_picture(path)
    return Draft(picture, path.read_bytes())


def search(draft: Draft, ruling: Ruling, progress: Progress = SILENT) -> Draft:
    """Look for the ruling, for a worker thread; the draft says why when there is none."""
    try:
        fit = find_scale(
            draft.picture,
            division_um=ruling.division_um,
            certificate_um=ruling.certificate_um,
            coverage_factor=ruling.coverage_factor,
            zoom=ruling.zoom,
            progress=progress,
        )
    except InvalidInput as error:
        has_bar = bool(find_burnt_in(draft.picture).bars)
        return replace(draft, fit=None, trouble=error.text, has_bar=has_bar)
    return replace(draft, fit=fit, points_px=np.zeros((0, 2)), length_um=None, trouble="")
