"""Adding pictures: read by a worker, twins refused by name, batch and scale given where they are plain."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QMimeData

from app import jobs, number_text
from app.messages import DONE, WARNING
from app.session import Session
from measure.errors import KnownError
from measure.model import Scale
from measure.output.table_import import take_in
from measure.output.table_source import FIELDS_NAME, TableSource, read_table
from measure.picture_file import LISTED_SUFFIXES
from measure.picture_png import left_out_of
from measure.study.records import TABLE_METHOD, Batch, NewField, ScaleRow

TABLE_SUFFIXES = (".csv", ".xlsx", ".parquet")
_MOST_SAID = 3  # files left out that are spoken of one by one
KEY, TABLE_KEY = "read pictures", "read tables"


def is_table(path: Path) -> bool:
    """Return whether a file may be a particle table, by its name."""
    return path.suffix.lower() in TABLE_SUFFIXES


def dropped(data: QMimeData) -> list[Path]:
    """Return the pictures, folders and tables among what is dragged."""
    return [*dropped_pictures(data), *dropped_tables(data)]


def dropped_pictures(data: QMimeData) -> list[Path]:
    """Return the pictures and folders among what is dragged."""
    paths = [Path(url.toLocalFile()) for url in data.urls() if url.isLocalFile()]
    return [path for path in paths if path.is_dir() or path.suffix.lower() in LISTED_SUFFIXES]


def dropped_tables(data: QMimeData) -> list[Path]:
    """Return the tables among what is dragged."""
    paths = [Path(url.toLocalFile()) for url in data.urls() if url.isLocalFile()]
    return [path for path in paths if is_table(path)]


@dataclass(frozen=True)
class Sorted:
    """What was read, told apart: new pictures, and the reasons of those left out."""

    new: list[jobs.ReadPicture]
    refusals: list[str]


def tell_apart(read: Iterable[jobs.ReadPicture], known: dict[str, str]) -> Sorted:
    """Leave out what cannot be read and what is there already.

    Parameters
    ----------
    known : dict of str to str
        SHA-256 of the pictures in the study, and their names.
    """
    seen = dict(known)
    new, refusals = [], []
    for picture in read:
        if picture.refusal:
            refusals.append(picture.refusal)
        elif picture.sha256 in seen:
            refusals.append(f"{picture.path.name} is the same picture as {seen[picture.sha256]}.")
        else:
            seen[picture.sha256] = picture.path.name
            new.append(picture)
    return Sorted(new, refusals)


def plain_scale(scales: Iterable[ScaleRow], width_px: int, height_px: int) -> int | None:
    """Return the scale a new picture plainly belongs to: the only one, or the only one of its size."""
    scales = [row for row in scales if row.scale.method != TABLE_METHOD]
    if len(scales) == 1:
        return scales[0].id
    fitting = [row.id for row in scales if _size_of(row.scale) == (width_px, height_px)]
    return fitting[0] if len(fitting) == 1 else None


def _size_of(scale: Scale) -> tuple[int | None, int | None]:
    return scale.width_px, scale.height_px


class Adder:
    """Adds files and folders to the study that is open."""

    def __init__(self, session: Session, added: Callable[[list[int]], None]) -> None:
        self._session, self._added = session, added

    def add(self, paths: list[Path], batch_id: int | None, role: str = "field") -> None:
        """Read pictures in the background and add them as one step.

        Parameters
        ----------
        batch_id : int or None
            Where single files go; a folder becomes the batch of its name.
        """
        session, tables = self._session, [path for path in paths if is_table(path)]
        paths = [path for path in paths if not is_table(path)]
        try:
            session.need_writable()
        except KnownError as error:
            session.tell(error.text, WARNING)
            return
        if tables:
            self._add_tables(tables)
        if paths:
            session.tasks.run(
                lambda progress: jobs.read_pictures(paths, progress),
                lambda read: self._take(read, batch_id, role),
                text="Reading pictures",
                key=KEY,
            )

    def _add_tables(self, paths: list[Path]) -> None:
        """Read particle tables in the background and take each in as a batch of its own."""
        # the table of fields says how large the pictures were; it is read beside the one of particles
        tables = [p for p in paths if p.name.lower() != FIELDS_NAME] or paths
        self._session.tasks.run(
            lambda _progress: [read_table(path) for path in tables],
            self._take_tables,
            text="Reading tables",
            key=TABLE_KEY,
        )

    def _take_tables(self, sources: list[TableSource]) -> None:
        session = self._session
        for source in sources:
            taken = session.do(take_in, session.study, source) if session.study is not None else None
            if taken is None:
                return
            session.tell(" ".join((taken.words, *taken.notes)), DONE)
            self._added(list(taken.field_ids))

    def _take(self, read: list[jobs.ReadPicture], batch_id: int | None, role: str) -> None:
        session = self._session
        if session.study is None:
            return
        told = tell_apart(read, {row.sha256: row.name for row in session.open_study.fields()})
        ids = session.do(self._store, told.new, batch_id, role) if told.new else []
        if ids is None:
            return
        self._report(len(ids), told.refusals)
        if ids:
            self._added(ids)

    def _store(self, pictures: list[jobs.ReadPicture], batch_id: int | None, role: str) -> list[int]:
        study = self._session.open_study
        what = pictures[0].path.name if len(pictures) == 1 else f"{len(pictures)} pictures"
        with study.one_step(f"Add {what}"):
            batches = {row.batch.name: row.id for row in study.batches()}
            if batch_id is None:
                batch_id = next(iter(batches.values()), None)
            new = []
            for picture in pictures:
                home = batch_id
                if picture.folder or home is None:
                    home = self._batch_named(picture.folder or "Batch 1", batches)
                scale = plain_scale(study.scales(), picture.width_px, picture.height_px)
                new.append(
                    NewField(
                        name=picture.path.name,
                        data=picture.data,
                        batch_id=home,
                        scale_id=scale,
                        width_px=picture.width_px,
                        height_px=picture.height_px,
                        role=role,
                    )
                )
            ids = study.add_fields(new)
            for field_id, picture in zip(ids, pictures, strict=True):
                zones = left_out_of(picture.data)  # a joined picture says what nobody pictured
                if zones:
                    study.update_field(field_id, zones=zones)
            return ids

    def _batch_named(self, name: str, batches: dict[str, int]) -> int:
        if name not in batches:
            batches[name] = self._session.open_study.add_batch(Batch(name))
        return batches[name]

    def _report(self, added: int, refusals: list[str]) -> None:
        parts = [f"Added {number_text.count(added, 'picture')}."] if added else []
        if refusals:
            parts.append(refusals[0])
            parts += refusals[1:_MOST_SAID]
            rest = len(refusals) - _MOST_SAID
            if rest > 0:
                parts.append(f"{number_text.count(rest, 'more file')} left out for such reasons.")
        self._session.tell(" ".join(parts), WARNING if refusals else DONE)
