"""How many of the pieces are above a size, with the limits such a count allows."""

from dataclasses import dataclass

from measure.errors import InvalidInput
from measure.sizes.rounding import rough_number, short_number
from measure.sizes.sample import SizeSample
from measure.sizes.shares import exact_limits, most_when_none, wilson_limits


@dataclass(frozen=True)
class Above:
    """Pieces above a size.

    Attributes
    ----------
    size_um : float
    number, pieces : int
        Pieces above it, and all counted, each as one: the limits are those of a count.
    low, high : float
        Exact 95 % limits of the share (Clopper and Pearson); with none found ``high`` is the one-sided limit.
    wilson : (float, float)
        Wilson's 95 % limits.
    """

    size_um: float
    number: int
    pieces: int
    low: float
    high: float
    wilson: tuple[float, float]

    @property
    def share_words(self) -> str:
        """The share, to be put in a sentence about these pieces."""
        if self.number == 0:
            return f"fewer than {_percent(self.high)} of the pieces"
        return f"{_percent(self.low)} to {_percent(self.high)} of the pieces"

    @property
    def words(self) -> str:
        """One sentence."""
        size, all_ = f"{short_number(self.size_um)} µm", f"{self.pieces:,}"
        if self.number == 0:
            return (
                f"None of {all_} pieces is above {size}: with 95 % confidence fewer than "
                f"{_percent(self.high)} are."
            )
        are = "piece is" if self.pieces == 1 else "pieces is" if self.number == 1 else "pieces are"
        low, high = self.wilson
        return (
            f"{self.number} of {all_} {are} above {size}: {_percent(self.number / self.pieces)} "
            f"(95 %: {_percent(self.low)} to {_percent(self.high)} exactly, {_percent(low)} to "
            f"{_percent(high)} after Wilson)."
        )


def pieces_above(sample: SizeSample, size_um: float) -> Above | None:
    """Count the pieces above a size; None without pieces.

    The limits take the pieces to lie at random; where fields differ more, they are too narrow.

    Raises
    ------
    InvalidInput
        If the size is not above 0.
    """
    if not size_um > 0:
        raise InvalidInput(f"A size must be above 0 µm, not {size_um:g}.")
    pieces = round(sample.pieces)
    if pieces < 1:
        return None
    number = round(float(sample.count[sample.diameter_um > size_um].sum()))
    return share_above(size_um, min(number, pieces), pieces)


def share_above(size_um: float, number: int, pieces: int) -> Above:
    """Return the record of so many of so many pieces above a size.

    Raises
    ------
    InvalidInput
        If there are more of them than pieces, or no piece at all.
    """
    low, high = exact_limits(number, pieces)
    if number == 0:
        high = most_when_none(pieces)
    return Above(float(size_um), number, pieces, low, high, wilson_limits(number, pieces))


def _percent(share: float) -> str:
    return f"{rough_number(100 * share)} %"
