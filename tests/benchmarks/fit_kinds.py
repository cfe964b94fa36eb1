"""Fit the built-in kind model on varied drawn fields and write `measure/field/kind_model.json`.

    python tests/benchmarks/fit_kinds.py [--fields 140] [--check-only]

Every look that decides a kind is drawn anew for each field from a wide range, and each field is seen under
its own light and white balance and in grey, so that the model rests on what is common to a kind. Fields for
checking have other seeds and looks than those for fitting.
"""

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from shapely import Polygon

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from measure.field import kind_model, kinds
from measure.field.features import feature_columns
from measure.field.light import prepare
from measure.field.pipeline import measure_field
from measure.field.shape import shape_columns
from measure.model import FieldSettings, Picture
from measure.particles import Particles, make_particles
from measure.render.draw import render_field
from measure.render.recipe import Recipe

RIDGE = 10.0
MATCHED = 0.6  # shared over joint area from which a found piece is a true one


def varied_recipe(rng: np.random.Generator, dark: bool) -> Recipe:
    """Return a field whose looks are drawn from wide ranges."""
    base = Recipe()
    span = rng.uniform
    kernel = replace(
        base.kernel,
        absorbance=tuple(np.sort(np.array([0.28, 0.44, 0.66]) * span(0.7, 1.4, 3))),
        strength=span(0.45, 1.5),
        growth=span(0.1, 0.6),
        edge_step=span(0.4, 1.0),
        edge_line=span(0.0, 0.5),
        edge_line_px=span(1.0, 3.0),
        texture=span(0.05, 0.4),
        texture_px=span(2.0, 7.0),
        roughness=span(0.03, 0.18),
        reflect=tuple(np.array([0.62, 0.50, 0.33]) * span(0.8, 1.2, 3)),
    )
    skin = replace(
        base.skin,
        absorbance=(0.42 * span(0.6, 1.5), 1.2 * span(0.75, 1.3), 1.65 * span(0.75, 1.3)),
        strength=span(0.5, 1.4),
        streaks=span(0.1, 0.5),
        tear=span(0.05, 0.35),
        elongation=span(1.2, 2.6),
        reflect=tuple(np.array([0.38, 0.15, 0.07]) * span(0.75, 1.3, 3)),
    )
    salt = replace(
        base.salt,
        rim=span(0.4, 1.1),
        rim_px=span(1.5, 4.5),
        glow=span(0.05, 0.4),
        body=span(0.0, 0.06),
        facets=span(0.0, 0.5),
        broken=span(0.0, 0.45),
        chipped=span(0.1, 0.6),
    )
    extras = replace(
        base.extras,
        bubbles=int(rng.integers(3, 9)),
        bubble_ring=span(0.25, 0.55),
        bubble_dark=span(0.9, 2.8),
        bubble_um=(10.0, 70.0),
        fibres=int(rng.integers(1, 4)),
        fibre_length_um=(100.0, 300.0),
        fibre_width_um=(4.0, 12.0),
        fibre_absorbance=tuple(span(0.15, 0.9) * span(0.8, 1.25, 3)),
    )
    light = replace(
        base.light,
        oil=tuple(np.array([226.0, 217.0, 188.0]) * span(0.8, 1.08, 3)),
        dark_ground=dark,
        vignette=span(0, 0.25),
        slope=span(0, 0.1),
        tint=span(0, 0.03),
    )
    if dark:
        light = replace(light, oil=tuple(np.array([34.0, 30.0, 27.0]) * span(0.5, 1.6) * span(0.85, 1.15, 3)))
    camera = replace(
        base.camera,
        blur_px=span(0.6, 1.6),
        depth_um=span(5, 30),
        full_well=float(np.exp(span(np.log(3000), np.log(30000)))),
        jpeg_quality=None if rng.random() < 0.5 else int(rng.integers(75, 96)),
    )
    sizes = replace(base.sizes, volume_median_um=span(20, 50), sigma_g=span(1.4, 1.9), largest_um=110.0)
    plan = replace(base.arrangement, cover=span(0.05, 0.12), gap_px=5.0)
    shares = rng.dirichlet((4, 3, 3))
    if not dark and rng.random() < 0.12:
        # stained oil: pieces that displace it are lighter than it
        light = replace(light, oil=tuple(np.array([158.0, 124.0, 84.0]) * span(0.8, 1.25, 3)))
        clearer = tuple(np.array([-0.30, -0.42, -0.55]) * span(0.6, 1.5, 3))
        kernel = replace(kernel, absorbance=clearer, edge_line=span(-0.2, 0.2))
    return replace(
        base,
        width_px=760,
        height_px=620,
        um_per_px=span(0.5, 1.2),
        kernel_share=float(shares[0]),
        skin_share=float(shares[1]),
        salt_share=float(shares[2]),
        sizes=sizes,
        arrangement=plan,
        kernel=kernel,
        skin=skin,
        salt=salt,
        extras=extras,
        light=light,
        camera=camera,
    )


def with_dust(
    pixels: np.ndarray, taken: list[np.ndarray], rng: np.random.Generator
) -> tuple[np.ndarray, list]:
    """Lay opaque grey specks and scraps on free oil; return the picture and their outlines."""
    busy = np.zeros(pixels.shape[:2], np.uint8)
    for outline in taken:
        cv2.fillPoly(busy, [np.round(outline).astype(np.int32)], 1)
    free = cv2.distanceTransform(1 - busy, cv2.DIST_L2, 3)
    cover, outlines = np.zeros(pixels.shape[:2], np.float32), []
    for _ in range(int(rng.integers(4, 10))):
        radius = rng.uniform(4, 14)
        rows, columns = np.nonzero(free > radius * 1.6 + 6)
        if not len(rows):
            continue
        pick = rng.integers(len(rows))
        t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
        wave = sum(rng.normal(0, 0.25 / k) * np.cos(k * t + rng.uniform(0, 6.3)) for k in range(2, 8))
        r = radius * np.clip(1 + 1.2 * wave, 0.35, 1.6)
        outline = np.c_[columns[pick] + 0.5 + r * np.cos(t), rows[pick] + 0.5 + r * np.sin(t)]
        if outline.min() < 3 or (outline > np.array(pixels.shape[1::-1]) - 3).any():
            continue
        cv2.fillPoly(cover, [np.round((outline - 0.5) * 16).astype(np.int32)], 1.0, shift=4)
        cv2.fillPoly(busy, [np.round(outline).astype(np.int32)], 1)
        free = cv2.distanceTransform(1 - busy, cv2.DIST_L2, 3)
        outlines.append(outline)
    soft = cv2.GaussianBlur(cover, (0, 0), rng.uniform(0.7, 1.8))[..., None]
    dark = rng.uniform(15, 60) + rng.normal(0, 4, 3)
    return np.clip(pixels * (1 - soft) + dark * soft, 0, 255).round().astype(np.uint8), outlines


def seen_as(pixels: np.ndarray, rng: np.random.Generator, grey: bool) -> np.ndarray:
    """Return the picture under another white balance and brightness, or in grey."""
    gain = rng.uniform(0.82, 1.18, 3) * rng.uniform(0.5, 1.0)
    seen = pixels * np.minimum(gain, 254.0 / max(1.0, np.percentile(pixels, 99.5)))
    if grey:
        seen = np.repeat((seen @ np.array([0.299, 0.587, 0.114]))[..., None], 3, axis=2)
    return np.clip(seen, 0, 255).round().astype(np.uint8)


def loosened(outline: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return the outline as a finder might give it: a little off, a little wavy."""
    centre = outline.mean(axis=0)
    away = outline - centre
    radius = np.hypot(*away.T)[:, None]
    t = np.linspace(0, 2 * np.pi, len(outline), endpoint=False)
    wave = sum(rng.normal(0, 0.15) * np.cos(k * t + rng.uniform(0, 6.3)) for k in range(2, 9))
    push = rng.normal(0.1, 0.35) + wave[:, None]
    return (centre + away * (1.0 + np.clip(push / np.maximum(radius, 2.0), -0.2, 0.2))).astype(np.float32)


def samples(seed: int, dark: bool) -> tuple[np.ndarray, dict[bool, Particles]]:
    """Return the group codes of one field's pieces, and the pieces measured in colour (False) and grey."""
    recipe = replace(varied_recipe(np.random.default_rng(seed), dark), width_px=600, height_px=480)
    rng = np.random.default_rng(seed + 7)
    drawn = render_field(recipe, seed)
    whole = [p for p in drawn.truth if not p.touches_frame and p.hidden_share < 0.02 and p.diameter_px > 8]
    pixels, dust = drawn.pixels, []
    if not dark:
        pixels, dust = with_dust(pixels, [p.outline for p in drawn.truth], rng)
    names = [p.kind for p in whole] + ["dust"] * len(dust)
    outlines = [p.outline for p in whole] + dust
    found = {}
    for grey in (False, True):
        picture = Picture(seen_as(pixels, rng, grey), grey=grey)
        loose = [loosened(o, rng) for o in outlines]
        light = prepare(picture)
        shape = shape_columns(loose)
        found[grey] = make_particles(loose, **shape, **feature_columns(loose, picture, light, shape))
    return np.array([kind_model.GROUPS.index(n) for n in names], dtype=int), found


def as_found(seed: int, dark: bool) -> dict[bool, tuple[np.ndarray, Particles]]:
    """Return codes and particles as the whole pipeline finds them, flaws of finding included."""
    recipe = replace(varied_recipe(np.random.default_rng(seed), dark), width_px=600, height_px=480)
    touching = replace(recipe.arrangement, touch_share=0.3, overlap_share=0.1)
    rng = np.random.default_rng(seed + 7)
    drawn = render_field(replace(recipe, arrangement=touching), seed)
    true = [(Polygon(t.outline).buffer(0), t.kind) for t in drawn.truth if not t.touches_frame]
    seen = {}
    for grey in (False, True):
        picture = Picture(seen_as(drawn.pixels, rng, grey), grey=grey)
        particles = measure_field(picture, FieldSettings(), drawn.um_per_px).particles
        rows, codes = [], []
        for row, outline in enumerate(particles.outlines):
            shape = Polygon(outline.astype(float)).buffer(0)
            shares = [shape.intersection(t).area / shape.union(t).area for t, _ in true]
            if shares and max(shares) > MATCHED:
                rows.append(row)
                codes.append(kind_model.GROUPS.index(true[int(np.argmax(shares))][1]))
        seen[grey] = np.array(codes, dtype=int), particles.select(np.array(rows, dtype=int))
    return seen


def gather(first: int, fields: int, dark: bool) -> dict[bool, tuple[np.ndarray, np.ndarray]]:
    """Return descriptors and codes of many fields, in colour (False) and grey.

    Outlines of the truth for all fields, and those the pipeline finds for a third as many others.
    """
    both: dict[bool, list] = {False: [], True: []}
    for i in range(fields):
        codes, found = samples(first + i, dark)
        for grey, rows in both.items():
            rows.append((codes, found[grey]))
    for i in range(fields // 3):
        for grey, pair in as_found(first + 300_000 + i, dark).items():
            both[grey].append(pair)
    return {
        grey: (
            np.concatenate([kind_model.descriptors(p) for codes, p in rows if len(codes)]),
            np.concatenate([codes for codes, _ in rows]),
        )
        for grey, rows in both.items()
    }


def fit(values: np.ndarray, codes: np.ndarray, strength: float) -> kind_model.Model:
    """Fit the multinomial model with a ridge."""
    from scipy.optimize import minimize

    mean, scale = values.mean(axis=0), np.maximum(values.std(axis=0), 1e-3)
    groups = len(kind_model.GROUPS)
    standard = (values - mean) / scale
    x = kind_model.terms(standard)
    present = np.bincount(codes, minlength=groups)
    weight = (1.0 / np.maximum(present, 1) ** 0.5)[codes]
    weight /= weight.mean()
    one = np.eye(groups)[codes]

    def cost(flat: np.ndarray) -> tuple[float, np.ndarray]:
        w = flat.reshape(groups, -1)
        score = x @ w.T
        score -= score.max(axis=1, keepdims=True)
        p = np.exp(score)
        p /= p.sum(axis=1, keepdims=True)
        loss = -(weight * np.log(np.maximum(p[np.arange(len(x)), codes], 1e-12))).sum()
        ridge = np.where(np.arange(w.shape[1]) == 0, 0.01, np.where(np.arange(w.shape[1]) <= 15, 1.0, 2.0))
        gradient = ((p - one) * weight[:, None]).T @ x + strength * ridge * w
        return loss + 0.5 * strength * (ridge * w * w).sum(), gradient.ravel()

    found = minimize(
        cost, np.zeros(groups * x.shape[1]), jac=True, method="L-BFGS-B", options={"maxiter": 400}
    )
    weights = found.x.reshape(groups, -1)
    weights[present == 0, 0] -= 20.0
    centre, inverse = [], []
    for g in range(groups):
        own = standard[codes == g] if present[g] > 30 else standard
        centre.append(own.mean(axis=0))
        inverse.append(np.linalg.inv(np.cov(own.T) + 0.15 * np.eye(standard.shape[1])))
    model = kind_model.Model(mean, scale, weights, 1.0, np.array(centre), np.array(inverse), 1.0)
    return replace(model, far=float(np.quantile(kind_model.strangeness(model, standard), 0.995)))


def report(title: str, model: kind_model.Model, values: np.ndarray, codes: np.ndarray) -> None:
    """Print how often kinds are right, the confusion, and what the doubt is worth."""
    kind, doubt, _ = kinds.decide(kind_model.probabilities(model, values))
    true = kinds.CODE_OF_GROUP[codes]
    right = kind == true
    print(f"{title}: {len(codes)} pieces, kinds right {right.mean():.4f}")
    print(np.array([np.bincount(kind[codes == g], minlength=4) for g in range(len(kind_model.GROUPS))]))
    for low, high in ((0, 0.02), (0.02, 0.1), (0.1, 0.3), (0.3, 0.6), (0.6, 1.01)):
        rows = (doubt >= low) & (doubt < high)
        if rows.any():
            print(
                f"  doubt {low:.2f}-{high:.2f}: {rows.mean():.3f} of pieces, right {right[rows].mean():.4f}"
            )


def rounded(value: object) -> object:
    """Return nested numbers with five digits, which is all they are worth."""
    if isinstance(value, dict):
        return {name: rounded(v) for name, v in value.items()}
    return [rounded(v) for v in value] if isinstance(value, list) else float(f"{value:.5g}")


def main() -> None:
    """Fit, check and write."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--fields", type=int, default=140)
    ask.add_argument("--check-only", action="store_true")
    chosen = ask.parse_args()
    cv2.setNumThreads(1)
    tables = {}
    for dark, first, share in ((False, 20_000, 1.0), (True, 40_000, 0.36)):
        fields = max(8, round(chosen.fields * share))
        held = gather(first + 681_000 + 20_000 * dark, max(6, fields // 4), dark)
        seen = held if chosen.check_only else gather(first, fields, dark)
        for grey in (False, True):
            table = f"{'grey' if grey else 'colour'} on {'dark' if dark else 'bright'}"
            model = kind_model.built_in(table) if chosen.check_only else fit(*seen[grey], RIDGE)
            tables[table] = kind_model.to_numbers(model)
            report(table, model, *held[grey])
    if not chosen.check_only:
        text = json.dumps({"tables": rounded(tables)}, separators=(",", ":"))
        Path(kind_model.__file__).with_name("kind_model.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
