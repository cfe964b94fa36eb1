"""Fields of a study that overlap: the links kept with it, and each piece counted once."""

from collections.abc import Mapping, Sequence

import numpy as np

from measure.field.several.repeats import Overlap
from measure.model import Frame
from measure.particles import Particles
from measure.study.records import FieldRow
from measure.study.study import Study

SETTING = "field_overlaps"
_COLUMNS = ("set_aside", "flags", "stated_weight")


def plain_link(first: int, second: int, overlap: Overlap | None) -> dict:
    """Return a link between two fields as plain values; without an overlap the two show the same picture."""
    kept: dict[str, object] = {"first": first, "second": second, "same": overlap is None}
    if overlap is not None:
        kept |= {
            "matrix": overlap.matrix.tolist(),
            "share": overlap.share,
            "correlation": overlap.correlation,
        }
    return kept


def overlap_from(link: Mapping) -> Overlap:
    """Return the overlap of a link kept in the study."""
    return Overlap(np.array(link["matrix"], float), link["share"], link["correlation"], 0, float("nan"))


def kept_links(study: Study) -> list[dict]:
    """Return the links kept in the study whose fields are still there."""
    ids = {row.id for row in study.fields()}
    kept = study.setting(SETTING, []) or []
    return [link for link in kept if {link["first"], link["second"]} <= ids]


def keep_links(study: Study, links: list[dict]) -> None:
    """Keep links instead of those kept before."""
    study.set_setting(SETTING, links, "Keep the overlaps of fields")


def partners(study: Study, ids: Sequence[int]) -> set[int]:
    """Return the fields that overlap any of these, and these."""
    wanted = set(ids)
    pairs = [{link["first"], link["second"]} for link in kept_links(study)]
    return wanted.union(*(pair for pair in pairs if pair & wanted))


def count_shared_once(study: Study, ids: Sequence[int] | None = None) -> int:
    """Count the pieces of overlapping fields once, anew from what the links say.

    Parameters
    ----------
    study : Study
    ids : sequence of int, optional
        Fields whose groups are worked on; all by default. Fields that lost their links are set right too.

    Returns
    -------
    int
        Pieces that are set aside because another field counts them.
    """
    from measure.sizes.count_once import ALSO_ON, MeasuredField, count_once

    rows = [row for row in study.fields() if row.role == "field" and row.measured]
    links = _by_place(rows, kept_links(study))
    concerned = _concerned(rows, links, ids)
    rows = [row for row in rows if row.id in concerned]
    links = _by_place(rows, kept_links(study))
    fields = [
        MeasuredField(row.name, Frame(row.width_px, row.height_px, row.result_zones), study.particles(row.id))
        for row in rows
    ]
    changed = count_once(fields, links)
    for place, particles in changed.items():
        before = fields[place].particles
        differs = np.zeros(len(particles), bool)
        for name in _COLUMNS:
            one, two = particles[name], before[name]
            same = one == two if name != "stated_weight" else (one == two) | (np.isnan(one) & np.isnan(two))
            differs |= ~np.asarray(same, bool)
        columns = {name: particles[name][differs].tolist() for name in _COLUMNS}
        labels = particles["label"][differs].tolist()
        study.update_particles(
            rows[place].id, labels, f"Count shared pieces of {rows[place].name} once", **columns
        )
    now = [changed.get(i, field.particles) for i, field in enumerate(fields)]
    return sum(str(reason).startswith(ALSO_ON) for one in now for reason in one["set_aside"])


def weighed_with_others(study: Study, field_id: int, added: Particles) -> Particles:
    """Return new pieces of a field weighed for the frame it makes with others that overlap it.

    Parameters
    ----------
    study : Study
    field_id : int
    added : Particles
        Made by hand, not yet in the study.

    Returns
    -------
    Particles
        The same ones where the field overlaps no other.
    """
    from measure.sizes.shared_frames import united_weight

    if not any(field_id in (link["first"], link["second"]) for link in study.setting(SETTING, []) or []):
        return added  # a correction must not wait for a look at all fields
    group = _concerned_rows(study, [field_id])
    links = _by_place(group, kept_links(study))
    if not links or not len(added):
        return added
    weight = united_weight(_placed(group, links), added["feret_h_px"], added["feret_v_px"])
    return added.replaced(stated_weight=weight)


def _concerned_rows(study: Study, ids: Sequence[int]) -> list[FieldRow]:
    rows = [row for row in study.fields() if row.role == "field" and row.measured]
    concerned = _concerned(rows, _by_place(rows, kept_links(study)), ids)
    return [row for row in rows if row.id in concerned]


def _placed(rows: Sequence[FieldRow], links: Mapping[tuple[int, int], Overlap]) -> list:
    from measure.field.several.stitch import place_fields
    from measure.sizes.shared_frames import PlacedFrame

    matrices, _ = place_fields(rows, links)
    frames = [Frame(row.width_px, row.height_px, row.result_zones) for row in rows]
    return [PlacedFrame(frame, matrix) for frame, matrix in zip(frames, matrices, strict=True)]


def _by_place(rows: Sequence[FieldRow], links: Sequence[Mapping]) -> dict[tuple[int, int], Overlap]:
    place = {row.id: i for i, row in enumerate(rows)}
    found = {}
    for link in links:
        if not link["same"] and link["first"] in place and link["second"] in place:
            i, j = place[link["first"]], place[link["second"]]
            overlap = overlap_from(link)
            found[min(i, j), max(i, j)] = overlap if i < j else _turned_round(overlap)
    return found


def _turned_round(overlap: Overlap) -> Overlap:
    turn = np.linalg.inv(overlap.matrix[:, :2])
    matrix = np.column_stack([turn, -turn @ overlap.matrix[:, 2]])
    return Overlap(matrix, overlap.share, overlap.correlation, overlap.points, overlap.residual_px)


def _concerned(
    rows: Sequence[FieldRow], links: Mapping[tuple[int, int], Overlap], ids: Sequence[int] | None
) -> set[int]:
    from measure.field.several.stitch import linked_groups

    if ids is None:
        return {row.id for row in rows}
    wanted = set(ids)
    for group in linked_groups(len(rows), links):
        mine = {rows[place].id for place in group}
        if mine & wanted:
            wanted |= mine
    return wanted


def seen_once_share(rows: Sequence[FieldRow], links: Sequence[Mapping]) -> dict[int, float]:
    """Return, by field id, the share of its area that is not counted twice over fields that overlap.

    Each field of a group carries the same share: area shown together over the sum of the areas.
    """
    from measure.field.several.stitch import linked_groups
    from measure.sizes.shared_frames import united_area_px2

    by_place = _by_place(rows, links)
    shares: dict[int, float] = {}
    for group in linked_groups(len(rows), by_place):
        own = {(group.index(i), group.index(j)): link for (i, j), link in by_place.items() if i in group}
        placed = _placed([rows[place] for place in group], own)
        alone = sum(united_area_px2([one]) for one in placed)
        shares |= {rows[p].id: united_area_px2(placed) / max(alone, 1e-9) for p in group}
    return shares
