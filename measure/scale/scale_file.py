"""Scales as JSON files, and the check every typed scale passes."""

import json
import math
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from measure.errors import InvalidInput
from measure.model import Scale
from measure.safe_write import write_text
from measure.scale.optics import smallest_resolved_um

FORMAT = "gritline scale 1"
SMALLEST_UM_PER_PX, LARGEST_UM_PER_PX = 0.001, 1000.0
_TEXT = {"zoom", "made", "method"}
_WHOLE = {"width_px", "height_px", "graduations"}
_APERTURE = "objective_na"
_NUMBERS = {f.name for f in fields(Scale)} - _TEXT - _WHOLE - {"notes"}


def check_um_per_px(value: Any, where: str = "the scale") -> float:
    """Check a scale and return it as a float.

    Parameters
    ----------
    value : object
        Micrometres per pixel, from anywhere.
    where : str
        What to name in the message.

    Raises
    ------
    InvalidInput
        If it is no number, not above zero, or outside 0.001 to 1000 µm per px.

    Examples
    --------
    >>> check_um_per_px(0.5, "--um-per-px")
    0.5
    """
    if isinstance(value, bool):
        value = None
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise InvalidInput(
            f"{where}: {value!r} is no number; give micrometres per pixel, such as 0.25."
        ) from None
    if not math.isfinite(number) or number <= 0:
        raise InvalidInput(
            f"{where}: {number:g} µm per px cannot be; give a number above zero, such as 0.25."
        )
    if not SMALLEST_UM_PER_PX <= number <= LARGEST_UM_PER_PX:
        raise InvalidInput(
            f"{where}: {number:g} µm per px is outside {SMALLEST_UM_PER_PX:g} to {LARGEST_UM_PER_PX:g}; "
            "check the unit, which is micrometres per pixel."
        )
    return number


def scale_to_json(scale: Scale, na: float | None = None) -> str:
    """Return the text of a scale file, with the numerical aperture of the objective where it is known."""
    content = {"format": FORMAT} | {k: v for k, v in asdict(scale).items() if v not in (None, "", ())}
    if na is not None:
        smallest_resolved_um(na)  # refuses what cannot be
        content[_APERTURE] = na
    return json.dumps(content, ensure_ascii=False, indent=2) + "\n"


def write_scale(path: Path | str, scale: Scale, na: float | None = None) -> None:
    """Write a scale as a JSON file, whole or not at all.

    Parameters
    ----------
    path : Path or str
    scale : Scale
    na : float, optional
        Numerical aperture of the objective, where it is known.

    Raises
    ------
    InvalidInput
        If the file cannot be written, or no objective has that aperture.
    """
    write_text(path, scale_to_json(scale, na))


def read_scale(path: Path | str) -> Scale:
    """Read a scale from a JSON file.

    Only ``um_per_px`` is needed; what is not known is left as it is by default. The object printed by
    ``gritline scale --json`` reads just as well.

    Raises
    ------
    InvalidInput
        If the file is missing, no JSON, or holds no usable scale.
    """
    path = Path(path)
    return _scale_of(_content(path), path)


def read_aperture(path: Path | str) -> float | None:
    """Read the numerical aperture of the objective from a scale file; None where it is not told there.

    Raises
    ------
    InvalidInput
        If the file is missing, is no scale file, or no objective has that aperture.
    """
    path = Path(path)
    value = _content(path).get(_APERTURE)
    if value is None:
        return None
    na = _number(value, _APERTURE, path)
    try:
        smallest_resolved_um(na)
    except InvalidInput as error:
        raise InvalidInput(f"{path}: {_APERTURE} cannot be. {error.text}") from None
    return na


def _content(path: Path) -> dict[str, Any]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InvalidInput(f"{path} does not exist; check the name of the scale file.") from None
    except OSError as error:
        raise InvalidInput(f"{path} cannot be read ({error.strerror}).") from None
    except UnicodeDecodeError:
        raise InvalidInput(f"{path} is not a scale file: it holds no text. {_HOW}") from None
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        raise InvalidInput(f"{path} is not a scale file: it is no JSON. {_HOW}") from None
    if not isinstance(content, dict) or "um_per_px" not in content:
        raise InvalidInput(f"{path} is not a scale file: um_per_px is missing. {_HOW}")
    return content


_HOW = "Make one with: gritline scale IMAGE --division-um 10 --out scale.json"


def _scale_of(content: dict, path: Path) -> Scale:
    said = content.get("format", FORMAT)
    if said != FORMAT:
        raise InvalidInput(f"{path} is of an unknown kind ({said!r}); this program reads {FORMAT!r}.")
    values: dict[str, Any] = {"um_per_px": check_um_per_px(content["um_per_px"], str(path))}
    for name in _NUMBERS - {"um_per_px"}:
        if content.get(name) is not None:
            values[name] = _number(content[name], name, path)
    for name in _WHOLE:
        if content.get(name) is not None:
            values[name] = int(_number(content[name], name, path))
    for name in _TEXT:
        if content.get(name) is not None:
            values[name] = str(content[name])
    notes = content.get("notes", [])
    values["notes"] = tuple(str(n) for n in notes) if isinstance(notes, list) else (str(notes),)
    if not 0 <= values.get("standard_uncertainty_um_per_px", 0.0) < values["um_per_px"]:
        raise InvalidInput(f"{path}: standard_uncertainty_um_per_px must lie between 0 and um_per_px.")
    return Scale(**values)


def _number(value: object, name: str, path: Path) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InvalidInput(f"{path}: {name} is {value!r}, which is no number.")
    return float(value)
