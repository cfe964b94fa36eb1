"""Doubtful first: in which order a person should look at the pieces of a field."""

import numpy as np

from app.canvas.style import DOUBTFUL
from app.models.field_pieces import FieldPieces
from measure.flags import FLAGS

_LOOKED_AT = FLAGS["looked_at"].bit
_BEYOND = FLAGS["touches_frame"].bit | FLAGS["meets_zone"].bit  # whatever they are, they are not counted


def looked_at(pieces: FieldPieces) -> np.ndarray:
    """Return which pieces a person has accepted, (K,) ndarray of bool."""
    return (pieces.particles["flags"] & _LOOKED_AT) != 0


def waiting(pieces: FieldPieces) -> np.ndarray:
    """Return the numbers of the pieces not yet looked at, most doubtful first.

    Pieces that cannot be counted anyway (at the frame, in a zone, below the lower limit) are left out.
    """
    rows = _waiting_rows(pieces)
    order = np.argsort(-pieces.particles["doubt"][rows], kind="stable")
    return pieces.particles["label"][rows[order]]


def doubtful_count(pieces: FieldPieces) -> int:
    """Return how many doubtful pieces wait to be looked at."""
    return int((pieces.particles["doubt"][_waiting_rows(pieces)] >= DOUBTFUL).sum())


def _waiting_rows(pieces: FieldPieces) -> np.ndarray:
    beyond = (pieces.particles["flags"] & _BEYOND) != 0
    return np.flatnonzero(~looked_at(pieces) & ~pieces.too_small & ~beyond)


def step(pieces: FieldPieces, now: int, forward: bool = True) -> int:
    """Return the piece to look at after (or before) the piece ``now``; 0 when none waits.

    A piece that is not waiting itself takes the place its doubt would have.
    """
    order = waiting(pieces)
    if not len(order):
        return 0
    found = np.flatnonzero(order == now)
    if len(found):
        place = int(found[0]) + (1 if forward else -1)
    else:
        place = _place_of(pieces, now, order) - (0 if forward else 1)
    return int(order[place]) if 0 <= place < len(order) else int(order[0] if forward else order[-1])


def _place_of(pieces: FieldPieces, now: int, order: np.ndarray) -> int:
    row = pieces.row_of(now)
    if row < 0:
        return 0
    doubts = pieces.particles["doubt"][pieces.rows_of(order.tolist())]
    return int(np.searchsorted(-doubts, -pieces.particles["doubt"][row], side="right"))
