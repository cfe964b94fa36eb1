"""Records to the plain values a table keeps, and back: JSON, scales, results, zones."""

import dataclasses
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from measure.errors import InvalidInput
from measure.model import FieldQuality, FieldResult, FieldSettings, Scale

NOT_TOLD = 0  # older results do not say which blank oil they were measured with
SCALE_COLUMNS = tuple(f.name for f in dataclasses.fields(Scale))


def plain(value: object) -> Any:
    """Return ``value`` as what JSON and SQLite can hold: numpy scalars and arrays become numbers and lists.

    Without this a numpy integer would be stored as raw bytes.

    Raises
    ------
    InvalidInput
        If there is something in it that is not data.
    """
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, str):
        return clean_text(value)
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Sequence | set | frozenset) and not isinstance(value, bytes | bytearray):
        return [plain(item) for item in value]
    raise InvalidInput(f"A study cannot keep a value of the type {type(value).__name__}.")


def clean_text(text: str) -> str:
    """Return a text any file can hold: half characters, as odd file names have, become question marks."""
    return str(text).encode("utf-8", "replace").decode("utf-8")


def to_json(value: object) -> str:
    """Return the JSON text of a value, numpy allowed."""
    return json.dumps(plain(value), ensure_ascii=False, separators=(",", ":"))


def from_json(text: str) -> Any:
    """Return the value of a JSON text."""
    return json.loads(text)


def number(value: object) -> float | int | str | None:
    """Return a number or text a table can hold, or None for None and nan."""
    held = plain(value)
    return None if isinstance(held, float) and math.isnan(held) else held


def scale_values(scale: Scale) -> tuple:
    """Return the values of a scale in the order of `SCALE_COLUMNS`."""
    values = [number(getattr(scale, name)) for name in SCALE_COLUMNS]
    values[SCALE_COLUMNS.index("notes")] = to_json(scale.notes)
    return tuple(values)


def scale_from(values: Sequence) -> Scale:
    """Return the scale of stored values."""
    named: dict[str, Any] = dict(zip(SCALE_COLUMNS, values, strict=True))
    named["notes"] = tuple(from_json(named["notes"]))
    return Scale(**named)


def zones_json(zones: Iterable[np.ndarray]) -> str:
    """Return the JSON text of polygons, each (K, 2) px."""
    return to_json([np.asarray(zone, dtype=float).reshape(-1, 2) for zone in zones])


def zones_from(value: Iterable) -> tuple[np.ndarray, ...]:
    """Return polygons as (K, 2) arrays of float."""
    return tuple(np.asarray(zone, dtype=float).reshape(-1, 2) for zone in value)


def result_json(result: FieldResult, blank_id: int | None = None) -> str:
    """Return everything of a result but its particles as JSON text, with the blank oil in force."""
    return to_json(
        {
            "settings": dataclasses.asdict(result.settings),
            # an imported table knows nothing of a picture
            "quality": None if result.quality is None else dataclasses.asdict(result.quality),
            "zones": [np.asarray(zone, dtype=float) for zone in result.frame.zones],
            "um_per_px": float(result.um_per_px),
            "smallest_px": float(result.smallest_px),
            "seconds": float(result.seconds),
            "notes": result.notes,
            "blank_id": blank_id,
        }
    )


def result_from(text: str) -> dict[str, Any]:
    """Return what `result_json` wrote, as arguments of a `FieldRow`."""
    body = from_json(text)
    return {
        "settings": FieldSettings(**known(FieldSettings, body["settings"])),
        "quality": None if body["quality"] is None else _quality_from(body["quality"]),
        "result_zones": zones_from(body["zones"]),
        "um_per_px": body["um_per_px"],
        "smallest_px": body["smallest_px"],
        "seconds": body["seconds"],
        "result_notes": tuple(body["notes"]),
        "result_blank_id": body.get("blank_id", NOT_TOLD),
    }


def _quality_from(body: Mapping) -> FieldQuality:
    quality = known(FieldQuality, body)
    tuples = {name: tuple(quality[name]) for name in ("oil_rgb", "warnings")}
    return FieldQuality(**{**quality, **tuples})


def known(record: type, values: Mapping) -> dict:
    """Return the values a record has a place for; files of a later minor format may hold more."""
    names = {f.name for f in dataclasses.fields(record)}
    return {name: value for name, value in values.items() if name in names}
