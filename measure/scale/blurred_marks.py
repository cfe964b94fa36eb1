"""A bar with its words in a grey picture that was made larger, smaller or compressed after they were drawn.

Such a bar has no exact tone any more, but still lies at the dark or the bright end of the picture. A piece
may do so as well, so the form must tell: a level rectangle with sharp sides, and over or under it letters in
a row, as high as one another and made of thin lines.
"""

import cv2
import numpy as np

from measure.model import Picture
from measure.scale.drawn_parts import Part, box_round, is_thin

_EVERY = 8  # rows and columns that tell whether a picture is grey, and its usual tone
_SPREAD = 12  # levels by which compression and another size move a tone; blurred letters lie farther off
_STEP = 60  # levels between the tone and the usual one, from which a bar is seen
_LEAST_PX2 = 100  # at either end of the tones of the picture; what is beyond may be a few hot pixels
_LONG_PX, _RATIO, _HIGH_PX, _FULL = 24, 4.0, 4, 0.97  # of a bar; round ends of a rod leave less of its box
_AWAY_PX, _SHARP, _SHARP_SHARE = 4, 0.6, 0.75  # px off a bar: of the whole step; how much of it is so
_LETTER = 0.5  # of the whole step
_HEIGHT_PX, _ALIKE = (5, 120), 0.2  # letters, as in `find_drawn`
_LETTERS = 2  # "5 nm" has three, of which two may be as high
_TAIL = 0.4  # of the letters' height, by which others reach beyond their line
_REACH = (0.5, 14.0)  # of the bar's length, or px: how far from it letters stand
_PANEL, _PANEL_FULL = 0.25, 0.9  # of the picture, at most; share of its own box, with what stands on it
_MARGIN_PX = 4


def blurred_marks(picture: Picture) -> tuple[np.ndarray, ...]:
    """Boxes round bars and their words whose tone is nearly the darkest or brightest.

    Parameters
    ----------
    picture : Picture

    Returns
    -------
    boxes : tuple of (4, 2) ndarray of float
        x and y in px, corner of the first pixel at 0, 0. None in colour.
    """
    some = picture.pixels[::_EVERY, ::_EVERY]
    if not (some == some[..., :1]).all():
        return ()
    grey = picture.pixels[..., 0]
    grey = np.ascontiguousarray(grey if grey.dtype == np.uint8 else (grey >> 8).astype(np.uint8))
    if min(grey.shape) < 4 * _LONG_PX:
        return ()
    usual = float(np.median(grey[::_EVERY, ::_EVERY]))
    boxes: list[np.ndarray] = []
    for tone in _ends(grey):
        if abs(usual - tone) >= _STEP:
            boxes += _bars_with_words(grey, tone, usual)
    return tuple(boxes)


def _ends(grey: np.ndarray) -> tuple[int, int]:
    """The darkest and the brightest tone of some pixels of a picture."""
    count = cv2.calcHist([grey], [0], None, [256], [0, 256]).ravel().astype(np.int64).cumsum()
    return int(np.searchsorted(count, _LEAST_PX2)), int(np.searchsorted(count, grey.size - _LEAST_PX2))


def _bars_with_words(grey: np.ndarray, tone: int, usual: float) -> list[np.ndarray]:
    """Boxes round the bars of a tone and the letters beside each."""
    levels = (0, tone + _SPREAD) if tone < usual else (tone - _SPREAD, 255)
    own = cv2.inRange(grey, *levels)
    bars = [b for b in _parts(own)[1].values() if _is_bar(own, b) and _is_sharp(grey, b, tone, usual)]
    if not bars:
        return []
    half = round(tone + _LETTER * (usual - tone))
    labels, parts = _parts(cv2.inRange(grey, *((0, half) if tone < usual else (half, 255))))
    boxes = []
    for bar in bars:
        beside = {k: p for k, p in parts.items() if _is_beside(p, bar) and not _holds(p, bar)}
        letters = [p for k, p in beside.items() if _is_letter(labels, k, p)]
        row = _row(letters)
        if row:
            mark = [bar, *_with_the_rest(row, letters)]
            boxes.append(box_round([*mark, *_panel(grey, mark)], _MARGIN_PX))
    return boxes


def _parts(mask: np.ndarray) -> tuple[np.ndarray, dict[int, Part]]:
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    return labels, {k: Part(x, y, x + w, y + h) for k, (x, y, w, h, _) in enumerate(stats.tolist()) if k}


def _is_bar(own: np.ndarray, part: Part) -> bool:
    """Whether a part is a level rectangle; its outer pixels are half of the picture."""
    wide, high = part.width, part.height
    if wide < _LONG_PX or high < _HIGH_PX or wide < _RATIO * high:
        return False
    inner = own[part.top + 1 : part.bottom - 1, part.left + 1 : part.right - 1]
    return cv2.countNonZero(inner) >= _FULL * inner.size


def _holds(part: Part, bar: Part) -> bool:
    """Whether a part is a bar with its soft edge, or what a bar lies on."""
    across = min(part.right, bar.right) - max(part.left, bar.left)
    return across > 0 and min(part.bottom, bar.bottom) > max(part.top, bar.top)


def _is_sharp(grey: np.ndarray, bar: Part, tone: int, usual: float) -> bool:
    """Whether the picture is nearly as far from the tone as usual, right above and below a bar."""
    rows = [row for row in (bar.top - _AWAY_PX, bar.bottom - 1 + _AWAY_PX) if 0 <= row < len(grey)]
    if len(rows) < 2:  # a piece that the frame cuts has a straight side too
        return False
    off = np.abs(grey[rows, bar.left : bar.right].astype(float) - tone)
    return bool((off > _SHARP * abs(usual - tone)).mean() >= _SHARP_SHARE)


def _is_beside(part: Part, bar: Part) -> bool:
    """Whether a part stands over or under a bar, or a little beyond its ends."""
    reach = max(_REACH[0] * bar.width, _REACH[1])
    across = max(part.left - bar.right, bar.left - part.right)
    return across <= reach and max(part.top - bar.bottom, bar.top - part.bottom) <= reach


def _is_letter(labels: np.ndarray, number: int, part: Part) -> bool:
    wide, high = part.width, part.height
    if not (_HEIGHT_PX[0] <= high <= _HEIGHT_PX[1] and wide <= 2 * high):
        return False
    own = (labels[part.top : part.bottom, part.left : part.right] == number).view(np.uint8)
    contours, _ = cv2.findContours(own, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    around = max(cv2.arcLength(contour, True) for contour in contours)
    return is_thin(cv2.countNonZero(own), around, high)


def _row(letters: list[Part]) -> list[Part]:
    """The most letters that are as high as one another and stand on one line; none where they are too few."""
    rows = []
    for one in letters:
        off = max(1.0, _ALIKE * one.height)
        rows.append([p for p in letters if abs(p.top - one.top) <= off and abs(p.bottom - one.bottom) <= off])
    most = max(rows, key=len, default=[])
    return most if len(most) >= _LETTERS else []


def _with_the_rest(row: list[Part], letters: list[Part]) -> list[Part]:
    """A row of letters with lower ones and ones with tails on its line."""
    top, bottom = min(p.top for p in row), max(p.bottom for p in row)
    high = bottom - top
    line = [p for p in letters if p.top >= top - _TAIL * high and p.bottom <= bottom + _TAIL * high]
    words = list(row)
    for part in sorted(line, key=lambda p: min(abs(p.left - one.left) for one in row)):
        if min(max(part.left - w.right, w.left - part.right) for w in words) <= high:
            words.append(part)
    return words


def _panel(grey: np.ndarray, mark: list[Part]) -> list[Part]:
    """The even rectangle that a mark stands on, if there is one."""
    bar = mark[0]
    rows = [bar.top - _AWAY_PX, bar.bottom - 1 + _AWAY_PX]
    tone = int(np.median(grey[rows, bar.left : bar.right]))
    labels, parts = _parts(cv2.inRange(grey, max(0, tone - _SPREAD), min(255, tone + _SPREAD)))
    beside = labels[rows, bar.left : bar.right].ravel()
    number = int(np.bincount(beside[beside > 0], minlength=1).argmax()) if beside.any() else 0
    part = parts.get(number)
    if part is None or any(part.left > p.left or part.right < p.right for p in mark):
        return []
    own = (labels[part.top : part.bottom, part.left : part.right] == number).view(np.uint8)
    contours, _ = cv2.findContours(own, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    around = max(cv2.contourArea(contour) for contour in contours)
    return [part] if _PANEL_FULL * own.size <= around and own.size <= _PANEL * grey.size else []
