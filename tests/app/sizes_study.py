"""A study for tests of sizes: two batches of five fields, pieces drawn from known distributions, no "
"picture needed."""

from pathlib import Path

import cv2
import numpy as np

from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Scale
from measure.particles import Particles, make_particles
from measure.study.records import Batch, NewField, Slide
from measure.study.study import Study

WIDTH, HEIGHT, UM_PER_PX = 1600, 1200, 0.5
FIELDS, PIECES = 5, 160


def pieces(rng: np.random.Generator, number: int, median_um: float, sigma: float = 1.5) -> Particles:
    """Return discs of log-normal sizes thrown on a frame."""
    d_um = median_um * np.exp(np.log(sigma) * rng.standard_normal(number))
    radius = d_um / 2 / UM_PER_PX
    x, y = rng.uniform(0, WIDTH, number), rng.uniform(0, HEIGHT, number)
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    outlines = [
        np.column_stack([x[i] + radius[i] * np.cos(turn), y[i] + radius[i] * np.sin(turn)])
        for i in range(number)
    ]
    touches = (x < radius) | (x > WIDTH - radius) | (y < radius) | (y > HEIGHT - radius)
    kind = rng.choice(4, number, p=[0.8, 0.1, 0.08, 0.02])
    area, round_ = np.pi * radius**2, 2 * radius
    return make_particles(
        outlines,
        label=np.arange(1, number + 1),
        centre_x_px=x,
        centre_y_px=y,
        area_px2=area,
        perimeter_px=np.pi * round_,
        feret_max_px=round_,
        feret_min_px=round_,
        feret_h_px=round_,
        feret_v_px=round_,
        hull_area_px2=area,
        hull_perimeter_px=np.pi * round_,
        size_uncertainty_px=0.3,
        kind=kind,
        kind_doubt=0.1,
        doubt=0.1,
        set_aside=np.where(kind == 3, "air bubble", ""),
        flags=touches.astype(int),
    )


def make_sizes_study(path: Path, number: int = PIECES) -> Path:
    """Write the study: "pass 1" coarse, "pass 6" fine, both on slides of known dilution and film."""
    rng = np.random.default_rng(7)
    with Study.create(path) as study:
        scale = study.add_scale(Scale(UM_PER_PX, 0.001, zoom="10x", width_px=WIDTH, height_px=HEIGHT))
        for name, median in (("pass 1", 34.0), ("pass 6", 7.0)):
            batch = study.add_batch(Batch(name))
            slide = study.add_slide(Slide(batch, "slide 1", dilution=60, oil="hazelnut", film_um=60))
            for place in range(FIELDS):
                shade = np.full((HEIGHT // 8, WIDTH // 8, 3), 150 + 10 * place + len(name) + batch, np.uint8)
                data = cv2.imencode(".png", shade)[1].tobytes()
                new = NewField(f"{name} {place + 1}.png", data, batch, scale, slide, WIDTH, HEIGHT)
                field = study.add_fields([new])[0]
                found = pieces(rng, number, median * np.exp(0.05 * rng.standard_normal()))
                quality = FieldQuality(0.012, 0.05, 1.0, (232, 214, 160), 1.5, 0.0, 1.0)
                frame, settings = Frame(WIDTH, HEIGHT), FieldSettings(smallest_um=4.0)
                study.store_result(field, FieldResult(found, frame, quality, settings, UM_PER_PX, 8.0))
    return path
