"""Fields already measured, kept on disk one by one, so that a long run can be taken up again after a stop.

Each field leaves two small files named by a fingerprint of its picture and of every setting; the finished
tables are put together from them in the order of the fields.
"""

import csv
import hashlib
import json
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path

from measure import __version__
from measure.output.field_advice import with_agreement
from measure.output.field_run import FIELD_COLUMNS, FieldJob, FieldOutcome
from measure.output.tables import write_csv
from measure.output.waiting import read_waiting, write_waiting
from measure.safe_write import make_folder, write_text, written_beside
from measure.sizes.particle_table import TABLE_COLUMNS

FOLDER_NAME = ".gritline-parts"


def fingerprint(job: FieldJob, sha256: str, blank_sha256: str = "", *, count_once: bool = False) -> str:
    """Return the name a field is kept under: it changes with anything that could change its results."""
    what = {
        "program": __version__,
        "picture": sha256,
        "blank": blank_sha256,
        "name": job.name,
        "batch": job.batch,
        "scale": asdict(job.scale),
        "settings": asdict(job.settings),
        "models": asdict(job.models),
        "zones": [zone.tolist() for zone in job.zones],
        "border": job.border,
        "count_once": count_once,
    }
    return hashlib.sha256(json.dumps(what, sort_keys=True, default=str).encode()).hexdigest()[:32]


class Parts:
    """The folder of finished fields of one run.

    Parameters
    ----------
    folder : Path
        Folder of results; the parts live in a hidden folder inside.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = make_folder(folder / FOLDER_NAME)

    def has(self, key: str) -> bool:
        """Whether this field is finished."""
        return self._row(key).exists() and self._table(key).exists()

    def keep(self, key: str, outcome: FieldOutcome) -> None:
        """Keep one field's table and row; the row comes last and marks it finished."""
        write_csv(self._table(key), outcome.table)
        write_text(self._row(key), json.dumps(outcome.row))

    def keep_waiting(self, key: str, outcome: FieldOutcome) -> None:
        """Keep a measured field that is yet to be counted together with others."""
        write_waiting(self._waiting(key), outcome)

    def waiting(self, key: str, job: FieldJob) -> FieldOutcome | None:
        """Return a field kept by `keep_waiting`; None where there is none that can be read."""
        return read_waiting(self._waiting(key), job)

    def row(self, key: str) -> dict:
        """The row of the fields table."""
        return json.loads(self._row(key).read_text(encoding="utf-8"))

    def write_tables(self, keys: Iterable[str], folder: Path) -> None:
        """Write particles.csv and fields.csv from the parts, in the order of the keys."""
        keys = list(keys)
        with written_beside(folder / "particles.csv") as beside, beside.open("wb") as out:
            out.write((",".join(TABLE_COLUMNS) + "\r\n").encode())
            for key in keys:
                with self._table(key).open("rb") as part:
                    part.readline()  # its own header
                    shutil.copyfileobj(part, out)
        rows = with_agreement([self.row(key) for key in keys])
        write_csv(folder / "fields.csv", {name: [row[name] for row in rows] for name in FIELD_COLUMNS})

    def clear(self) -> None:
        """Remove the parts: the run is finished."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def _waiting(self, key: str) -> Path:
        return self.folder / f"{key}.npz"

    def _table(self, key: str) -> Path:
        return self.folder / f"{key}.csv"

    def _row(self, key: str) -> Path:
        return self.folder / f"{key}.json"


def read_rows(path: Path) -> Iterator[dict[str, str]]:
    """Yield the rows of a table as text, for a look at a few columns."""
    with path.open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)
