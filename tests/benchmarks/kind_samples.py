"""Pieces of known kind, drawn by three renderers, for fitting the kinds.

The looks that decide a kind are drawn anew for each field from wide ranges, and each field is seen under its
own light and white balance and in grey, so that the model rests on what is common to a kind. Of the second
renderer only the looks that may be tuned on are drawn, with seeds of their own. The third, `kind_variety.py`,
varies what does not make a kind: slenderness, opacity, exposure, haze, sharpening, the colour of the light.
"""

import pickle
import sys
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from shapely import Polygon

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from measure.field.basics.shape import shape_columns
from measure.field.edges.features import feature_columns
from measure.field.ground.light import prepare
from measure.field.kinds import kinds
from measure.field.kinds.kind_model import GROUPS
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from measure.particles import Particles, make_particles
from measure.render.draw import render_field
from measure.render.recipe import Recipe
from tests.benchmarks.kind_variety import is_lit_from_above, varied_field
from tests.benchmarks.kind_variety_looks import DARK_FIELD, ODD
from tests.benchmarks.other_hand.draw import draw
from tests.benchmarks.other_hand.looks import HELD

GROUNDS = ("bright", "dark", "bright, lighter")  # as in `measure.field.kinds.kinds.table_of`
HANDS = ("first", "other", "varied")
MATCHED = 0.6  # shared over joint area from which a found piece is a true one
BRIGHT_SEED, DARK_SEED, LIGHTER_SEED, FOUND_SEED, OTHER_SEED = 20_000, 40_000, 60_000, 300_000, 200
VARIED_SEED, VARIED_LOOKS = 80_000, 5
VARIED_FIELDS = 120
DARK_FIELDS, ODD_FIELDS = 40, 48  # of the third hand, lit aside; with odd pieces
VARIED_GROUNDS = ("bright",) * 6 + ("dark", "bright, lighter")
LIGHTER_FIELDS = 24  # of the other hand
STAINED = 0.3  # share of the fields with lighter pieces that are stained oil, not light from above
LUMA = np.array([0.299, 0.587, 0.114])
# look of the other hand: number of fields and their width in px
OTHER_LOOKS = {
    "air_and_threads": (16, 800),
    "salt_in_oil": (10, 800),
    "reflected": (8, 800),
    "thick_kernels": (6, 800),
    "grey_haze": (6, 800),
    "depth": (6, 800),
    "cut_by_frame": (8, 1000),
    "some_crossing": (5, 800),
    "dense_touching": (3, 700),
}


@dataclass(frozen=True)
class Sample:
    """Measured pieces of one field and what they are.

    Attributes
    ----------
    look : str
        What must be left out together when the model is checked.
    ground : str
        One of `GROUNDS`.
    other_hand, grey, found : bool
        Drawn by the second renderer; seen without colour; outlines as the program finds them instead of
        the true ones, a little loosened.
    codes : (K,) ndarray of int
        Index into the groups of the model.
    particles : Particles
    varied : bool
        Drawn by the third renderer.
    """

    look: str
    ground: str
    other_hand: bool
    grey: bool
    found: bool
    codes: np.ndarray
    particles: Particles
    varied: bool = False

    @property
    def hand(self) -> str:
        """Renderer, one of `HANDS`."""
        return "varied" if self.varied else "other" if self.other_hand else "first"


def _tint(rng: np.random.Generator) -> np.ndarray:
    """Colour of a plate that is nearly grey."""
    return rng.uniform(0.8, 1.2, 3)


def varied_recipe(rng: np.random.Generator, ground: str) -> Recipe:
    """Return a field whose looks are drawn from wide ranges."""
    base = Recipe()
    span = rng.uniform
    stained = rng.random() < {"bright": 0.12, "dark": 0.0, "bright, lighter": STAINED}[ground]
    from_above = ground != "bright" and not stained
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
        dark_ground=from_above,
        vignette=span(0, 0.25),
        slope=span(0, 0.1),
        tint=span(0, 0.03),
    )
    if ground == "dark":
        light = replace(light, oil=tuple(np.array([34.0, 30.0, 27.0]) * span(0.5, 1.6) * span(0.85, 1.15, 3)))
    elif from_above:
        light = replace(light, oil=tuple(span(58.0, 165.0) * _tint(rng)))
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
    if stained:
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


def _greyed(pixels: np.ndarray) -> np.ndarray:
    return np.repeat((pixels.astype(float) @ LUMA).round().astype(np.uint8)[..., None], 3, axis=2)


def _codes(names: list[str]) -> np.ndarray:
    return np.array([GROUPS.index(name) for name in names], dtype=int)


def measured_true(pixels: np.ndarray, outlines: list[np.ndarray], grey: bool, rng) -> Particles:
    """Measure true outlines, a little loosened."""
    picture = Picture(pixels, grey=grey)
    loose = [loosened(o, rng) for o in outlines]
    shape = shape_columns(loose)
    return make_particles(loose, **shape, **feature_columns(loose, picture, prepare(picture), shape))


def measured_found(
    pixels: np.ndarray, true: list[np.ndarray], names: list[str], grey: bool, um_per_px: float
) -> tuple[np.ndarray, Particles]:
    """Measure as the whole pipeline does, flaws of finding included; codes and those pieces that are true."""
    settings = FieldSettings(smallest_um=10.0 * um_per_px)
    particles = measure_field(Picture(pixels, grey=grey), settings, um_per_px).particles
    shapes = [Polygon(o).buffer(0) for o in true]
    rows, kept = [], []
    for row, outline in enumerate(particles.outlines):
        own = Polygon(outline.astype(float)).buffer(0)
        shares = [own.intersection(t).area / own.union(t).area if own.intersects(t) else 0.0 for t in shapes]
        if shares and max(shares) > MATCHED:
            rows.append(row)
            kept.append(names[int(np.argmax(shares))])
    return _codes(kept), particles.select(np.array(rows, dtype=int))


def first_hand(seed: int, ground: str, found: bool) -> list[Sample]:
    """One field of the first renderer, in colour and in grey."""
    recipe = replace(varied_recipe(np.random.default_rng(seed), ground), width_px=600, height_px=480)
    rng = np.random.default_rng(seed + 7)
    if found:
        plan = replace(recipe.arrangement, touch_share=0.3, overlap_share=0.1)
        recipe = replace(recipe, arrangement=plan)
    drawn = render_field(recipe, seed)
    whole = [p for p in drawn.truth if not p.touches_frame]
    if not found:
        whole = [p for p in whole if p.hidden_share < 0.02 and p.diameter_px > 8]
    pixels, dust = drawn.pixels, []
    if ground == "bright" and not found:
        pixels, dust = with_dust(pixels, [p.outline for p in drawn.truth], rng)
    names, outlines = [p.kind for p in whole] + ["dust"] * len(dust), [p.outline for p in whole] + dust
    samples = []
    for grey in (False, True):
        seen = seen_as(pixels, rng, grey)
        if found:
            codes, particles = measured_found(seen, outlines, names, grey, drawn.um_per_px)
        else:
            codes, particles = _codes(names), measured_true(seen, outlines, grey, rng)
        samples.append(Sample(f"first {seed % 4}", ground, False, grey, found, codes, particles))
    return samples


def second_hand(look: str, seed: int, width_px: int, lighter: bool = False) -> list[Sample]:
    """One field of the second renderer, in colour and in grey, by true and by found outlines."""
    if look in HELD:
        raise ValueError(f"{look} is held back from fitting.")
    rng = np.random.default_rng(seed * 7 + len(look))
    tint = rng.uniform(0.05, 0.25) * _tint(rng) if lighter else None
    drawn = draw(look, seed, width_px, tint)
    asked = [t for t in drawn.truth if t.fair in ("", "near the limit")]
    asked = [t for t in asked if t.kind != "clear" and t.diameter_px > 10]
    names, outlines = [t.mark or t.kind for t in asked], [t.outline for t in asked]
    ground = GROUNDS[2] if lighter else "dark" if look == "reflected" else "bright"
    samples = []
    for grey in (True,) if (drawn.pixels == drawn.pixels[..., :1]).all() else (False, True):
        seen = measured_true(seen_as(drawn.pixels, rng, grey), outlines, grey, rng)
        name = f"{look} {seed % 2}" if lighter else look
        samples.append(Sample(name, ground, True, grey, False, _codes(names), seen))
        plain = _greyed(drawn.pixels) if grey else drawn.pixels
        codes, found = measured_found(plain, outlines, names, grey, drawn.um_per_px)
        samples.append(Sample(name, ground, True, grey, True, codes, found))
    return samples


def third_hand(seed: int, ground: str) -> list[Sample]:
    """One field of the third renderer, in colour and in grey, by true and by found outlines."""
    rng = np.random.default_rng(seed + 7)
    pixels, outlines, names = varied_field(seed, ground)
    samples = []
    for grey in (False, True):
        seen = _greyed(pixels) if grey else pixels
        pairs = [(_codes(names), measured_true(seen, outlines, grey, rng), False)]
        pairs.append((*measured_found(seen, outlines, names, grey, 1.0), True))
        for codes, particles, found in pairs:
            # what the program takes the field for: pieces on grey ground may be lighter or darker than it
            on = kinds.table_of(particles).partition(" on ")[2] if len(codes) else ground
            name = f"varied {seed % VARIED_LOOKS}"
            samples.append(Sample(name, on, False, grey, found, codes, particles, varied=True))
    return samples


def gather(fields: int, cache: Path, grounds: Collection[str] = GROUNDS) -> list[Sample]:
    """Draw and measure all fields, or read back those a folder holds from an earlier run."""
    cache.mkdir(parents=True, exist_ok=True)
    samples = []
    for name, make, asked in _plan(fields):
        if not name.startswith("varied") and ("lighter" in name) not in {g == GROUNDS[2] for g in grounds}:
            continue
        file = cache / f"{name}.pkl"
        if not file.exists():
            file.write_bytes(pickle.dumps(make(*asked)))
        samples += pickle.loads(file.read_bytes())
    return [s for s in samples if len(s.codes)]


def _plan(fields: int) -> Iterator[tuple]:
    yield from _plan_of_first(fields)
    for look, (count, width_px) in OTHER_LOOKS.items():
        for k in range(count):
            yield f"other_{look}_{k}", second_hand, (look, OTHER_SEED + k, width_px)
    for k in range(LIGHTER_FIELDS):
        yield f"other_lighter_{k}", second_hand, ("reflected", OTHER_SEED + 100 + k, 800, True)
    for k in range(VARIED_FIELDS):
        seed, ground = VARIED_SEED + k, VARIED_GROUNDS[k % len(VARIED_GROUNDS)]
        # on a bright ground light from above makes crystals as evenly bright as clear kernels in stained oil
        if ground != "bright" or not is_lit_from_above(seed, ground):
            yield f"varied_{k}", third_hand, (seed, ground)
    for k in range(VARIED_FIELDS, VARIED_FIELDS + DARK_FIELDS):
        yield f"varied_{k}_dark_field", third_hand, (VARIED_SEED + k, DARK_FIELD)
    for k in range(VARIED_FIELDS + DARK_FIELDS, VARIED_FIELDS + DARK_FIELDS + ODD_FIELDS):
        yield f"varied_{k}_odd", third_hand, (VARIED_SEED + k, ODD)


def _plan_of_first(fields: int) -> Iterator[tuple]:
    for k in range(fields):
        yield f"first_bright_{k}", first_hand, (BRIGHT_SEED + k, "bright", False)
        if k % 3 == 0:
            yield f"first_bright_{k}_found", first_hand, (BRIGHT_SEED + FOUND_SEED + k, "bright", True)
        if k % 3 == 1:
            yield f"first_dark_{k}", first_hand, (DARK_SEED + k, "dark", False)
        if k % 3 != 1:
            yield f"first_lighter_{k}", first_hand, (LIGHTER_SEED + k, GROUNDS[2], False)
        if k % 3 == 2:
            yield f"first_lighter_{k}_found", first_hand, (LIGHTER_SEED + FOUND_SEED + k, GROUNDS[2], True)
        if k % 9 == 1:
            yield f"first_dark_{k}_found", first_hand, (DARK_SEED + FOUND_SEED + k, "dark", True)
