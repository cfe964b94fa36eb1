"""What is drawn: which bodies, how they lie, and how the microscope shows them."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Look:
    """One sort of micrograph. Sizes are diameters of discs of the same area, px."""

    shapes: tuple[str, ...] = ("ball",)
    sizes_px: tuple[float, float] = (36.0, 52.0)
    pieces: tuple[int, int] = (18, 34)
    touching: float = 0.5  # chance that a piece is laid against one that lies there
    over: float = 0.0  # chance that it may lie over others
    rows: float = 0.0  # chance that what touches lies as its neighbour does
    heaps: int = 0  # heaps on which pieces fall; 0: they lie on the film
    scanning: bool = False
    dark_field: bool = False
    contrast: tuple[float, float] = (0.35, 0.9)  # absorbed by the middle of a piece, natural units
    film: float = 0.04  # unevenness of the film, natural units
    web: bool = False  # the film is a web with holes
    dose: tuple[float, float] = (120.0, 500.0)  # electrons a pixel
    blur_px: tuple[float, float] = (0.6, 1.3)
    defocus: tuple[float, float] = (0.0, 3.0)


LOOKS = {
    "discs": Look(),
    "small discs": Look(sizes_px=(8, 20), pieces=(60, 160), touching=0.35),
    "rods": Look(shapes=("rod",), sizes_px=(22, 44), pieces=(25, 60), rows=0.7, over=0.12),
    "cubes": Look(shapes=("cube",), sizes_px=(26, 60), pieces=(20, 45), rows=0.8, touching=0.6),
    "plates": Look(shapes=("plate",), sizes_px=(40, 110), pieces=(10, 24), over=0.25),
    "grains": Look(shapes=("grain",), sizes_px=(16, 60), pieces=(20, 50), touching=0.55, over=0.1),
    "web": Look(web=True, sizes_px=(12, 40), pieces=(15, 40), contrast=(0.6, 1.2), film=0.15),
    "faint": Look(contrast=(0.12, 0.22), dose=(40, 110), film=0.06),
    "piled balls": Look(scanning=True, heaps=2, sizes_px=(34, 60), pieces=(60, 110), touching=0),
    "bright grains": Look(scanning=True, shapes=("grain",), sizes_px=(16, 60), pieces=(25, 60)),
}
HELD = {
    "held cubes": Look(
        scanning=True, shapes=("leaning_cube", "cube"), heaps=2, sizes_px=(34, 64), pieces=(30, 60)
    ),
    "held rods": Look(
        scanning=True, shapes=("rod",), sizes_px=(20, 50), pieces=(20, 45), over=0.25, rows=0.4
    ),
    "held dark field": Look(
        dark_field=True, shapes=("ball", "cube", "grain"), sizes_px=(12, 50), film=0.1, over=0.05
    ),
    "held chains": Look(
        sizes_px=(14, 34), pieces=(50, 110), touching=0.85, over=0.2, shapes=("ball", "grain")
    ),
}
