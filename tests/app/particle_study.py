"""A small study for window tests: one drawn field whose pieces, sizes and doubts are known."""

import io
from pathlib import Path

import numpy as np
from PIL import Image

from measure.field.ground.light import prepare
from measure.field.kinds.measure_outlines import measure_outlines
from measure.model import KINDS, FieldQuality, FieldResult, FieldSettings, Frame, Kind, Picture, Scale
from measure.particles import Particles
from measure.study.records import Batch, NewField
from measure.study.study import Study

WIDTH, HEIGHT, UM_PER_PX = 480, 360, 0.5
OIL, KERNEL = (222, 205, 168), (150, 120, 80)

# x, y, radius in px; the two last overlap and are one outline, as if the cut had been missed
DISCS = (
    (80, 80, 24),
    (200, 80, 18),
    (320, 80, 14),
    (80, 200, 30),
    (200, 200, 12),
    (320, 200, 24),
    (362, 200, 24),
)
DOUBTS = (0.05, 0.7, 0.1, 0.2, 0.6, 0.9)
KIND_OF = (Kind.KERNEL, Kind.SKIN, Kind.SALT, Kind.KERNEL, Kind.OTHER, Kind.KERNEL)


def field_pixels() -> np.ndarray:
    """Draw the field: soft discs on plain oil, a little noise."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    share = np.zeros((HEIGHT, WIDTH))
    for cx, cy, r in DISCS:
        share = np.maximum(share, np.clip(r - np.hypot(x - cx, y - cy) + 0.5, 0, 1))
    pixels = np.array(OIL) + share[..., None] * (np.array(KERNEL) - np.array(OIL))
    noise = np.random.default_rng(5).normal(0, 1.5, pixels.shape)
    return np.clip(np.round(pixels + noise), 0, 255).astype(np.uint8)


def disc(x: float, y: float, radius: float) -> np.ndarray:
    """Return the outline of a disc."""
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    return np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)]).astype(np.float32)


def outlines() -> list[np.ndarray]:
    """Return the outlines as found: the last is the hull-like union of the two touching discs."""
    from shapely.geometry import Polygon

    shapes = [disc(*d) for d in DISCS[:5]]
    both = Polygon(disc(*DISCS[5])).union(Polygon(disc(*DISCS[6])))
    return [*shapes, np.asarray(both.exterior.coords, dtype=np.float32)[:-1]]


def field_particles(pixels: np.ndarray) -> Particles:
    """Measure the outlines and give them the kinds and doubts of this file."""
    picture = Picture(pixels)
    measured = measure_outlines(outlines(), picture, prepare(picture))
    aside = np.where([kind == Kind.OTHER for kind in KIND_OF], "air bubble", "")
    return measured.replaced(
        kind=[KINDS.index(kind) for kind in KIND_OF], kind_doubt=0.0, doubt=DOUBTS, set_aside=aside, flags=0
    )


def make_study(path: Path) -> int:
    """Write the study and return the id of its field."""
    pixels = field_pixels()
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "PNG")
    study = Study.create(path)
    scale = study.add_scale(Scale(UM_PER_PX, 0.001, zoom="40x", width_px=WIDTH, height_px=HEIGHT))
    batch = study.add_batch(Batch("pass 3"))
    field = study.add_fields([NewField("smear-1.png", file.getvalue(), batch, scale, None, WIDTH, HEIGHT)])[0]
    quality = FieldQuality(0.06, 0.2, 1.0, OIL, 1.5, 0.0, 1.0)
    study.store_result(
        field,
        FieldResult(
            field_particles(pixels),
            Frame(WIDTH, HEIGHT),
            quality,
            FieldSettings(),
            UM_PER_PX,
            smallest_px=10.0,
        ),
    )
    study.close()
    return field
