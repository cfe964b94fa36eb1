"""The particle table: one row a particle, in micrometres.

This is the one place where pixels become micrometres.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from measure.flags import FLAGS, decode
from measure.model import KINDS, ORIGINS, Frame, Scale
from measure.particles import Particles
from measure.sizes.frame_weight import frame_weight
from measure.sizes.volume import VolumeModels


class Column(NamedTuple):
    """One column of the table: its type letter (s text, i whole, f real), unit and meaning."""

    type: str
    unit: str
    meaning: str


TABLE_COLUMNS: dict[str, Column] = {
    "batch": Column("s", "", "batch the field belongs to"),
    "field": Column("s", "", "field of view, by its picture's name"),
    "particle": Column("i", "", "number of the particle in its field"),
    "kind": Column("s", "", "kernel, skin, salt or other"),
    "counted": Column("i", "", "1: in the size figures; 0: listed only"),
    "set_aside_reason": Column("s", "", "why it is not counted; empty where it is"),
    "centre_x_px": Column("f", "px", "centroid, x; corner of the first pixel is 0, 0; upright picture"),
    "centre_y_px": Column("f", "px", "centroid, y"),
    "area_um2": Column("f", "µm²", "area inside the outline"),
    "area_equivalent_diameter_um": Column("f", "µm", "x_A = sqrt(4 A / pi)"),
    "feret_max_um": Column("f", "µm", "largest Feret diameter"),
    "feret_min_um": Column("f", "µm", "smallest Feret diameter"),
    "perimeter_um": Column("f", "µm", "length of the outline"),
    "aspect_ratio": Column("f", "1", "smallest over largest Feret diameter, 0..1"),
    "circularity": Column("f", "1", "sqrt(4 pi A / P^2), ISO 9276-6, with the root"),
    "solidity": Column("f", "1", "area over area of the convex hull"),
    "volume_um3": Column("f", "µm³", "by the volume model of its kind"),
    "touches_frame": Column("i", "", "1: meets the measurement frame"),
    "frame_weight": Column("f", "1", "frame correction (Miles-Lantuejoul), 1/P; 0 where it meets the frame"),
    "touching": Column("i", "", "1: cut from a touching cluster"),
    "edge_width_px": Column("f", "px", "10-90 % width of the edge"),
    "doubt": Column("f", "1", "0..1, how unsure Gritline is of this particle"),
    "size_uncertainty_um": Column("f", "µm", "standard uncertainty of x_A from the edge alone"),
    "kind_doubt": Column("f", "1", "0..1, how unsure the kind is"),
    "kind_by_hand": Column("i", "", "1: kind set by hand"),
    "flags": Column("s", "", "names of the flags raised"),
    "origin": Column("s", "", "found, cut, joined, drawn or reshaped"),
    "parent": Column("i", "", "number shared by the pieces of one cluster; 0 for none"),
    "feret_horizontal_um": Column("f", "µm", "horizontal Feret diameter"),
    "feret_vertical_um": Column("f", "µm", "vertical Feret diameter"),
    "mean_red": Column("f", "1", "mean red inside, 0..255"),
    "mean_green": Column("f", "1", "mean green inside, 0..255"),
    "mean_blue": Column("f", "1", "mean blue inside, 0..255"),
    "lightness_step": Column("f", "1", "CIELAB L inside, less the oil's"),
    "green_red_step": Column("f", "1", "CIELAB a inside, less the oil's"),
    "blue_yellow_step": Column("f", "1", "CIELAB b inside, less the oil's"),
    "straightness": Column("f", "1", "share of the outline on straight runs"),
    "um_per_px": Column("f", "µm/px", "scale used"),
    "scale_relative_uncertainty": Column("f", "1", "relative standard uncertainty of the scale"),
    "smallest_um": Column("f", "µm", "lower size limit in force"),
    "convexity": Column("f", "1", "perimeter of the convex hull over that of the outline, ISO 9276-6"),
}

Table = dict[str, np.ndarray]

BELOW_LIMIT = "below the lower limit"
MEETS_FRAME = "meets the frame"
MEETS_ZONE = "meets an area left out"


def particle_table(
    particles: Particles,
    *,
    frame: Frame,
    scale: Scale,
    smallest_um: float,
    models: VolumeModels | None = None,
    batch: str = "",
    field: str = "",
) -> Table:
    """Turn the particles of one field into table columns in micrometres.

    Parameters
    ----------
    particles : Particles
        K particles in px.
    frame : Frame
        Measurement frame, for the frame correction.
    scale : Scale
        Micrometres per pixel.
    smallest_um : float
        Lower size limit, area-equivalent diameter; smaller ones are listed, not counted.
    models : VolumeModels, optional
        Volume model of each kind.
    batch, field : str
        Names written in the rows.

    Returns
    -------
    dict of str to (K,) ndarray
        Exactly the columns of `TABLE_COLUMNS`, in that order; empty typed columns without particles.

    References
    ----------
    .. [1] ISO 9276-6:2008, descriptors of shape. .. [2] ISO 13322-1:2014, static image analysis.
    """
    s = scale.um_per_px
    diameter_um = particles.diameter_px * s
    kind = particles["kind"]
    on_frame = (particles["flags"] & FLAGS["touches_frame"].bit) != 0
    reasons = _reasons(particles, on_frame, diameter_um < smallest_um)
    whole = ~on_frame
    weight = np.zeros(len(particles))
    weight[whole] = frame_weight(frame, particles["feret_h_px"][whole], particles["feret_v_px"][whole])
    weight[whole] = _stated(particles["stated_weight"][whole], weight[whole])
    area_um2 = particles["area_px2"] * s * s
    volume_um3 = (models or VolumeModels()).volume_um3(kind, area_um2)
    length = len(particles)
    values = {
        "batch": [batch] * length,
        "field": [field] * length,
        "particle": particles["label"],
        "kind": [KINDS[k].value for k in kind],
        "counted": reasons == "",
        "set_aside_reason": reasons,
        "centre_x_px": particles["centre_x_px"],
        "centre_y_px": particles["centre_y_px"],
        "area_um2": area_um2,
        "area_equivalent_diameter_um": diameter_um,
        "feret_max_um": particles["feret_max_px"] * s,
        "feret_min_um": particles["feret_min_px"] * s,
        "perimeter_um": particles["perimeter_px"] * s,
        "aspect_ratio": _ratio(particles["feret_min_px"], particles["feret_max_px"]),
        "circularity": _ratio(np.sqrt(4 * np.pi * particles["area_px2"]), particles["perimeter_px"]),
        "solidity": _ratio(particles["area_px2"], particles["hull_area_px2"]),
        "volume_um3": _stated(particles["stated_volume_px3"] * s**3, volume_um3),
        "touches_frame": on_frame,
        "frame_weight": weight,
        "touching": (particles["flags"] & FLAGS["touching"].bit) != 0,
        "edge_width_px": particles["edge_width_px"],
        "doubt": particles["doubt"],
        "size_uncertainty_um": particles["size_uncertainty_px"] * s,
        "kind_doubt": particles["kind_doubt"],
        "kind_by_hand": particles["kind_by_hand"],
        "flags": _flag_names(particles["flags"]),
        "origin": [ORIGINS[v] for v in particles["origin"]],
        "parent": particles["parent"],
        "feret_horizontal_um": particles["feret_h_px"] * s,
        "feret_vertical_um": particles["feret_v_px"] * s,
        "mean_red": particles["red"],
        "mean_green": particles["green"],
        "mean_blue": particles["blue"],
        "lightness_step": particles["lightness_step"],
        "green_red_step": particles["green_red_step"],
        "blue_yellow_step": particles["blue_yellow_step"],
        "straightness": particles["straightness"],
        "um_per_px": np.full(length, s),
        "scale_relative_uncertainty": np.full(length, scale.relative_uncertainty),
        "smallest_um": np.full(length, smallest_um),
        "convexity": _ratio(particles["hull_perimeter_px"], particles["perimeter_px"]),
    }
    return {name: _typed(column.type, values[name], length) for name, column in TABLE_COLUMNS.items()}


def join_tables(tables: Sequence[Table]) -> Table:
    """Put tables after one another; with none, an empty typed table."""
    if not tables:
        return {name: _typed(column.type, (), 0) for name, column in TABLE_COLUMNS.items()}
    return {name: np.concatenate([t[name] for t in tables]) for name in TABLE_COLUMNS}


def _reasons(particles: Particles, on_frame: np.ndarray, too_small: np.ndarray) -> np.ndarray:
    in_zone = (particles["flags"] & FLAGS["meets_zone"].bit) != 0
    # the pipeline's own "below the limit" is decided afresh, since the limit may have been changed
    given = particles["set_aside"].copy()
    given[given == BELOW_LIMIT] = ""
    free = given == ""
    given[free & too_small] = BELOW_LIMIT
    given[free & in_zone] = MEETS_ZONE
    given[free & on_frame] = MEETS_FRAME
    return given


def _stated(stated: np.ndarray, derived: np.ndarray) -> np.ndarray:
    """Return what an imported table states, else what follows from the particle."""
    return np.where(np.isfinite(stated), stated, derived)


def _flag_names(flags: np.ndarray) -> np.ndarray:
    # few patterns of flags stand for thousands of particles
    patterns, place = np.unique(flags, return_inverse=True)
    return np.array([" ".join(decode(v)) for v in patterns], dtype=object)[place]


def _ratio(top: np.ndarray, bottom: np.ndarray) -> np.ndarray:
    ratio = np.full(len(top), np.nan)
    np.divide(top, bottom, out=ratio, where=bottom > 0)
    return np.minimum(ratio, 1.0)


def _typed(letter: str, values: object, length: int) -> np.ndarray:
    array = np.empty(length, dtype={"s": object, "i": np.int64, "f": np.float64}[letter])
    array[:] = values
    return array
