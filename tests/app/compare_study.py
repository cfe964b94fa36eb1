"""A study of three batches at 1, 3 and 6 passes for tests of comparing and tasting; no picture needed."""

from pathlib import Path

import cv2
import numpy as np

from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Scale
from measure.study.records import Batch, NewField, Slide
from measure.study.study import Study
from tests.app.sizes_study import HEIGHT, UM_PER_PX, WIDTH, pieces

FIELDS, PIECES = 6, 150
BATCHES = (("pass 1", 1.0, 30.0), ("pass 3", 3.0, 18.0), ("pass 6", 6.0, 11.0))


def make_compare_study(path: Path, *, limits_um: tuple[float, ...] = (4.0, 4.0, 4.0)) -> Path:
    """Write the study; each batch on two slides of three fields."""
    rng = np.random.default_rng(3)
    with Study.create(path) as study:
        scale = study.add_scale(Scale(UM_PER_PX, 0.001, zoom="10x", width_px=WIDTH, height_px=HEIGHT))
        for (name, passes, median), limit in zip(BATCHES, limits_um, strict=True):
            batch = study.add_batch(Batch(name, passes=passes))
            slides = [study.add_slide(Slide(batch, f"slide {n}")) for n in (1, 2)]
            for place in range(FIELDS):
                level = int(20 + 30 * place + 3 * passes)
                data = cv2.imencode(".png", np.full((20, 20, 3), level, np.uint8))[1].tobytes()
                slide = slides[place // 3]
                new = NewField(f"{name} {place + 1}.png", data, batch, scale, slide, WIDTH, HEIGHT)
                field = study.add_fields([new])[0]
                found = pieces(rng, PIECES, median * np.exp(0.03 * rng.standard_normal()), 1.35)
                quality = FieldQuality(0.012, 0.05, 1.0, (232, 214, 160), 1.5, 0.0, 1.0)
                settings = FieldSettings(smallest_um=limit)
                frame = Frame(WIDTH, HEIGHT)
                study.store_result(field, FieldResult(found, frame, quality, settings, UM_PER_PX, 8.0))
    return path
