"""How sure a field may be of its kernels and skins: all that speaks for either, taken with caution.

What decides between kernel and skin need not be sure: of several hues one is the likeliest kernels' even
where all look alike. Here nothing is decided. Odds that rest on less than they claim are brought down, so
that the doubt says it.
"""

import numpy as np

from measure.field.kinds.kind_groups import Told, kernel_odds

# odds of what a hue is taken for by tables, natural logarithm, that count: beside other hues of the field,
# where all else speaks against it, and where it stands alone. Of 70 pairs of hues that nobody chose tables
# took two thirds for what they are
MOST_BY_HUE, MOST_AGAINST, MOST_ALONE = 1.25, 2.5, 3.5
ONE_HUE = 0.4  # of all that is said of the only hue of a field, which may be that of both kinds
LEAST = 0.7  # odds that are left to pieces of which nothing is known
# odds of a piece that is heard with no others: if its hue is known, and by its own structure, which is right
# for seven of ten single pieces
SINGLE, SINGLE_STRUCTURE = 3.0, 1.0


def sure_odds(lean: np.ndarray, known: np.ndarray, told: list[Told]) -> np.ndarray:
    """Odds of kernel of each hue of a field that its evidence bears out, natural logarithm, (h,).

    Two hues that stand apart are of two kinds, and which is which is told by how they differ; that differs
    from mill to mill, so all distances are weighed. One hue alone may hold both kinds, which no mean over
    its pieces shows: they are lumps or sheets for certain only where everything says so.

    Parameters
    ----------
    lean : (h,) ndarray
        Mean odds of kernel so far, of a table that goes by hue.
    known : (h,) ndarray
        How well each hue is known, 0 to 1.
    told : list of Told
    """
    prior = known * lean
    if len(lean) == 1:
        return ONE_HUE * (kernel_odds(np.zeros(1), *told) + prior.clip(-MOST_ALONE, MOST_ALONE))
    by_rest, with_hue, against = (
        kernel_odds(prior.clip(-most, most), *told, cautious=True)
        for most in (0.0, MOST_BY_HUE, MOST_AGAINST)
    )
    # what overrules a known hue is the less sure the better the hue is known, but that alone turns nothing
    overruled = (by_rest * prior < 0.0) & (by_rest * with_hue > 0.0)
    return np.where(overruled, np.where(against * by_rest > 0.0, against, 0.0), with_hue)


def within(odds: np.ndarray, sure: float | np.ndarray) -> np.ndarray:
    """Odds, (n,), no surer than the odds of their hue; those against it keep little."""
    return np.clip(odds, -np.maximum(-np.asarray(sure), LEAST), np.maximum(sure, LEAST))


def of_only_hue(odds: np.ndarray, sure: float, lumps: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Odds of the pieces of an only hue, (n,): what looks less like its kind than the others is less sure.

    Parameters
    ----------
    odds, lumps, weight : (n,) ndarray
        Odds of kernel so far and by structure, natural logarithm, and the say of each.
    sure : float
        Odds of the hue.
    """
    side = np.sign(sure)
    less = np.minimum(side * (lumps - np.average(lumps, weights=weight)), 0.0)
    return within(odds, side * np.maximum(np.abs(sure) + less, 0.0))


def singly(odds: np.ndarray, known: np.ndarray | float, lumps: np.ndarray) -> np.ndarray:
    """Odds of pieces heard in no hue, (n,): a known hue and their own structure must agree.

    Parameters
    ----------
    odds : (n,) ndarray
        Of kernel so far, natural logarithm.
    known : (n,) ndarray or float
        How well their hues are known, 0 to 1.
    lumps : (n,) ndarray
        Odds by structure over those that say nothing.
    """
    side = np.sign(odds)
    most = SINGLE * np.asarray(known) + np.clip(side * lumps, -SINGLE_STRUCTURE, SINGLE_STRUCTURE)
    return np.asarray(side * np.minimum(np.abs(odds), np.maximum(most, LEAST)))
