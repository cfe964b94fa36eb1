"""Rows of a particle table to stored particles: px columns by the scale, and stand-in outlines."""

from collections.abc import Mapping

import numpy as np

from measure.cell_text import unquoted
from measure.errors import InvalidInput
from measure.flags import FLAGS
from measure.model import ORIGINS
from measure.particles import Particles, make_particles
from measure.sizes.particle_table import BELOW_LIMIT, MEETS_FRAME, MEETS_ZONE
from measure.sizes.sample_parts import DIAMETER, counted_rows, kind_codes

Columns = Mapping[str, np.ndarray]

UNNAMED = "field without a name"
NOT_COUNTED = "marked as not counted"
MOST_PIECES = 2_000_000
_CORNERS = 8
_NUDGE = 1e-12
_FRAME, _ZONE = FLAGS["touches_frame"].bit, FLAGS["meets_zone"].bit
# column of the table -> column of particles; lengths are divided by the scale
_LENGTHS = {
    "perimeter_um": "perimeter_px",
    "feret_max_um": "feret_max_px",
    "feret_min_um": "feret_min_px",
    "feret_horizontal_um": "feret_h_px",
    "feret_vertical_um": "feret_v_px",
    "size_uncertainty_um": "size_uncertainty_px",
}
_SAME = {
    **{n: n for n in ("edge_width_px", "doubt", "kind_doubt", "straightness")},
    **{n: n for n in ("lightness_step", "green_red_step", "blue_yellow_step")},
    **{f"mean_{n}": n for n in ("red", "green", "blue")},
    "frame_weight": "stated_weight",
}


def rows_of_count(columns: Columns, name: str) -> tuple[dict[str, np.ndarray], tuple[str, ...]]:
    """Return the table with one row a piece: a row with a count is repeated.

    Raises
    ------
    InvalidInput
        If a count is no whole number, or there are more pieces than a study takes in.
    """
    rest = {column: values for column, values in columns.items() if column != "count"}
    if "count" not in columns:
        return rest, ()
    count = columns["count"]
    if (count != np.round(count)).any():
        row = int(np.flatnonzero(count != np.round(count))[0])
        raise InvalidInput(
            f"'{name}' has a count of {count[row]:g}; only whole pieces can be taken into a study."
        )
    if count.sum() > MOST_PIECES:
        raise InvalidInput(
            f"'{name}' stands for {count.sum():.0f} pieces; at most {MOST_PIECES} are taken in."
        )
    if (count == 1).all():
        return rest, ()
    places = np.repeat(np.arange(len(count)), np.maximum(count, 1).astype(int))
    rest = {column: values[places] for column, values in rest.items()}
    none = count[places] == 0
    kept, _ = counted_rows(rest)
    reasons = np.asarray(rest.get("set_aside_reason", np.full(len(places), "", dtype=object)), dtype=object)
    rest["set_aside_reason"] = np.where(kept & none, "with a count of 0", reasons)
    rest["counted"] = (kept & ~none).astype(float)
    rest.pop("particle", None)
    return rest, ("Rows that stand for several pieces became as many pieces.",)


def plain_names(columns: Columns, stem: str, batch: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the batch and the field of every row, (N,) each, never empty."""
    length = len(columns[DIAMETER])
    blank = np.full(length, "", dtype=object)
    homes = _texts(columns.get("batch", blank), stem)
    names = _texts(columns.get("field", blank), UNNAMED if "field" in columns else stem)
    if not batch:
        return homes, names
    if len(set(homes.tolist())) > 1:  # fields of different batches stay different fields
        names = np.array([f"{b} / {f}" for b, f in zip(homes, names, strict=True)], dtype=object)
    return np.full(length, batch, dtype=object), names


def pieces_of(columns: Columns, um_per_px: float, limit_um: float | None) -> Particles:
    """Return the rows of one field as particles.

    Parameters
    ----------
    columns : mapping of str to (N,) ndarray
        Rows of the table.
    um_per_px : float
        Scale that turns micrometres into px and back.
    limit_um : float or None
        Lower size limit that will be in force.

    Returns
    -------
    Particles
        Areas are those of the stated diameters, so sizes come back as they were; outlines are regular
        polygons of the same areas and stand in for what was seen.
    """
    d_um = np.asarray(columns[DIAMETER], dtype=float)
    counted, reasons, flags = _standing(columns)
    area = np.pi / 4 * (d_um / um_per_px) ** 2
    if limit_um is not None:
        # a size that is the limit to the last written digit must stay on its side of it
        back = np.sqrt(4 * area / np.pi) * um_per_px
        area = np.where(counted & (back < limit_um) & (d_um >= limit_um), area * (1 + _NUDGE), area)
        below = reasons == BELOW_LIMIT
        area = np.where(below & (back >= limit_um) & (d_um < limit_um * (1 + 1e-6)), area * (1 - 1e-6), area)
        reasons = np.where(below & (d_um >= limit_um * (1 + 1e-6)), NOT_COUNTED, reasons)
    elif (reasons == BELOW_LIMIT).any():
        reasons = np.where(reasons == BELOW_LIMIT, NOT_COUNTED, reasons)
    kinds, _ = kind_codes(columns, np.ones(len(d_um), dtype=bool))
    given = {new: columns[old] / um_per_px for old, new in _LENGTHS.items() if old in columns}
    given |= {new: columns[old] for old, new in _SAME.items() if old in columns}
    # a piece without a frame correction stands for one
    weight = given.get("stated_weight", np.ones(len(d_um)))
    given["stated_weight"] = np.where(np.isfinite(weight), weight, 1.0)
    centre = _centres(columns, area)
    return make_particles(
        _stand_ins(centre, area),
        **given,
        label=_labels(columns, len(d_um)),
        area_px2=area,
        centre_x_px=centre[:, 0],
        centre_y_px=centre[:, 1],
        hull_area_px2=_hull_area(columns, area),
        hull_perimeter_px=_hull_perimeter(columns, um_per_px),
        kind=0 if kinds is None else kinds,
        kind_by_hand=_whole(columns, "kind_by_hand") > 0,
        flags=flags,
        origin=[ORIGINS.index(o) if o in ORIGINS else 0 for o in columns.get("origin", [""] * len(d_um))],
        parent=_whole(columns, "parent"),
        set_aside=reasons,
        stated_volume_px3=columns["volume_um3"] / um_per_px**3,
    )


def _texts(values: np.ndarray, instead: str) -> np.ndarray:
    return np.array([unquoted(str(v)) or instead for v in values], dtype=object)


def _standing(columns: Columns) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return which rows count, the reason of those that do not, and the flags, so that both agree."""
    length = len(columns[DIAMETER])
    rest = {name: values for name, values in columns.items() if name != "frame_weight"}
    counted, _ = counted_rows(rest)  # a weight of 0 leaves a piece out of the figures by itself
    blank = np.full(length, "", dtype=object)
    flags = np.array([_bits(text) for text in columns.get("flags", blank)], dtype=int)
    reasons = np.array([unquoted(str(r)) for r in columns.get("set_aside_reason", blank)], dtype=object)
    if "counted" not in columns:
        reasons[~counted] = MEETS_FRAME
    reasons[~counted & (reasons == "")] = NOT_COUNTED
    reasons[counted] = ""
    flags[counted] &= ~(_FRAME | _ZONE)
    flags[~counted & (_whole(columns, "touches_frame") > 0) | (reasons == MEETS_FRAME)] |= _FRAME
    flags[reasons == MEETS_ZONE] |= _ZONE
    # the flags say it; what is said twice could disagree
    reasons[(reasons == MEETS_FRAME) | (reasons == MEETS_ZONE)] = ""
    return counted, reasons, flags


def _bits(text: str) -> int:
    value = 0
    for name in str(text).split():
        value |= FLAGS[name].bit if name in FLAGS else 0
    return value


def _labels(columns: Columns, length: int) -> np.ndarray:
    own = columns.get("particle")
    if own is not None and np.isfinite(own).all():
        usable = (own >= 1) & (own < 2**30) & (own == np.round(own))
        if usable.all() and len(np.unique(own)) == length:
            return own.astype(int)
    return np.arange(1, length + 1)


def _whole(columns: Columns, name: str) -> np.ndarray:
    values = np.asarray(columns.get(name, np.zeros(len(columns[DIAMETER]))), dtype=float)
    return np.where(np.isfinite(values) & (values < 2**31), values, 0).astype(int)


def _hull_area(columns: Columns, area: np.ndarray) -> np.ndarray:
    solidity = np.asarray(columns.get("solidity", np.full(len(area), np.nan)), dtype=float)
    return area / np.where(solidity > 0, solidity, np.nan)


def _hull_perimeter(columns: Columns, um_per_px: float) -> np.ndarray:
    unknown = np.full(len(columns[DIAMETER]), np.nan)
    convexity, length = (np.asarray(columns.get(n, unknown), float) for n in ("convexity", "perimeter_um"))
    return convexity * length / um_per_px


def _centres(columns: Columns, area: np.ndarray) -> np.ndarray:
    radius = np.sqrt(area / np.pi)
    unknown = np.full(len(area), np.nan)
    found = [np.asarray(columns.get(f"centre_{axis}_px", unknown), dtype=float) for axis in "xy"]
    return np.stack([np.where(np.isfinite(values), values, radius) for values in found], axis=1)


def _stand_ins(centre: np.ndarray, area: np.ndarray) -> list[np.ndarray]:
    """Return a regular polygon of each area about each centre."""
    angle = 2 * np.pi * np.arange(_CORNERS) / _CORNERS
    radius = np.sqrt(2 * area / (_CORNERS * np.sin(2 * np.pi / _CORNERS)))
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    whole = centre[:, None, :] + radius[:, None, None] * ring
    return list(whole.astype(np.float32))
