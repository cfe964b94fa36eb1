"""What a look is, and the materials looks are mixed from."""

from dataclasses import dataclass, field

from .camera import Camera
from .crystals import Crystal
from .imaging import Optics
from .kernel import Kernel
from .light import Lamp
from .place import Layout
from .skin import Skin

BEIGE = Kernel()
GREY = Kernel((0.80, 0.84, 0.95), (0.55, 0.53, 0.46), index=0.035, grain=0.7, feather=0.05)
GREEN = Kernel((0.70, 0.66, 1.15), (0.50, 0.56, 0.25), grain=0.6)
PALE = Kernel((0.36, 0.42, 0.60), (0.82, 0.74, 0.55), index=0.05, grain=0.8, feather=0.12)
ROAST = Kernel((0.85, 1.10, 1.60), (0.52, 0.34, 0.16), index=0.03, grain=0.5, feather=0.06)
CRUSHED = Kernel(
    (0.65, 0.76, 1.10), index=0.03, feather=0.1, forms=(("lens", 0.7), ("shard", 0.2), ("clump", 0.1))
)
LUMPS = Kernel(
    (0.60, 0.70, 0.95), (0.66, 0.58, 0.40), grain=0.7, forms=(("agglomerate", 0.55), ("clump", 0.45))
)
RUSSET = Skin((0.6, 1.3, 1.9), (0.30, 0.12, 0.05), folded=0.5)
FAINT = Crystal(index=0.022, tint=0.02)
SHARDS = Crystal(forms=(("shard", 0.8), ("cuboid", 0.2)))
SUGAR = Crystal(
    index=0.085, tint=0.02, forms=(("plate", 0.55), ("shard", 0.45)), inclusions=0.15, retard=0.018
)


@dataclass(frozen=True)
class Look:
    """One way a smear and its photograph may be; ``foreign``: name, count, smallest and largest width, px."""

    size: tuple[int, int] = (1200, 900)
    count: int = 100
    median_px: float = 30.0
    decades: float = 0.24
    cover: float = 0.2
    um_per_px: float = 1.6
    mix: tuple[tuple[str, float], ...] = (("kernel", 0.6), ("skin", 0.15), ("salt", 0.25))
    kernels: tuple[Kernel, ...] = (BEIGE,)
    skin: Skin = field(default_factory=Skin)
    salt: Crystal = field(default_factory=Crystal)
    sugar: Crystal = SUGAR
    fines: int = 1500
    foreign: tuple[tuple[str, int, float, float], ...] = ()
    dust: int = 0
    words: str = ""
    layout: Layout = field(default_factory=Layout)
    optics: Optics = field(default_factory=Optics)
    lamp: Lamp = field(default_factory=Lamp)
    camera: Camera = field(default_factory=Camera)
