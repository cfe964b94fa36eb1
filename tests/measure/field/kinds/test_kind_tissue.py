"""What scatters all through is tissue and no crystal; crystals with fringes keep the form of a box."""

import numpy as np
import pytest

from measure.field.kinds.kind_model import GROUPS
from measure.field.kinds.kind_tissue import as_tissue, is_tissue
from measure.flags import bits
from measure.particles import make_particles

TURN = np.linspace(0, 2 * np.pi, 60, endpoint=False)
LUMP = np.column_stack([50 + 30 * np.cos(TURN), 50 + 22 * np.sin(TURN)])
BOX = np.array([[20, 20], [60, 20], [60, 50], [20, 50]], float)


def test_lumps_that_scatter_are_tissue_and_boxes_are_not() -> None:
    particles = make_particles(
        [LUMP, BOX, LUMP], flags=[bits("scatters"), bits("scatters"), bits("touching")]
    )
    assert is_tissue(particles).tolist() == [True, False, False]


def test_the_chance_of_salt_of_tissue_goes_to_kernel() -> None:
    chance = np.full((2, len(GROUPS)), 0.02)
    chance[:, GROUPS.index("salt")] = 1 - 0.02 * (len(GROUPS) - 1)
    changed = as_tissue(chance, np.array([True, False]))
    assert changed.sum(axis=1) == pytest.approx(chance.sum(axis=1))
    assert changed.argmax(axis=1).tolist() == [GROUPS.index("kernel"), GROUPS.index("salt")]
