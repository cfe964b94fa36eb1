"""The numbers behind the kinds: descriptors of a piece and a multinomial model on them."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from measure.field.basics.kind_shape import roundness
from measure.particles import Particles

GROUPS = ("kernel", "skin", "salt", "bubble", "fibre", "dust")
FAR_MARGIN = 1.2  # new looks lie a little outside those of the fit
UNKNOWN = (0.55, 0.15, 0.15, 0.05, 0.05, 0.05)  # what a piece unlike all groups is taken for
DESCRIPTORS = (
    "core tint",
    "whole tint",
    "core green",
    "core density",
    "rim density",
    "rim over core",
    "centre over core",
    "ring share",
    "texture",
    "straightness",
    "circularity",
    "solidity",
    "aspect",
    "slenderness",
    "edge softness",
    # the order stays: models learned before the following came in use only those above
    "green over red",
    "blue over green",
    "core against rim",
    "centre against core",
    "off an ellipse",
    "corners",
    "green between red and blue",
)
_FAINT = 0.04  # density below which shares of it mean little
_FAINT_TINT = 0.06  # the same of the difference between blue and red
_FILE = Path(__file__).with_name("kind_model.json")


@dataclass(frozen=True)
class Model:
    """Multinomial logistic model with squares and products.

    Attributes
    ----------
    mean, scale : (F,) ndarray
        Standardise the descriptors.
    weights : (G, T) ndarray
        One row a group over the terms of `terms`.
    temperature : float
        Divides the scores; above 1 it takes boldness out of the probabilities.
    centre, inverse : (G, F) and (G, F, F) ndarray
        Mean and inverse covariance of each group, to notice pieces unlike all of them.
    far : float
        Distance from the nearest group that one in two hundred pieces of the fit exceeded.
    """

    mean: np.ndarray
    scale: np.ndarray
    weights: np.ndarray
    temperature: float
    centre: np.ndarray
    inverse: np.ndarray
    far: float


def descriptors(particles: Particles) -> np.ndarray:
    """Physical descriptors of each piece, (K, F), bounded so that no oddity runs away.

    Densities are ratios to the oil's light and shapes are ratios of lengths, so neither light, nor white
    balance, nor scale enters. Colours are also taken as shares of the density, which do not change with
    the thickness of a piece, and so is the course of density inward: even in a sheet, rising in a lump,
    falling in what is clear.
    """
    p = particles
    core = np.stack([p[f"core_{c}_density"] for c in ("red", "green", "blue")], axis=1).astype(float)
    whole = np.stack([p[f"{c}_density"] for c in ("red", "green", "blue")], axis=1).astype(float)
    area, perimeter = p["area_px2"], np.maximum(p["perimeter_px"], 1e-9)
    circularity = np.sqrt(4.0 * np.pi * area) / perimeter
    depth, rim, centre = core.mean(axis=1), p["rim_density"], p["centre_density"]
    strength = np.abs(whole).mean(axis=1) + _FAINT
    _, off_ellipse, corners = roundness(p.outlines)
    softness = np.nan_to_num(p["edge_width_px"] / np.maximum(p.diameter_px, 1e-9), nan=0.25)
    values = (
        np.clip(core[:, 2] - core[:, 0], -0.5, 1.2),
        np.clip(whole[:, 2] - whole[:, 0], -0.5, 1.2),
        np.clip(core[:, 1] - core[:, [0, 2]].mean(axis=1), -0.4, 0.4),
        np.clip(depth, -1.5, 1.2),
        np.clip(rim, -1.5, 1.2),
        np.clip(rim - depth, -0.8, 0.8),
        np.clip(centre - depth, -0.3, 0.3),
        np.clip(p["ring_share"], 0.0, 1.0),
        np.clip(p["texture"] / (np.abs(p["lightness_step"]) + 4.0), 0.0, 2.0),
        p["straightness"],
        circularity,
        area / np.maximum(p["hull_area_px2"], 1e-9),
        p["feret_min_px"] / np.maximum(p["feret_max_px"], 1e-9),
        np.clip(-2.0 * np.log(np.maximum(circularity, 1e-3)), 0.0, 4.0),
        np.clip(softness, 0.0, 0.8),
        np.clip((whole[:, 1] - whole[:, 0]) / strength, -1.5, 1.5),
        np.clip((whole[:, 2] - whole[:, 1]) / strength, -1.5, 1.5),
        (depth - rim) / (np.abs(depth) + np.abs(rim) + _FAINT),
        np.clip((centre - depth) / (np.abs(depth) + _FAINT), -1.0, 1.0),
        np.log(np.clip(off_ellipse, 0.0, 0.3) + 0.01),
        corners,
        green_between(whole),
    )
    return np.nan_to_num(np.stack([np.asarray(v, dtype=float) for v in values], axis=1))


def green_between(density: np.ndarray) -> np.ndarray:
    """Where a piece's density of green stands between those of red and blue, (K,).

    Browning rises steadily towards blue, so green stands below the middle; tannins take green nearly as much
    as blue, so it stands above. Neither the thickness of a piece nor what all colours lose alike (shadow,
    haze, a dark edge) changes that.

    Parameters
    ----------
    density : (K, 3) ndarray
        Of red, green and blue.
    """
    tint = tint_of(density) + _FAINT_TINT
    return np.clip(density @ np.array([-1.0, 2.0, -1.0]) / tint, -1.5, 1.5)


def tint_of(density: np.ndarray) -> np.ndarray:
    """How much a piece takes more of one colour than of another, (K,).

    A pink skin takes green away and leaves blue nearly as red, so blue against red does not tell its colour.

    Parameters
    ----------
    density : (K, 3) ndarray
        Of red, green and blue.
    """
    return np.asarray(density.max(axis=1) - density.min(axis=1))


def terms(standard: np.ndarray) -> np.ndarray:
    """Constant, descriptors, and all their squares and products, (K, T)."""
    rows, columns = np.triu_indices(standard.shape[1])
    bounded = np.clip(standard, -5.0, 5.0)
    return np.concatenate(
        [np.ones((len(standard), 1)), bounded, bounded[:, rows] * bounded[:, columns] / 2.0], axis=1
    )


def probabilities(model: Model, values: np.ndarray) -> np.ndarray:
    """Probability of each group, (K, G).

    A piece far from every group keeps little of the model's opinion: the rest goes to the foods, kernel
    first, because an unknown thing is better counted with a high doubt than lost.
    """
    standard = (values[:, : len(model.mean)] - model.mean) / model.scale
    score = terms(standard) @ model.weights.T / model.temperature
    score -= score.max(axis=1, keepdims=True)
    chance = np.exp(score)
    chance /= chance.sum(axis=1, keepdims=True)
    return _with_the_unknown(chance, strangeness(model, standard) / model.far)


def strangeness(model: Model, standard: np.ndarray) -> np.ndarray:
    """Root mean square distance to the nearest group, in its standard deviations, (K,)."""
    away = standard[:, None, :] - model.centre[None]
    square = np.einsum("kgf,gfh,kgh->kg", away, model.inverse, away)
    return np.sqrt(np.maximum(square.min(axis=1), 0.0) / standard.shape[1])


def _with_the_unknown(chance: np.ndarray, strange: np.ndarray) -> np.ndarray:
    trust = 1.0 / (1.0 + (strange / FAR_MARGIN) ** 8)
    return trust[:, None] * chance + (1.0 - trust)[:, None] * np.array(UNKNOWN)


def to_numbers(model: Model) -> dict:
    """Return a model as plain lists and numbers."""
    return {
        "mean": model.mean.tolist(),
        "scale": model.scale.tolist(),
        "weights": model.weights.tolist(),
        "temperature": float(model.temperature),
        "centre": model.centre.tolist(),
        "inverse": model.inverse[:, *np.triu_indices(len(model.mean))].tolist(),
        "far": float(model.far),
    }


def from_numbers(numbers: Mapping, table: str) -> Model:
    """Read one table of a model from plain numbers."""
    one = numbers["tables"][table]
    names = ("mean", "scale", "weights", "temperature", "centre", "inverse", "far")
    plain = ("temperature", "far")
    read: dict[str, Any] = {n: one[n] if n in plain else np.asarray(one[n], dtype=float) for n in names}
    read["inverse"] = _symmetric(read["inverse"], len(read["mean"]))
    return Model(**read)


def _symmetric(numbers: np.ndarray, size: int) -> np.ndarray:
    """Whole matrices from their upper halves; older models hold them whole."""
    if numbers.ndim == 3:
        return numbers
    rows, columns = np.triu_indices(size)
    whole = np.zeros((len(numbers), size, size))
    whole[:, rows, columns] = numbers
    whole[:, columns, rows] = numbers
    return whole


@cache
def built_in(table: str) -> Model:
    """Return the built-in model's table of that name."""
    return from_numbers(json.loads(_FILE.read_text(encoding="utf-8")), table)
