"""Outlines of many particles in one compact blob, exact to the last bit of their float32.

Neighbouring points share most of their high bits, so the difference of the bit patterns from one point to
the next is small; its bytes are regrouped by significance and deflated.
"""

import zlib
from collections.abc import Sequence

import numpy as np

CHUNK = 512  # particles a pack: damage to the file costs at most this many outlines
_LIMIT_BYTES = 1 << 30


def pack_outlines(outlines: Sequence[np.ndarray]) -> bytes:
    """Pack closed polygons.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray of float32
        At most `CHUNK` of them, though any number works.
    """
    counts = np.array([len(o) for o in outlines], dtype="<u4")
    points = np.concatenate([np.zeros((0, 2), np.float32), *outlines]).astype("<f4")
    bits = np.ascontiguousarray(points).view("<u4").reshape(-1, 2)
    steps = np.diff(bits, axis=0, prepend=np.zeros((1, 2), "<u4")).astype("<u4")
    grouped = np.ascontiguousarray(steps.T).view("u1").reshape(-1, 4).T
    head = np.array([len(counts)], dtype="<u4").tobytes() + counts.tobytes()
    return zlib.compress(head + grouped.tobytes(), 1)


def unpack_outlines(data: bytes) -> list[np.ndarray]:
    """Return the polygons of a pack.

    Raises
    ------
    ValueError
        If it is damaged.
    """
    try:
        worker = zlib.decompressobj()
        body = worker.decompress(data, _LIMIT_BYTES)
    except (zlib.error, TypeError) as error:
        raise ValueError("outlines are damaged") from error
    if not worker.eof or len(body) < 4:
        raise ValueError("outlines are damaged or too large")
    count = int(np.frombuffer(body, "<u4", 1)[0])
    if len(body) < 4 + 4 * count:
        raise ValueError("outlines are damaged")
    counts = np.frombuffer(body, "<u4", count, 4).astype(np.int64)
    grouped = np.frombuffer(body, "u1", offset=4 + 4 * count)
    if len(grouped) != 8 * counts.sum():
        raise ValueError("outlines are damaged")
    steps = np.ascontiguousarray(grouped.reshape(4, -1).T).view("<u4").reshape(2, -1)
    bits = np.cumsum(steps, axis=1, dtype=np.uint32)
    points = np.ascontiguousarray(bits.T).view(np.float32)
    ends = np.cumsum(counts).tolist()
    return [points[start:end] for start, end in zip([0, *ends], ends, strict=False)]
