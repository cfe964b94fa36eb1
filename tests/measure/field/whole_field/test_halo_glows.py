"""Glows of what lies far out of focus have no edge, and are no pieces."""

import numpy as np

from measure.field.whole_field.halo import smudge_like
from measure.flags import bits
from measure.particles import make_particles


def test_glows_without_an_edge_are_smudges_where_pieces_as_faint_would_show_one():
    def asked(lightness: float, width: float = np.nan, side: float = 40.0, faintest: float = 22.0) -> bool:
        """Whether a faint ragged place beside nine even pieces is one."""
        return smudge_like(
            make_particles(
                [np.zeros((4, 2))] * 10,
                label=list(range(1, 11)),
                lightness_step=[60.0] * 7 + [faintest, faintest, lightness],
                green_red_step=[0.0] * 10,
                blue_yellow_step=[0.0] * 10,
                area_px2=[1250.0] * 9 + [0.7 * side**2],
                hull_area_px2=[1280.0] * 9 + [0.9 * side**2],
                perimeter_px=[128.0] * 9 + [4.5 * side],
                feret_min_px=[40.0] * 9 + [side],
                feret_max_px=[40.0] * 9 + [1.2 * side],
                edge_width_px=[5.0] * 9 + [width],
                flags=[0] * 9 + [bits("faint")],
            ),
            np.ones(10, bool),
        ).tolist()[-1]

    assert asked(14.0)
    assert not asked(14.0, width=6.0)  # has an edge
    assert not asked(14.0, faintest=50.0)  # noise may hide it: nothing so faint shows one
    assert not asked(30.0)  # too strong for what is spread so far
    assert not asked(14.0, side=18.0)  # a small piece, whose edge noise may hide
