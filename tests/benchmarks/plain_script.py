"""A plain script of the usual library calls, one after another: what the speed benchmark compares with.

    python tests/benchmarks/plain_script.py FIELD.png

Lightness and colour by rgb2lab, the background by a wide Gaussian, Otsu's threshold, opening, filled holes, a
distance transform and a watershed for touching pieces, and the measures by regionprops_table. Nothing is slow
on purpose; it is what one writes from the manual of scikit-image, on the whole picture at once.
"""

import json
import sys
import time

import numpy as np
from scipy import ndimage
from skimage import color, feature, filters, io, measure, morphology, segmentation

MEASURES = ("label", "area", "perimeter_crofton", "feret_diameter_max", "equivalent_diameter_area")
MEASURES += ("eccentricity", "solidity", "area_convex", "centroid", "intensity_mean")


def main(path: str) -> None:
    """Measure one picture and print the seconds each step took."""
    steps: dict[str, float] = {}
    last = [time.process_time()]

    def step(name: str) -> None:
        now = time.process_time()
        steps[name], last[0] = now - last[0], now

    pixels = io.imread(path)[..., :3]
    step("read")
    lab = color.rgb2lab(pixels)
    step("rgb2lab")
    away = np.empty_like(lab)
    for channel in range(3):
        away[..., channel] = lab[..., channel] - filters.gaussian(lab[..., channel], 100)
    step("background")
    distance = np.sqrt((filters.gaussian(away, 1, channel_axis=2) ** 2).sum(axis=2))
    mask = distance > filters.threshold_otsu(distance)
    step("Otsu")
    mask = morphology.opening(mask, morphology.disk(2))
    mask = ndimage.binary_fill_holes(mask)
    step("opening, holes")
    depth = ndimage.distance_transform_edt(mask)
    step("distance")
    peaks = feature.peak_local_max(
        filters.gaussian(depth, 1), min_distance=5, labels=measure.label(mask), exclude_border=False
    )
    seeds = np.zeros(mask.shape, np.int32)
    seeds[tuple(peaks.T)] = np.arange(1, len(peaks) + 1)
    labels = segmentation.watershed(-depth, seeds, mask=mask)
    step("watershed")
    labels = morphology.remove_small_objects(labels, max_size=37)
    table = measure.regionprops_table(labels, lab, properties=MEASURES)
    step("measures")
    print(json.dumps({"particles": len(table["label"]), "steps": steps}))


if __name__ == "__main__":
    main(sys.argv[1])
