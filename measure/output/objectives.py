"""Numerical apertures of the objectives of a study, by scale; kept with the study."""

from measure.scale.optics import smallest_resolved_um
from measure.study.study import Study

SETTING = "objective_na"


def objectives(study: Study) -> dict[int, float]:
    """Return the numerical aperture of each scale's objective, by the id of the scale, where it was told."""
    return {int(scale_id): float(na) for scale_id, na in (study.setting(SETTING, None) or {}).items()}


def keep_objective(study: Study, scale_id: int, na: float | None) -> None:
    """Keep the numerical aperture of a scale's objective, or forget it (None); one undo step.

    Raises
    ------
    InvalidInput
        If no objective has that aperture.
    """
    if na is not None:
        smallest_resolved_um(na)  # refuses what cannot be
    before = objectives(study)
    after = {key: value for key, value in before.items() if key != scale_id}
    if na is not None:
        after[scale_id] = float(na)
    if after != before:
        zoom = next((row.scale.zoom for row in study.scales() if row.id == scale_id), "")
        text = f"Change the objective of {zoom}" if zoom else "Change an objective"
        study.set_setting(SETTING, {str(key): after[key] for key in sorted(after)}, text)
