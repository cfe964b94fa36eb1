"""What is said of a field whose kernels and skins are not told apart surely."""

from measure.model import KINDS, Kind
from measure.particles import Particles

FEWEST = 10  # kernels and skins that make such a sentence worth while
UNSURE = 0.15  # mean doubt of their kind from which it is said


def kinds_note(particles: Particles) -> tuple[str, ...]:
    """Say how many kernels and skins of a field may be of another kind, where these are many.

    The doubts of the single pieces add up to the number expected to be wrong. Where kernels and skins of a
    batch have one colour, or a camera shows none, no piece looks odd by itself, but their shares are worth
    little.

    Parameters
    ----------
    particles : Particles
        All of a field.

    Returns
    -------
    tuple of str
        One sentence or none.
    """
    asked = (particles["kind"] == KINDS.index(Kind.KERNEL)) | (particles["kind"] == KINDS.index(Kind.SKIN))
    asked &= particles["set_aside"] == ""
    doubt = particles["kind_doubt"][asked].astype(float)
    if len(doubt) < FEWEST or doubt.mean() < UNSURE:
        return ()
    return (
        f"About {doubt.sum():.0f} of {len(doubt)} kernels and skins may be of another kind: colour and form "
        "hardly tell them apart here. Look at those in doubt before you use the shares of the kinds.",
    )
