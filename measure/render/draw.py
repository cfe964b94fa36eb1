"""Draw a field of ground paste, or the blank oil, from a recipe and a seed."""

from dataclasses import replace

import cv2
import numpy as np

from measure.render import looks, shapes
from measure.render.camera import photographed
from measure.render.coverage import coverage, polygon_area
from measure.render.light import lamp, oil_light
from measure.render.place import Canvas, Shape, arrange
from measure.render.recipe import Recipe, Rendered, TruthPiece


def _one_shape(kind: str, diameter_um: float, recipe: Recipe, rng: np.random.Generator) -> Shape:
    sizes = recipe.sizes
    factor = {"skin": sizes.skin_factor, "salt": sizes.salt_factor}.get(kind, 1.0)
    diameter = float(np.clip(diameter_um * factor, sizes.smallest_um, sizes.largest_um)) / recipe.um_per_px
    if kind == "kernel":
        return Shape(shapes.kernel_outline(diameter, recipe.kernel, rng), kind, diameter)
    if kind == "skin":
        return Shape(shapes.skin_outline(diameter, recipe.skin, rng), kind, diameter)
    outline, edges = shapes.salt_outline(diameter, recipe.salt, rng)
    return Shape(outline, kind, diameter, edges=edges)


def _paste_shapes(recipe: Recipe, area_px2: float, share: float, rng: np.random.Generator) -> list[Shape]:
    """Draw pieces until they cover (or count) what the recipe asks of an area; largest first."""
    plan, sizes = recipe.arrangement, recipe.sizes
    kinds = np.array(["kernel", "skin", "salt"])
    weights = np.array([recipe.kernel_share, recipe.skin_share, recipe.salt_share], dtype=float)
    wanted = None if plan.pieces is None else round(plan.pieces * share)
    found: list[Shape] = []
    covered = 0.0
    while (covered < plan.cover * area_px2) if wanted is None else (len(found) < wanted):
        diameter = sizes.number_median_um * np.exp(np.log(sizes.sigma_g) * rng.normal())
        if not sizes.smallest_um <= diameter <= sizes.largest_um:
            continue
        shape = _one_shape(str(rng.choice(kinds, p=weights / weights.sum())), float(diameter), recipe, rng)
        found.append(shape)
        covered += np.pi / 4 * shape.diameter_px**2
    return sorted(found, key=lambda s: -s.diameter_px)


def _extra_shapes(recipe: Recipe, rng: np.random.Generator) -> list[Shape]:
    extras, scale = recipe.extras, recipe.um_per_px
    found = []
    for _ in range(extras.fibres):
        width = rng.uniform(*extras.fibre_width_um) / scale
        outline = shapes.fibre_outline(rng.uniform(*extras.fibre_length_um) / scale, width, rng)
        diameter = float(np.sqrt(4 * polygon_area(outline) / np.pi))
        found.append(Shape(outline, "fibre", diameter, width_px=float(width)))
    for _ in range(extras.bubbles):
        diameter = float(rng.uniform(*extras.bubble_um)) / scale
        found.append(Shape(shapes.bubble_outline(diameter), "bubble", diameter))
    return found


def _shapes(recipe: Recipe, rng: np.random.Generator) -> list[Shape]:
    """Return every piece at its place, in drawing order (later ones lie on top)."""
    largest = recipe.sizes.largest_um * max(1.0, recipe.sizes.skin_factor) / recipe.um_per_px
    margin = int(min(1.1 * largest, 0.5 * min(recipe.width_px, recipe.height_px)))
    canvas = Canvas(recipe.width_px, recipe.height_px, margin)
    frame = recipe.width_px * recipe.height_px
    wide = (recipe.width_px + 2 * margin) * (recipe.height_px + 2 * margin)
    extras = _extra_shapes(recipe, rng)
    first = arrange(
        extras, canvas, replace(recipe.arrangement, touch_share=0.0, overlap_share=0.0), rng, reach_px=0
    )
    pieces = _paste_shapes(recipe, wide, wide / frame, rng)
    placed = first + arrange(pieces, canvas, recipe.arrangement, rng)
    seen = [s for s in placed if _meets(s.placed(), recipe)]
    return [seen[i] for i in rng.permutation(len(seen))]


def _meets(outline: np.ndarray, recipe: Recipe) -> bool:
    low, high = outline.min(axis=0), outline.max(axis=0)
    return bool(high[0] > 0 and high[1] > 0 and low[0] < recipe.width_px and low[1] < recipe.height_px)


def _tiles(recipe: Recipe, rng: np.random.Generator) -> dict[str, np.ndarray]:
    tiles = {
        "grain": looks.grain_tile(rng, recipe.kernel.texture_px),
        "cloud": looks.grain_tile(rng, 3.5 * recipe.kernel.texture_px),
    }
    for i in range(4):
        angle = np.deg2rad(15.0 + 45.0 * i)
        tiles[f"streak{i}"] = looks.grain_tile(rng, recipe.skin.streak_px, stretch=4.0, angle=angle)
    return tiles


def _optics(
    shape: Shape, window: looks.Window, recipe: Recipe, tiles: dict[str, np.ndarray], rng: np.random.Generator
) -> looks.Optics:
    if shape.kind == "kernel":
        return looks.kernel_optics(window, recipe.kernel, recipe, tiles, rng)
    if shape.kind == "skin":
        return looks.skin_optics(window, recipe.skin, tiles, rng)
    if shape.edges is not None:  # a salt crystal
        return looks.salt_optics(window, shape.outline, shape.edges, recipe.salt, rng)
    if shape.kind == "bubble":
        return looks.bubble_optics(window, recipe.extras)
    return looks.fibre_optics(window, recipe.extras, shape.width_px, rng)


def _sigma(shape: Shape, recipe: Recipe, rng: np.random.Generator) -> tuple[float, float]:
    """Return the blur of this piece and the part of it owed to defocus."""
    camera = recipe.camera
    height_um = rng.uniform(-1, 1) * camera.depth_um
    defocus = abs(height_um - camera.focus_um) * camera.blur_px_per_um
    soft = recipe.kernel.softness_px if shape.kind == "kernel" else 0.0
    return float(np.sqrt(camera.blur_px**2 + defocus**2 + soft**2)), float(defocus)


def _window(shape: Shape, margin: int) -> tuple[looks.Window, int, int]:
    outline = shape.placed()
    left, top = (np.floor(outline.min(axis=0)).astype(int) - margin).tolist()
    width, height = (np.ceil(outline.max(axis=0)).astype(int) + margin - (left, top)).tolist()
    cover = coverage(outline, left, top, width, height, lines=16 if height < 200 else 8)
    x = (np.arange(width, dtype=np.float32) + 0.5 + left - shape.x)[None, :].repeat(height, axis=0)
    y = (np.arange(height, dtype=np.float32) + 0.5 + top - shape.y)[:, None].repeat(width, axis=1)
    return looks.Window(cover, looks.depth_of(cover), x, y, shape.diameter_px), left, top


def _lay(
    picture: np.ndarray,
    side_light: np.ndarray | None,
    shape: Shape,
    recipe: Recipe,
    tiles: dict[str, np.ndarray],
    rng: np.random.Generator,
) -> float:
    """Multiply one piece into the picture; return its defocus."""
    sigma, defocus = _sigma(shape, recipe, rng)
    window, left, top = _window(shape, int(np.ceil(3.5 * sigma)) + 2)
    optics = _optics(shape, window, recipe, tiles, rng)
    cover = window.cover[..., None]
    factor = cv2.GaussianBlur(1.0 + cover * (optics.pass_through.astype(np.float32) - 1.0), (0, 0), sigma)
    if recipe.camera.fringe > 0:
        blurred = cv2.GaussianBlur(window.cover, (0, 0), sigma)
        wide = cv2.GaussianBlur(window.cover, (0, 0), 2.2 * sigma)
        factor = factor + recipe.camera.fringe * np.maximum(wide - blurred, 0.0)[..., None]
    height, width = window.cover.shape
    rows = slice(max(top, 0), min(top + height, recipe.height_px))
    columns = slice(max(left, 0), min(left + width, recipe.width_px))
    inner = (slice(rows.start - top, rows.stop - top), slice(columns.start - left, columns.stop - left))
    if rows.stop <= rows.start or columns.stop <= columns.start:
        return defocus
    picture[rows, columns] *= factor[inner]
    if side_light is not None:
        sent = cv2.GaussianBlur(cover * optics.sent_back.astype(np.float32), (0, 0), sigma)
        picture[rows, columns] += side_light[rows, columns] * sent[inner]
    return defocus


def _hidden(placed: list[Shape], recipe: Recipe) -> np.ndarray:
    """Return the share of each piece's pixels in the frame that later pieces lie on."""
    on_top = np.full((recipe.height_px, recipe.width_px), -1, dtype=np.int32)
    whole = np.zeros(len(placed))
    for i, shape in enumerate(placed):
        outline = shape.placed()
        left, top = np.maximum(np.floor(outline.min(axis=0)).astype(int), 0).tolist()
        right = min(int(np.ceil(outline[:, 0].max())), recipe.width_px)
        bottom = min(int(np.ceil(outline[:, 1].max())), recipe.height_px)
        if right <= left or bottom <= top:
            continue
        mask = coverage(outline, left, top, right - left, bottom - top, lines=4) > 0.5
        whole[i] = mask.sum()
        on_top[top:bottom, left:right][mask] = i
    seen = np.bincount(on_top[on_top >= 0], minlength=len(placed))
    return np.where(whole > 0, 1.0 - seen / np.maximum(whole, 1), 0.0)


def _truth(shape: Shape, hidden: float, defocus: float, recipe: Recipe) -> TruthPiece:
    outline = shape.placed()
    area = polygon_area(outline)
    low, high = outline.min(axis=0), outline.max(axis=0)
    meets = low.min() <= 0 or high[0] >= recipe.width_px or high[1] >= recipe.height_px
    diameter = float(np.sqrt(4 * area / np.pi))
    return TruthPiece(outline, shape.kind, area, diameter, float(hidden), bool(meets), defocus)


def render_field(recipe: Recipe, seed: int) -> Rendered:
    """Draw one field of view.

    Parameters
    ----------
    recipe : Recipe
        What is in it and how it is seen.
    seed : int
        The same recipe and seed give the same pixels and truth.

    Returns
    -------
    Rendered
        Pixels, the true pieces (all drawn pieces that meet the frame) and the true micrometres per pixel.
    """
    rng = np.random.default_rng(seed)
    placed = _shapes(recipe, rng)
    tiles = _tiles(recipe, rng)
    picture = oil_light(recipe, rng)
    side_light = lamp(recipe) if recipe.light.dark_ground else None
    defocus = [_lay(picture, side_light, shape, recipe, tiles, rng) for shape in placed]
    hidden = _hidden(placed, recipe)
    if recipe.camera.focus_um:  # another picture of the same field has noise of its own
        rng = np.random.default_rng(
            [seed, round(abs(recipe.camera.focus_um) * 1000), recipe.camera.focus_um > 0]
        )
    pixels = photographed(picture, recipe.camera, recipe.light.glare, rng)
    truth = tuple(_truth(s, h, d, recipe) for s, h, d in zip(placed, hidden, defocus, strict=True))
    return Rendered(pixels, truth, recipe.um_per_px)


def render_blank(recipe: Recipe, seed: int) -> np.ndarray:
    """Draw a field of the bare oil under the same lamp, (M, N, 3) uint8 RGB."""
    rng = np.random.default_rng(seed)
    clean = oil_light(recipe, rng, haze=False)
    return photographed(clean, recipe.camera, recipe.light.glare, rng)
