"""The particles of one field, in pixels: typed columns and sub-pixel outlines.

Outlines are the truth. Everything else is measured from them and from the picture. Micrometres are made
in one place only, `measure.sizes.particle_table`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

# name -> (dtype, meaning). All lengths in px, areas in px^2.
COLUMNS: dict[str, tuple[str, str]] = {
    "label": ("i4", "number of the particle, unique in its field, never used again"),
    "centre_x_px": ("f8", "centroid, x; the corner of the first pixel is 0, 0"),
    "centre_y_px": ("f8", "centroid, y"),
    "area_px2": ("f8", "area inside the sub-pixel outline"),
    "perimeter_px": ("f8", "length of the outline"),
    "feret_max_px": ("f8", "largest Feret diameter"),
    "feret_min_px": ("f8", "smallest Feret diameter"),
    "feret_h_px": ("f8", "horizontal Feret diameter, for the frame correction"),
    "feret_v_px": ("f8", "vertical Feret diameter, for the frame correction"),
    "hull_area_px2": ("f8", "area of the convex hull"),
    "hull_perimeter_px": ("f8", "perimeter of the convex hull"),
    "edge_width_px": ("f4", "10-90 % width of the edge; nan where it cannot be told"),
    "size_uncertainty_px": ("f4", "standard uncertainty of the area-equivalent diameter"),
    "kind": ("i1", "code of the kind, index into measure.model.KINDS"),
    "kind_by_hand": ("?", "the kind was set by hand"),
    "kind_doubt": ("f4", "0..1, how unsure the kind is"),
    "doubt": ("f4", "0..1, how unsure the tool is of the particle as a whole"),
    "flags": ("i4", "bits of measure.flags"),
    "origin": ("i1", "code of how it came to be, index into measure.model.ORIGINS"),
    "parent": ("i4", "number shared by the pieces cut from one cluster; 0 for none"),
    "red": ("f4", "mean red inside, 0..255"),
    "green": ("f4", "mean green inside, 0..255"),
    "blue": ("f4", "mean blue inside, 0..255"),
    "lightness_step": ("f4", "mean CIELAB L inside, less the oil's"),
    "green_red_step": ("f4", "mean CIELAB a inside, less the oil's"),
    "blue_yellow_step": ("f4", "mean CIELAB b inside, less the oil's"),
    "rim_lightness_step": ("f4", "the same in the outer rim only, L"),
    "core_lightness_step": ("f4", "the same in the core only, L"),
    "core_colour_step": ("f4", "chroma distance of the core from the oil"),
    "texture": ("f4", "standard deviation of lightness in the core, above the noise"),
    "red_density": ("f4", "mean optical density inside against the oil, base 10, red"),
    "green_density": ("f4", "the same, green"),
    "blue_density": ("f4", "the same, blue"),
    "core_red_density": ("f4", "the same in the core only, red"),
    "core_green_density": ("f4", "the same in the core only, green"),
    "core_blue_density": ("f4", "the same in the core only, blue"),
    "rim_density": ("f4", "optical density of the outer rim, mean of the three"),
    "centre_density": ("f4", "optical density of the innermost part, mean of the three"),
    "ring_share": ("f4", "how far in the ring along the edge reaches, 0 edge .. 1 middle"),
    "straightness": ("f4", "share of the outline lying on straight runs, 0..1"),
    "set_aside": ("O", "reason it is set aside, empty text where it is not"),
    "stated_weight": ("f8", "frame correction of an imported table or of overlapping fields; else nan"),
    "stated_volume_px3": (
        "f8",
        "volume an imported table states; nan where the volume model of the kind holds",
    ),
}


@dataclass(frozen=True)
class Particles:
    """Columns of equal length and one outline a particle. Never mutated.

    Attributes
    ----------
    columns : mapping of str to (K,) ndarray
        Exactly the names and types of `COLUMNS`.
    outlines : tuple of (P, 2) ndarray of float32
        Closed polygons (first point not repeated), x and y in px.
    """

    columns: Mapping[str, np.ndarray]
    outlines: tuple[np.ndarray, ...]

    def __len__(self) -> int:
        return len(self.outlines)

    def __getitem__(self, name: str) -> np.ndarray:
        return self.columns[name]

    @property
    def diameter_px(self) -> np.ndarray:
        """Area-equivalent diameter, (K,) ndarray of float, in px (ISO 9276-6)."""
        return np.sqrt(4.0 * self.columns["area_px2"] / np.pi)

    def select(self, chosen: np.ndarray) -> "Particles":
        """Return the particles chosen by a boolean mask or an index array, in that order."""
        index = np.flatnonzero(chosen) if np.asarray(chosen).dtype == bool else np.asarray(chosen, dtype=int)
        return Particles(
            {name: values[index] for name, values in self.columns.items()},
            tuple(self.outlines[i] for i in index),
        )

    def replaced(self, **columns: np.ndarray | float | str) -> "Particles":
        """Return a copy with some columns replaced (cast to their declared type)."""
        new = dict(self.columns)
        for name, values in columns.items():
            new[name] = _typed(name, values, len(self))
        return Particles(new, self.outlines)

    def index_of(self, labels: Iterable[int]) -> np.ndarray:
        """Return the row of each label.

        Raises
        ------
        KeyError
            If a label is not there.
        """
        where = {int(v): i for i, v in enumerate(self.columns["label"])}
        return np.array([where[int(v)] for v in labels], dtype=int)


def _typed(name: str, values: object, length: int) -> np.ndarray:
    dtype = COLUMNS[name][0]
    array = np.empty(length, dtype=dtype)
    array[:] = values
    return array


def make_particles(outlines: Iterable[np.ndarray], **columns: object) -> Particles:
    """Build particles from outlines; columns not given are 0, nan (floats) or empty text.

    Raises
    ------
    KeyError
        If a column is not one of `COLUMNS`.

    Examples
    --------
    >>> import numpy as np
    >>> square = np.array([[0, 0], [2, 0], [2, 2], [0, 2]], dtype=np.float32)
    >>> p = make_particles([square], label=[1], area_px2=[4.0])
    >>> len(p), float(p["area_px2"][0])
    (1, 4.0)
    """
    shapes = tuple(np.asarray(o, dtype=np.float32) for o in outlines)
    for name in columns:
        if name not in COLUMNS:
            raise KeyError(name)
    full = {}
    for name, (dtype, _) in COLUMNS.items():
        blank = "" if dtype == "O" else np.nan if dtype.startswith("f") else 0
        full[name] = _typed(name, columns.get(name, blank), len(shapes))
    return Particles(full, shapes)


def join_particles(parts: Iterable[Particles]) -> Particles:
    """Put several sets after one another; with none, an empty typed set."""
    parts = list(parts)
    if not parts:
        return make_particles([])
    return Particles(
        {name: np.concatenate([p.columns[name] for p in parts]) for name in COLUMNS},
        tuple(o for p in parts for o in p.outlines),
    )
