import numpy as np

from measure.field.kinds.kind_note import FEWEST, UNSURE, kinds_note
from measure.model import KINDS
from measure.particles import make_particles


def pieces(kinds, doubt, set_aside=""):
    square = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], np.float32)
    found = make_particles([square] * len(kinds))
    return found.replaced(
        kind=np.array([KINDS.index(k) for k in kinds]),
        kind_doubt=np.full(len(kinds), doubt),
        set_aside=np.full(len(kinds), set_aside, dtype=object),
    )


def test_the_expected_number_of_mistaken_pieces_is_told():
    (said,) = kinds_note(pieces(["kernel"] * 12 + ["skin"] * 8 + ["salt"] * 30, 0.3))
    assert said.startswith("About 6 of 20 kernels and skins may be of another kind")


def test_sure_few_or_set_aside_pieces_are_not_worth_a_sentence():
    assert kinds_note(pieces(["kernel"] * 20, UNSURE - 0.01)) == ()
    assert kinds_note(pieces(["skin"] * (FEWEST - 1), 0.5)) == ()
    assert kinds_note(pieces(["salt"] * 20, 0.5)) == ()
    assert kinds_note(pieces(["kernel"] * 20, 0.5, "dust or unknown")) == ()
    assert kinds_note(make_particles([])) == ()
