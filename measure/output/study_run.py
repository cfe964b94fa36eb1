"""Keep measured fields in a study while a run goes on: each field is on disk before the next is looked at."""

from dataclasses import asdict, replace
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from measure.errors import InvalidInput, StudyFileError
from measure.model import Scale
from measure.output.borders import borders_counted, count_border
from measure.output.field_run import FieldOutcome
from measure.study.records import Batch, NewField
from measure.study.study import Study


class StudyKeeper:
    """Writes outcomes of a run into a study, making the study when it is not there yet.

    Parameters
    ----------
    path : Path
        Study file.
    batch : Batch
        Batch the fields belong to unless `keep` names another; none when its name is empty.
    blank_path : str, optional
        Picture of blank oil used for all fields.

    Raises
    ------
    StudyFileError
        If the study cannot be made, opened or changed, or is damaged; it is untouched then.
    """

    def __init__(self, path: Path, batch: Batch, blank_path: str | None = None) -> None:
        self.study = Study.open(path) if path.exists() else Study.create(path)
        if self.study.read_only:
            why = self.study.read_only_reason
            self.study.close()
            raise StudyFileError(
                f"{path} cannot be changed, because {why}; name another study, or a copy of it elsewhere."
            )
        try:
            self.study.refuse_damaged()
        except BaseException:
            self.study.close()
            raise
        self._batch_id = self._find_batch(batch) if batch.name else None
        self._blank_id = self._find_or_add(blank_path, "blank") if blank_path else None
        fields = self.study.fields()
        self._known = {row.sha256: row.id for row in fields if row.sha256}
        self.replaced: list[str] = []  # what of the study gave way to new results, in words
        self._measured = {row.sha256 for row in fields if row.measured}
        self._scale_ids: dict[Scale, int] = {_timeless(row.scale): row.id for row in self.study.scales()}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.study.close()

    def scale_id(
        self,
        scale: Scale,
        picture: bytes | None = None,
        picture_name: str = "",
        fit: dict | None = None,
    ) -> int:
        """Return the id of a scale, adding it (with what shows its lines again) when the study lacks it."""
        same = _timeless(scale)
        if same not in self._scale_ids:
            self._scale_ids[same] = self.study.add_scale(scale, picture, picture_name, fit)
        return self._scale_ids[same]

    def keep(self, outcome: FieldOutcome, scale: Scale, batch: Batch | None = None) -> int:
        """Add the field and its result as one step; a picture the study holds already gets the new result.

        Returns
        -------
        int
            The field's id.

        Raises
        ------
        InvalidInput
            If the picture cannot be read any more.
        """
        result = outcome.kept_result()
        scale_id = self.scale_id(scale)
        batch_id = self._batch_id if batch is None else self._find_batch(batch)
        known = self._known  # asking the study for all its fields each time would slow a long run down
        with self.study.one_step(f"Measure {outcome.name}"):
            field_id = known.get(outcome.row["sha256"])
            if field_id is None:
                new = NewField(
                    outcome.name, _bytes(outcome.path), batch_id, scale_id,
                    width_px=outcome.row["width_px"], height_px=outcome.row["height_px"],
                )  # fmt: skip
                field_id = self.study.add_fields([new])[0]
            else:
                self._say_replaced(field_id, outcome, batch_id)
            self.study.update_field(
                field_id, scale_id=scale_id, blank_id=self._blank_id, zones=result.frame.zones
            )
            if batch_id is not None and self.study.field(field_id).batch_id != batch_id:
                self.study.update_field(field_id, batch_id=batch_id)
            self.study.store_result(field_id, result)
            if outcome.row.get("border") == "counted":
                count_border(self.study, field_id)
            if self.study.setting("measure_settings", None) is None:  # the window goes on as the run began
                settings = asdict(result.settings)
                self.study.set_setting("measure_settings", settings, "Change how fields are measured")
        known[outcome.row["sha256"]] = field_id
        return field_id

    def _say_replaced(self, field_id: int, outcome: FieldOutcome, batch_id: int | None) -> None:
        """Note what the study holds of a picture that is about to give way to its new result."""
        row, name, gone = self.study.field(field_id), outcome.name, []
        edits = self.study.hand_edits(field_id)
        if edits:
            gone.append("1 correction by hand" if edits == 1 else f"{edits} corrections by hand")
        new = outcome.kept_result().frame.zones
        lost = [z for z in row.zones if not any(np.array_equal(z, n) for n in new)]
        if lost and outcome.row.get("border") != "counted":
            gone.append("the areas left out before")
        if gone:
            self.replaced.append(
                f"{name} was measured anew in place of {' and '.join(gone)}; undo in the window brings "
                "that back"
            )
        if batch_id is not None and row.batch_id not in (None, batch_id):
            names = {b.id: b.batch.name for b in self.study.batches()}
            self.replaced.append(f"{name} was in the batch '{names[row.batch_id]}' and is in this one now")

    def holds(self, sha256: str) -> bool:
        """Whether the study holds this picture, measured."""
        return sha256 in self._measured

    def counts_border(self, sha256: str) -> bool:
        """Whether the study holds this picture and its border is to be counted."""
        return self._known.get(sha256) in borders_counted(self.study)

    def _find_batch(self, batch: Batch) -> int:
        named = {row.batch.name: row.id for row in self.study.batches()}
        return named[batch.name] if batch.name in named else self.study.add_batch(batch)

    def _find_or_add(self, path: str, role: str) -> int:
        from measure.picture_file import read_picture

        picture = read_picture(path)
        for row in self.study.fields():
            if row.sha256 == picture.sha256:
                return row.id
        new = NewField(
            Path(path).name, _bytes(path), None, None,
            width_px=picture.width_px, height_px=picture.height_px, role=role,
        )  # fmt: skip
        return self.study.add_fields([new])[0]


def _timeless(scale: Scale) -> Scale:
    """Return a scale without the time it was made at: typed again it is still the same scale."""
    return replace(scale, made="")


def _bytes(path: str) -> bytes:
    try:
        return Path(path).read_bytes()
    except OSError as error:
        raise InvalidInput(f"{path} cannot be read ({error.strerror}).") from error
