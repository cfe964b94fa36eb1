"""Plain words for what the study file holds, for people who read the record of changes."""

import json
from collections.abc import Callable, Mapping

from measure.flags import decode as decode_flags
from measure.flags import reason_words
from measure.model import KINDS, ORIGINS

Names = Mapping[str, Mapping[int, str]]
LONGEST = 120

_PLURALS = {"batch": "batches"}
# a column that refers to another row, and the table of that row
_REFERS = {"batch_id": "batch", "scale_id": "scale", "slide_id": "slide", "blank_id": "field"}
_COLUMNS = {
    "batch_id": "batch",
    "scale_id": "scale",
    "slide_id": "slide",
    "blank_id": "blank oil",
    "zones": "left out",
    "um_per_px": "µm per px",
    "standard_uncertainty_um_per_px": "standard uncertainty, µm per px",
    "division_um": "division, µm",
    "certificate_um": "uncertainty on the certificate, µm",
    "angle_deg": "angle, degrees",
    "residual_px": "residual, px",
    "width_px": "width, px",
    "height_px": "height, px",
    "film_um": "film, µm",
    "area_px2": "area, px²",
    "made": "made on",
    "value": "",
    "role": "shows",
}
_SETTINGS = {
    "measure_settings": "how fields are measured",
    "felt_profile": "what size is felt",
    "volume_models": "how volumes are made",
    "specification": "the specification",
    "learned_kinds": "the kinds learned",
    "field_overlaps": "which fields overlap",
    "slide_plans": "where fields are taken",
    "count_plan": "the plan of dilution and count",
    "borders_counted": "fields whose border counts",
    "objective_na": "numerical apertures of the objectives",
}
_ROLES = {"field": "field of a smear", "blank": "blank oil", "ruling": "ruling", "table": "table"}


def names_of_rows(read: Callable[..., list[tuple]]) -> dict[str, dict[int, str]]:
    """Return the names rows go by at present, by table and number."""
    columns = {"batch": "name", "slide": "name", "field": "name", "scale": "zoom", "setting": "name"}
    columns |= {"tasting": "name", "spot_check": "name"}
    found = {}
    for table, column in columns.items():
        rows = read(f"SELECT id, {column} FROM {table}", ())
        found[table] = {row_id: name for row_id, name in rows if name}
    found["setting"] = {row_id: setting_words(name) for row_id, name in found["setting"].items()}
    return found


def setting_words(name: str) -> str:
    """Return what a setting is, in words."""
    return _SETTINGS.get(name, name.replace("_", " ").replace(".", " "))


def table_words(table: str, count: int) -> str:
    """Return the word for rows of a table."""
    word = "piece" if table == "particle" else str(table).replace("_", " ")
    return word if count == 1 else _PLURALS.get(table, word + "s")


def column_words(name: str) -> str:
    """Return the word for a column; empty where the value speaks for itself."""
    return _COLUMNS.get(name, name.replace("_", " "))


def value_words(name: str, value: object, names: Names) -> str:
    """Return a value as its reader would say it."""
    known = _known_words(name, value, names)
    if known:
        return known
    if value is None:
        return "none"
    if isinstance(value, float):
        return f"{value:.6g}"
    text = _told(value) or "(empty)"
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def _known_words(name: str, value: object, names: Names) -> str:
    """Return words for a value whose meaning the name tells; empty for any other."""
    if name in {"kind_by_hand", "closed"}:
        return "yes" if value else "no"
    if name in {"result", "fit"} and value is not None:
        return "measured" if name == "result" else "lines found"
    if name == "role":
        return _ROLES.get(str(value), "")
    if name == "zones":
        return _areas(value)
    if name == "set_aside" and value:
        return reason_words(str(value))
    if name == "results":
        return _answers(value)
    if not isinstance(value, int):
        return ""
    if name in _REFERS:
        return names.get(_REFERS[name], {}).get(value, f"no. {value}")
    if name == "flags":
        return ", ".join(word.replace("_", " ") for word in decode_flags(value)) or "none"
    codes = {"kind": [kind.value for kind in KINDS], "origin": list(ORIGINS)}.get(name, [])
    return codes[value] if 0 <= value < len(codes) else ""


def _areas(value: object) -> str:
    try:
        count = len(json.loads(value)) if isinstance(value, str) else 0
    except (ValueError, TypeError):
        return ""
    return "nothing" if not count else f"{count} area" + ("s" if count > 1 else "")


def _answers(value: object) -> str:
    """Return how many answers of a tasting there are; empty for results of another sort."""
    try:
        kept = json.loads(value) if isinstance(value, str) else None
    except ValueError:
        return ""
    answers = kept.get("answers") if isinstance(kept, dict) else None
    if not isinstance(answers, dict):
        return ""
    return f"{len(answers)} answer" + ("" if len(answers) == 1 else "s")


def _told(value: object) -> str:
    """Return text as it is, and what is kept as JSON without brackets, quotes and underscores."""
    if isinstance(value, str) and value[:1] in {"{", "[", '"'}:
        try:
            return _told(json.loads(value))
        except ValueError:
            return value
    if isinstance(value, dict):
        return ", ".join(f"{str(k).replace('_', ' ')} {_told(v)}".strip() for k, v in value.items())
    if isinstance(value, list):
        inner = (f"({_told(v)})" if isinstance(v, list | dict) else _told(v) for v in value)
        return ", ".join(inner)
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
