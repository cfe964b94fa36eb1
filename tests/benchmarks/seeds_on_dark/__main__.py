"""How well touching seeds, beans and nuts on dark ground are found and sized.

    python -m tests.benchmarks.seeds_on_dark [--seeds tune|report] [--only "coffee,rice"] [--show DIR]

Drawn as photographs, from heights and light; nothing in them is taken from a real one. F1 at an overlap
(intersection over union) of one half; "merged": finds with most of two seeds; "split": seeds of which two
finds have a fifth or more each.
"""

import time
from pathlib import Path

import cv2
import numpy as np

from measure.field.basics.masks import drawn
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.benchmarks.judging import Field, run

from .scene import LOOKS, draw

_SEEDS = {"tune": range(4), "report": range(900, 904)}
_OVERLAP, _MOST, _PART = 0.5, 0.5, 0.2
HEAD = (
    f"{'look':14}{'seeds':>6}{'missed':>8}{'false':>7}{'F1':>7}{'merged':>8}{'split':>7}{'bias %':>8}"
    f"{'spread %':>10}{'s':>6}"
)


def judged(look: str, number: int, show: Path | None) -> Field:
    """Draw, measure and judge one photograph."""
    pixels, labels = draw(look, number)
    began = time.process_time()
    particles = measure_field(Picture(pixels, name=look), FieldSettings(), 1.0).particles
    seconds = time.process_time() - began
    area = np.bincount(labels.ravel())
    area[0] = 0
    hit, parts = np.zeros(len(area), bool), np.zeros(len(area), int)
    errors: list[float] = []
    counted = np.flatnonzero(particles["set_aside"] == "")
    merged = 0
    for k in counted:
        mask = drawn(particles.outlines[k], labels.shape)
        inside = np.bincount(labels[mask > 0], minlength=len(area))
        size, inside[0] = int(inside.sum()), 0
        i = int(inside.argmax())
        merged += np.count_nonzero(inside > _MOST * np.maximum(area, 1)) > 1
        parts[i] += inside[i] > _PART * area[i]
        if not hit[i] and inside[i] >= _OVERLAP * (size + area[i] - inside[i]):
            hit[i] = True
            errors.append(100 * (np.sqrt(size / area[i]) - 1))
    if show is not None:
        _write(pixels, particles, counted, show / f"{look} {number}.png")
    found = int(hit.sum())
    return {
        "seeds": [len(area) - 1],
        "missed": [len(area) - 1 - found],
        "false": [len(counted) - found],
        "merged": [int(merged)],
        "split": [int(np.count_nonzero(parts > 1))],
        "errors": errors,
        "seconds": [seconds],
    }


def _write(pixels: np.ndarray, particles, counted: np.ndarray, file: Path) -> None:
    """Write a picture with outlines, counted ones green, others red."""
    shown = pixels[..., ::-1].copy()
    for k, outline in enumerate(particles.outlines):
        colour = (0, 200, 0) if k in counted else (0, 0, 255)
        cv2.polylines(shown, [np.rint(outline * 16).astype(np.int32)], True, colour, 1, cv2.LINE_AA, 4)
    file.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(file), shown)


def line(name: str, fields: list[Field]) -> str:
    """One line of the table."""
    seeds, missed, false, merged, split = (
        sum(sum(field[key]) for field in fields) for key in ("seeds", "missed", "false", "merged", "split")
    )
    errors = np.array([error for field in fields for error in field["errors"]] or [np.nan])
    bias = float(np.median(errors))
    found = seeds - missed
    return (
        f"{name:14}{seeds:6d}{missed:8d}{false:7d}{200 * found / max(1, 2 * found + missed + false):7.1f}"
        f"{merged:8d}{split:7d}{bias:8.2f}{np.quantile(np.abs(errors - bias), 0.9):10.2f}"
        f"{np.mean([sum(field['seconds']) for field in fields]):6.1f}"
    )


if __name__ == "__main__":
    run(__doc__, list(LOOKS), (), _SEEDS, judged, HEAD, line)
