"""Picture of one judged field: what was matched, missed, found wrongly or given the wrong kind."""

import cv2
import numpy as np
from accuracy_match import Verdicts

_SHIFT = 4
RIGHT, WRONG_KIND, MISSED, FALSE, REST = (
    (40, 170, 60),
    (255, 150, 0),
    (230, 20, 20),
    (210, 0, 210),
    (120, 120, 120),
)


def _line(picture: np.ndarray, outline: np.ndarray, colour: tuple[int, int, int], width: int = 1) -> None:
    # OpenCV counts from the middle of the first pixel
    points = np.rint((np.asarray(outline) - 0.5) * 2**_SHIFT).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(picture, [points], True, colour, width, cv2.LINE_AA, _SHIFT)


def draw(rendered, result, verdicts: Verdicts) -> np.ndarray:
    """Return RGB: green right, orange wrong kind, red missed, magenta found wrongly, grey not judged."""
    picture = rendered.pixels.copy()
    hit = np.zeros(len(result.particles), dtype=bool)
    hit[verdicts.partner[verdicts.hit]] = True
    for j, outline in enumerate(result.particles.outlines):
        if verdicts.false[j]:
            _line(picture, outline, FALSE, 2)
        elif hit[j]:
            same = verdicts.truth_kind[verdicts.found_owner[j]] == verdicts.found_kind[j]
            _line(picture, outline, RIGHT if same else WRONG_KIND)
        else:
            _line(picture, outline, REST)
    for i in np.flatnonzero(verdicts.asked & ~verdicts.hit):
        _line(picture, rendered.truth[i].outline, MISSED, 2)
    return picture
