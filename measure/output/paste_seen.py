"""How much paste lay under the microscope: from frame areas, film height and dilution of the slides."""

from collections.abc import Mapping, Sequence

from measure.judge.felt_strays import grams_examined
from measure.model import Scale
from measure.output.overlapping import seen_once_share
from measure.study.records import FieldRow, Slide


def grams_seen(
    rows: Sequence[FieldRow],
    scales: Mapping[int, Scale],
    slides: Mapping[int, Slide],
    links: Sequence[Mapping] = (),
) -> float | None:
    """Return the mass of paste in the frames of fields, g; None where a dilution or film is not known.

    With the ``links`` of `measure.output.overlapping`, what two fields show is taken once.
    """
    shares = seen_once_share(rows, links) if links else {}
    total = 0.0
    for row in rows:
        if row.role == "table" and row.width_px * row.height_px <= 1:  # its frame is not known
            return None
        slide = slides.get(row.slide_id) if row.slide_id is not None else None
        if slide is None or slide.dilution is None or slide.film_um is None or row.scale_id is None:
            return None
        um = scales[row.scale_id].um_per_px
        area_um2 = frame_area_px2(row) * um * um * shares.get(row.id, 1.0)
        total += grams_examined(area_um2, slide.film_um, slide.dilution)
    return total or None


def frame_area_px2(row: FieldRow) -> float:
    """Return the area of a field less its excluded zones."""
    whole = float(row.width_px * row.height_px)
    if not row.result_zones:
        return whole
    from shapely import box, union_all
    from shapely.geometry import Polygon

    zones = union_all([Polygon(z).buffer(0) for z in row.result_zones if len(z) >= 3])
    return max(whole - zones.intersection(box(0, 0, row.width_px, row.height_px)).area, 1.0)
