"""A stage micrometer's picture in, micrometres per pixel with its uncertainty out."""

from measure.scale.by_hand import count_divisions, scale_from_points, typed_scale
from measure.scale.find import find_scale
from measure.scale.fit import RulingFit, fit_from_plain, fit_to_plain, revised
from measure.scale.scale_file import check_um_per_px, read_aperture, read_scale, scale_to_json, write_scale
from measure.scale.snapping import lines_between, normal_across, snap_to_line

__all__ = [
    "RulingFit",
    "check_um_per_px",
    "count_divisions",
    "find_scale",
    "fit_from_plain",
    "fit_to_plain",
    "lines_between",
    "normal_across",
    "read_aperture",
    "read_scale",
    "revised",
    "scale_from_points",
    "scale_to_json",
    "snap_to_line",
    "typed_scale",
    "write_scale",
]
