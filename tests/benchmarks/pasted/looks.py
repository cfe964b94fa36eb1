"""The looks: which real pieces lie on which real ground, how, and what the camera does."""

from dataclasses import dataclass

TUNE_SEEDS = (3, 14, 27, 38, 49)
REPORT_SEEDS = (1001, 1002, 1003, 1004, 1005)
CLEAN_CELLS = ("blood94", "blood314", "blood331", "blood721")
CELLS = ("blood94", "blood314", "blood331", "blood721", "blood64", "blood530")
SOLID = ("lentils1", "lentils40", "candies54", "candies14", "marbles", "coinseq")


@dataclass(frozen=True)
class Look:
    """One condition. A picture takes its pieces from one of ``sources``, or of all of them if ``mixed``."""

    says: str
    sources: tuple[str, ...]
    grounds: tuple[str, ...]
    pieces: int = 40
    size_px: tuple[float, float] = (20.0, 80.0)  # log-uniform
    touch: float = 0.1  # share laid in contact, and across another
    cross: float = 0.0
    clear: bool = False  # pieces let light through: their light multiplies
    stain: float = 1.0  # of clear pieces: power of their share of the light
    # Share of the density below that a piece hides, drawn for each; its own adds with its real edge and
    # glow. Empty: pieces are laid with an edge softened anew.
    hides: tuple[float, ...] = ()
    heap: float = 0.0  # share laid over any that lie there, 3 to 50 % of the smaller, more than one if so
    mixed: bool = False
    blur_px: tuple[float, float] = (0.8, 1.6)  # sd of the optics, per piece
    tint: float = 0.08  # log sd of brightness; half of it per colour channel
    shade: float = 0.0  # darker towards a corner, share
    noise: float = 0.8  # sd in grey levels of 255
    jpeg: int = 92  # 0: none
    grey: bool = False
    held: bool = False


LOOKS: dict[str, Look] = {
    "sparse_cells": Look(
        "stained cells apart on their own film",
        CELLS,
        ("film_grey", "film_pale", "film_teal", "film_mint"),
        size_px=(22, 75),
        clear=True,
    ),
    "touching_cells": Look(
        "stained cells in contact, uneven light, JPEG",
        CELLS,
        ("film_grey", "film_teal", "film_white"),
        pieces=55,
        size_px=(26, 70),
        touch=0.75,
        clear=True,
        shade=0.25,
        jpeg=80,
    ),
    "touching_lentils": Look(
        "lentils in contact on a dark board",
        ("lentils1", "lentils40"),
        ("board_dark", "board_green"),
        pieces=45,
        size_px=(30, 150),
        touch=0.7,
        jpeg=85,
    ),
    "mixed_paper": Look(
        "candies, lentils and colonies on paper, uneven light",
        ("candies54", "lentils1", "lentils40", "colony"),
        ("paper", "film_white"),
        pieces=45,
        size_px=(17, 130),
        touch=0.3,
        mixed=True,
        shade=0.3,
        jpeg=80,
    ),
    "heaped_candies": Look(
        "opaque pieces over one another",
        ("candies54", "lentils40"),
        ("paper", "film_mint"),
        pieces=36,
        size_px=(30, 90),
        touch=0.1,
        cross=0.45,
        mixed=True,
    ),
    "grains": Look(
        "angular grains and bubbles in glass, grey, grainy",
        ("grains", "bubbles"),
        ("glass",),
        pieces=50,
        size_px=(18, 90),
        touch=0.35,
        mixed=True,
        grey=True,
        blur_px=(0.8, 1.2),
        tint=0.04,
        noise=1.5,
        jpeg=90,
    ),
    "crossing_stain": Look(
        "see-through cells over one another, uneven light",
        ("blood721", "blood314"),
        ("film_white", "film_pale"),
        pieces=44,
        size_px=(24, 80),
        cross=0.4,
        touch=0.15,
        clear=True,
        shade=0.3,
        jpeg=85,
    ),
    "pale_cells": Look(
        "weakly stained cells, some in contact",
        ("blood94", "blood314", "blood331"),
        ("film_pale", "film_teal", "film_grey"),
        pieces=45,
        size_px=(24, 75),
        touch=0.35,
        clear=True,
        stain=0.4,
        noise=1.2,
    ),
    "blurred_cells": Look(
        "cells out of focus, some in contact",
        CELLS,
        ("film_mint", "film_white", "film_grey"),
        pieces=40,
        size_px=(34, 80),
        touch=0.3,
        clear=True,
        blur_px=(2.0, 3.5),
    ),
    "crowded": Look(
        "many in contact, all sizes",
        ("lentils1", "lentils40", "candies54", "coinseq"),
        ("film_mint", "paper", "film_white"),
        pieces=150,
        size_px=(17, 70),
        touch=0.85,
        mixed=True,
        noise=1.5,
        jpeg=85,
    ),
    "glass_and_coins": Look(
        "marbles with lights and shadows inside, scanned coins",
        ("marbles", "coinseq"),
        ("paper", "film_pale"),
        pieces=36,
        size_px=(24, 180),
        touch=0.4,
        mixed=True,
        jpeg=90,
    ),
    "dark_mix": Look(
        "candies and lentils on a dark board, noisy, JPEG",
        ("candies54", "candies14", "lentils40"),
        ("board_dark", "board_green"),
        pieces=45,
        size_px=(17, 120),
        touch=0.3,
        cross=0.1,
        mixed=True,
        noise=3.0,
        jpeg=75,
    ),
    "heaped_adding": Look(
        "heaps of cells whose densities add",
        CLEAN_CELLS,
        ("film_grey", "film_pale", "film_teal", "film_white"),
        pieces=50,
        size_px=(34, 58),
        heap=0.55,
        touch=0.1,
        clear=True,
        hides=(0.0,),
        tint=0.03,  # nearly one tone
        jpeg=88,
    ),
    "heaped_half": Look(
        "heaps of cells, where they lie over one another half as dense as the sum",
        CLEAN_CELLS,
        ("film_grey", "film_pale", "film_teal", "film_white"),
        pieces=50,
        size_px=(34, 58),
        heap=0.55,
        touch=0.1,
        clear=True,
        hides=(0.5,),
        tint=0.03,  # nearly one tone
        jpeg=88,
    ),
    "heaped_lines": Look(
        "heaps of cells as dense over one another as alone: only their edges tell",
        CLEAN_CELLS,
        ("film_grey", "film_pale", "film_teal", "film_white"),
        pieces=50,
        size_px=(34, 58),
        heap=0.55,
        touch=0.1,
        clear=True,
        hides=(0.8, 1.0),
        tint=0.03,  # nearly one tone
        jpeg=88,
    ),
    "stacked_cells": Look(
        "see-through cells over one another",
        CELLS,
        ("film_pale", "film_mint", "film_grey"),
        pieces=40,
        size_px=(30, 75),
        cross=0.45,
        touch=0.1,
        clear=True,
        held=True,
    ),
    "light_coins": Look(
        "coins lighter than a dark ground, grey, noisy",
        ("coins24",),
        ("board_dark", "board_green"),
        pieces=40,
        size_px=(20, 90),
        touch=0.4,
        grey=True,
        noise=4.0,
        jpeg=85,
        held=True,
    ),
    "soft": Look(
        "out of focus",
        ("candies14", "candies54", "coinseq", "lentils40"),
        ("film_grey", "paper", "board_green"),
        pieces=36,
        size_px=(40, 140),
        touch=0.3,
        mixed=True,
        blur_px=(2.2, 4.0),
        held=True,
    ),
    "fine": Look(
        "small dark pieces on a speckled ground",
        ("colony", "grains", "candies54", "lentils40"),
        ("agar", "glass", "film_pale"),
        pieces=110,
        size_px=(16, 34),
        touch=0.3,
        mixed=True,
        tint=0.15,
        held=True,
    ),
    "micro_noisy": Look(
        "round particles in chains, noisy",
        ("micro",),
        ("micrograph",),
        pieces=50,
        size_px=(24, 70),
        touch=0.7,
        grey=True,
        tint=0.03,
        noise=4.0,
        clear=True,
        stain=1.5,
        jpeg=75,
        held=True,
    ),
    "all_kinds": Look(
        "every opaque piece, all sizes, some over others",
        (*SOLID, "coins24", "colony", "grains"),
        ("paper", "film_pale", "film_white", "board_dark"),
        pieces=60,
        size_px=(16, 190),
        touch=0.3,
        cross=0.12,
        mixed=True,
        shade=0.2,
        noise=2.0,
        jpeg=80,
        held=True,
    ),
}
HELD = tuple(name for name, look in LOOKS.items() if look.held)
