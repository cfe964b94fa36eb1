"""Fields whose even border round the view counts, because the user wants it so; kept with the study."""

from measure.study.study import Study

SETTING = "borders_counted"


def borders_counted(study: Study) -> set[int]:
    """Return the ids of the fields whose border is not left out by itself."""
    return {int(field_id) for field_id in study.setting(SETTING, None) or ()}


def count_border(study: Study, field_id: int, counted: bool = True) -> None:
    """Keep whether the border of a field counts, also when it is measured again; one undo step."""
    before = borders_counted(study)
    after = before | {field_id} if counted else before - {field_id}
    if after != before:
        name = study.field(field_id).name
        text = f"Count the border of {name}" if counted else f"Leave out the border of {name}"
        study.set_setting(SETTING, sorted(after), text)
