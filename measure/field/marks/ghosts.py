"""A ghost of the whole picture: light thrown back in the cover glass or in a window of the camera.

It lays a fainter picture over the true one, every piece shifted by the same way. Two pieces may look alike
by chance, and even three may lie so; that nearly all pieces of a field have a fainter likeness at one and the
same shift has no other reason. The ghost adds its light to that of the picture, so it is taken away again in
linear light, and what it lies over comes back as it was.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from measure.field.basics.quick import median, quantile

_LONG_PX = 640  # side of the picture it is looked for in, about
_FINE_PX = 1.2  # edges are read with so much blur
_LEAST_SHIFT_PX = 6  # a nearer one only softens edges
_REACH = 0.35  # of the shorter side of the picture: the farthest shift
_LOOKS = 12  # peaks of likeness that are asked
_CLEAR = 5.0  # a piece's depth over the grain of the picture
_FEWEST_PX, _FEWEST = 12, 6  # pixels of a piece that are free to show a ghost, and pieces
_ALIKE = 0.25  # correlation of a piece's edges with those of its ghost
_SHARE = 0.6  # of the pieces, and of their edges, that have one; by chance hardly a quarter has
_OWN = 0.5  # of a piece, where one would lie it is the ghost of, from which it may be one itself
_FAINTEST, _STRONGEST = 0.04, 0.6  # of the picture's own light
_LIKE = 2.0  # a ghost may be so much stronger or fainter beside one piece than beside another
_BLURS_PX = (0.0, 0.7, 1.4, 2.5, 4.0)  # of the ghost
_NEAR_PX = 24.0  # a flank of pieces lit from one side lies no farther
_STRONG = 0.5  # of the depth of the darkest places: those tell how strong a ghost is
_ROUNDS = 4
GHOST = "A second, fainter picture lies over the first"  # how what is said of it begins


@dataclass(frozen=True)
class Ghost:
    """Where a ghost lies, px to the right and down, and its light over that of the picture, by channel."""

    right_px: float
    down_px: float
    share: np.ndarray
    blur_px: float


def ghost_note(ghost: Ghost) -> str:
    """Return what is said of a ghost taken off a picture."""
    right, down = round(ghost.right_px), round(ghost.down_px)
    ways = (
        f"{abs(right)} px {'right' if right >= 0 else 'left'}, {abs(down)} px {'down' if down >= 0 else 'up'}"
    )
    share = 100 * float(ghost.share.mean())
    return (
        f"{GHOST} ({ways}, {share:.0f} % of its light), as where light is thrown back in the cover glass. "
        "It was taken off, so likenesses of pieces are not counted; those of pieces beyond the frame stay."
    )


def without_ghost(pixels: np.ndarray) -> tuple[np.ndarray, Ghost | None]:
    """Take a ghost off a picture.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.

    Returns
    -------
    pixels : (M, N, 3) ndarray
        The same array where there is none.
    ghost : Ghost or None
    """
    shift = find_shift(pixels)
    if shift is None:
        return pixels, None
    most = float(np.iinfo(pixels.dtype).max)
    light = _linear(pixels.astype(np.float32) / most)
    away = light - _oil(light)
    ghost = _fitted(away, shift)
    if ghost is None or _is_flank(ghost):
        return pixels, None
    own = away
    for _ in range(_ROUNDS):
        own = away - _moved(own, ghost) * ghost.share.astype(np.float32)
    freed = _stored(np.clip(light + own - away, 0.0, 1.0))
    return np.rint(freed * most).astype(pixels.dtype), ghost


def _is_flank(ghost: Ghost) -> bool:
    """Whether a likeness is as soft as any and near: the flank of pieces lit from one side."""
    return ghost.blur_px >= _BLURS_PX[-1] and float(np.hypot(ghost.right_px, ghost.down_px)) < _NEAR_PX


def find_shift(pixels: np.ndarray) -> tuple[float, float] | None:
    """Where a ghost of a picture, (M, N, 3), lies, px to the right and down; None where there is none."""
    whole = pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
    scale = max(1, round(max(whole.shape[:2]) / _LONG_PX))
    small = cv2.resize(whole, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    if min(small.shape[:2]) < 100:
        return None
    table = _linear(np.arange(256, dtype=np.float32) / 255.0)
    light = cv2.cvtColor(cv2.LUT(small, table), cv2.COLOR_RGB2GRAY)
    edges = cv2.Laplacian(cv2.GaussianBlur(light, (0, 0), _FINE_PX), cv2.CV_32F)
    pieces, near = _pieces(light)
    if pieces.max() < _FEWEST:
        return None
    asked = _Asked(edges, pieces)
    for right, down in _peaks(edges, near):
        if asked.proves(right, down):
            return right * float(scale), down * float(scale)
    return None


def _pieces(light: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Clear pieces with their edges, numbered, and where any piece is, both (M, N)."""
    away = cv2.GaussianBlur(light - _oil(light), (0, 0), _FINE_PX)
    grain = 1.4826 * median(np.abs(away).ravel())
    deep = np.abs(away)
    clearly = deep[deep > _CLEAR * grain]
    usual = quantile(clearly, 0.5) if len(clearly) else np.inf
    ring = np.ones((5, 5), np.uint8)
    clear = cv2.dilate((deep > max(_CLEAR * grain, 0.7 * usual)).view(np.uint8), ring)
    return cv2.connectedComponents(clear, connectivity=8)[1], clear > 0


def _peaks(edges: np.ndarray, near: np.ndarray) -> list[tuple[int, int]]:
    """Shifts, right and down, at which the edges of clear pieces are most like something."""
    rows, cols = edges.shape
    size = [cv2.getOptimalDFTSize(n + int(_REACH * min(edges.shape)) + 1) for n in (rows, cols)]
    own = np.fft.rfft2(np.where(near, edges, 0.0), size)
    rest = np.fft.rfft2(np.where(near, 0.0, edges), size)
    reach = int(_REACH * min(edges.shape))
    near_by = np.arange(-reach, reach + 1)
    downwards = np.fft.ifft(rest * np.conj(own), axis=0)[near_by]  # rows farther off are not asked for
    like = np.fft.irfft(downwards, size[1], axis=1)[:, near_by]
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    like[np.hypot(x, y) < _LEAST_SHIFT_PX] = 0.0
    found = []
    for _ in range(_LOOKS):
        down, right = np.unravel_index(int(like.argmax()), like.shape)
        if like[down, right] <= 0:
            break
        found.append((int(right) - reach, int(down) - reach))
        like[max(0, down - 3) : down + 4, max(0, right - 3) : right + 4] = 0.0
    return found


class _Asked:
    """The pixels of clear pieces, which are asked for likenesses at one shift after the other.

    Parameters
    ----------
    edges : (M, N) ndarray of float32
    pieces : (M, N) ndarray of int32
        Their numbers; 0 where there is none.
    """

    def __init__(self, edges: np.ndarray, pieces: np.ndarray) -> None:
        reach = int(_REACH * min(edges.shape))
        wide = [
            (cv2.copyMakeBorder(part, *(reach,) * 4, cv2.BORDER_CONSTANT, value=out))
            for part, out in ((edges, 0.0), (pieces, -1))
        ]
        self._edges, self._pieces, self._cols = wide[0].ravel(), wide[1].ravel(), wide[0].shape[1]
        self._at = np.flatnonzero(self._pieces > 0)
        self._number, self._own = self._pieces[self._at], self._edges[self._at]
        self._area = np.bincount(self._number)

    def proves(self, right: int, down: int) -> bool:
        """Whether nearly all pieces have a likeness at a shift, and as strong a one."""
        there = self._at + (down * self._cols + right)
        hit, count = self._pieces[there], len(self._area)
        asked = np.flatnonzero(hit == 0)
        number, there = self._number[asked], there[asked]
        seen = np.bincount(number, minlength=count) >= _FEWEST_PX
        # where it would come from lies a piece
        seen &= np.bincount(hit + 1, minlength=count + 1)[1:] < _OWN * self._area
        if np.count_nonzero(seen) < _FEWEST:
            return False
        own, like = self._own[asked], self._edges[there]
        both, square, other = (
            np.bincount(number, v, count)[seen] for v in (own * like, own * own, like * like)
        )
        share = both / np.maximum(square, 1e-12)
        usual = float(np.median(share))
        if not _FAINTEST < usual < _STRONGEST:
            return False
        same = (both > _ALIKE * np.sqrt(square * other)) & (share > usual / _LIKE) & (share < usual * _LIKE)
        most = same.sum() >= _FEWEST and same.mean() > _SHARE
        return bool(most and square[same].sum() > _SHARE * square.sum())


def _fitted(away: np.ndarray, shift: tuple[float, float]) -> Ghost | None:
    """Place a ghost to a part of a px, with its blur and its light; None where it adds no light."""
    grey = away.mean(axis=2)
    strong = _STRONG * float(np.quantile(np.abs(grey), 0.998))
    near = cv2.dilate((np.abs(grey) > strong).view(np.uint8), np.ones((9, 9), np.uint8)).astype(np.float32)
    own = (grey * near).astype(np.float32)

    def error(ghost: Ghost) -> tuple[float, float]:
        """What is left over of the ghosts of strong places, and their share of light."""
        moved = _moved(own, ghost)
        asked = _moved(near, Ghost(ghost.right_px, ghost.down_px, ghost.share, 0.0)) > 0.5
        like, there = moved[asked], grey[asked]
        clear = np.abs(like) > _STRONG * strong
        if not clear.any():
            return np.inf, 0.0
        share = float(np.median(there[clear] / like[clear]))  # pieces that lie over some do no harm
        left = np.abs(there - share * like)
        return float(np.minimum(left, _STRONG * abs(share) * strong).mean() / max(abs(share), 1e-6)), share

    found = Ghost(*shift, np.ones(1), _BLURS_PX[1])
    scale = max(1, round(max(grey.shape) / _LONG_PX))
    for step in (scale, scale / 2, 0.5, 0.25):
        ways = [(i * step, j * step) for i in (-1, 0, 1) for j in (-1, 0, 1)]
        near_by = [replace(found, right_px=found.right_px + i, down_px=found.down_px + j) for i, j in ways]
        found = min(near_by, key=lambda ghost: error(ghost)[0])
    found = min((replace(found, blur_px=px) for px in _BLURS_PX), key=lambda ghost: error(ghost)[0])
    share = error(found)[1]
    if not _FAINTEST < share < _STRONGEST:
        return None
    moved, shares = _moved(own, found), []
    clear = np.abs(moved) > _STRONG * strong
    for channel in range(3):
        plane = away[..., channel]
        source = _moved(plane * near, found)[clear]
        told = np.abs(source) > 0.25 * _STRONG * strong
        got = float(np.median(plane[clear][told] / source[told])) if told.sum() > _FEWEST_PX else share
        shares.append(float(np.clip(got, share / _LIKE, share * _LIKE)))
    return replace(found, share=np.array(shares))


def _moved(image: np.ndarray, ghost: Ghost) -> np.ndarray:
    """An image where its ghost lies; nothing comes from beyond the frame."""
    rows, cols = image.shape[:2]
    way = np.array([[1.0, 0.0, ghost.right_px], [0.0, 1.0, ghost.down_px]])
    moved = cv2.warpAffine(image, way, (cols, rows), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return cv2.GaussianBlur(moved, (0, 0), ghost.blur_px) if ghost.blur_px else moved


def _oil(light: np.ndarray) -> np.ndarray:
    """Light of the oil about each place: the usual one of a wide neighbourhood, (M, N[, 3]) float32."""
    rows, cols = light.shape[:2]
    part = 64.0 / max(rows, cols)
    small = cv2.resize(light, None, fx=part, fy=part, interpolation=cv2.INTER_AREA)
    reach = 7
    wide = cv2.copyMakeBorder(small, *(reach,) * 4, cv2.BORDER_REFLECT)
    windows = np.lib.stride_tricks.sliding_window_view(wide, (2 * reach + 1,) * 2, axis=(0, 1))
    of_each = windows.reshape(*windows.shape[:-2], -1)  # copied: then parted in place
    half = of_each.shape[-1] // 2
    of_each.partition(half, axis=-1)
    usual = of_each[..., half].copy()
    return cv2.resize(cv2.GaussianBlur(usual, (0, 0), 3.0), (cols, rows), interpolation=cv2.INTER_LINEAR)


def _linear(stored: np.ndarray) -> np.ndarray:
    """Light of values 0..1 as stored (IEC 61966-2-1)."""
    light: np.ndarray = np.where(stored <= 0.04045, stored / 12.92, ((stored + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32)


def _stored(light: np.ndarray) -> np.ndarray:
    values: np.ndarray = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return values.astype(np.float32)
