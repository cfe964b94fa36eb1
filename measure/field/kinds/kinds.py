"""Kinds: kernel, skin, salt, or other (air bubble, fibre, dust), each with a doubt.

A small multinomial model works on physical descriptors: optical densities against the local oil, the course
of density from rim to middle, outline shape, softness of the edge. Its numbers stand in `kind_model.json`,
one table each for colour and grey pictures, on bright ground, on dark ground, and on bright ground of pieces
lighter than it; `tests/benchmarks/fit_kinds.py` fits them anew. A piece unlike everything the model has seen
is called by it all the same, but with a high doubt, and as kernel rather than set aside.
"""

from collections.abc import Callable, Mapping

import cv2
import numpy as np

from measure.field.basics.kind_shape import box_share, roundness, wide_share, widest_px
from measure.field.bodies.fibre_bits import bits_of, rows_of_bits
from measure.field.ground.plate_colour import (
    against_grey,
    gained_share,
    ground_light,
    lighter_share,
    lit_aside,
    of_own_colour,
    say_of,
    stained,
)
from measure.field.kinds.kind_alike import among_alike
from measure.field.kinds.kind_bubbles import bubble_form
from measure.field.kinds.kind_clouds import by_clouds
from measure.field.kinds.kind_colourless import with_colour, without_colour
from measure.field.kinds.kind_depths import GREY, by_depths
from measure.field.kinds.kind_form import dark_food, food_without_colour
from measure.field.kinds.kind_green import by_green
from measure.field.kinds.kind_groups import leans
from measure.field.kinds.kind_hues import by_hues, by_lit_hues
from measure.field.kinds.kind_lamp import DARK_GROUND, by_lamp
from measure.field.kinds.kind_model import GROUPS, Model, built_in, descriptors, from_numbers, probabilities
from measure.field.kinds.kind_polars import by_polars, shining
from measure.field.kinds.kind_structure import cloudy, shines, structure_of
from measure.field.kinds.kind_tissue import as_tissue, is_tissue
from measure.flags import bits
from measure.model import KINDS, Kind
from measure.outlines import bounds
from measure.particles import Particles

REASONS = {"bubble": "air bubble", "fibre": "fibre", "dust": "dust or unknown"}
SET_ASIDE_FROM = 0.75  # probability from which a piece is taken out of the count
LIGHTER_SHARE = 0.25  # of what all pieces change: 0.03 at most where light comes from below, 0.9 from above
GAINED_SHARE = 0.15  # of light gained in a colour: 0.05 at most from below, 0.28 and more from above
FEWEST_FOR_CONTEXT = 5  # pieces that make a field
FOODS = GROUPS[:3]
TAKEN_BACK = (0.5, 0.25, 0.25)  # where a chance of no food goes that is not believed: it stays a doubt
FIBRE_LENGTHS = 7.0  # times its thickness
LONG_FIBRE_LENGTHS = 10.0  # no food is so long and so even
PART_LENGTHS = 2.5  # of a bit cut off a longer thread
FIBRE_EVEN = 1.45  # widest place over the mean width: 1 for a band, up to 1.3 for threads as they are found
CROSSING_WIDE, CROSSING_SHARE = 2.5, 0.15  # widest place where threads cross over their width, and its share
SURE_BY_FORM = 0.9
BOXED, CORNERS = 0.85, 0.6  # share of its box that a piece with four sides fills, and turning in four corners
COMPACT, COMPACT_CIRCULARITY = 0.94, 0.75  # solidity and circularity from which a piece is no scrap
SMOOTH = 1.06  # perimeter over the hull's: 1.00 to 1.03 of smooth rods and plates, above 1.1 of scraps
_KIND_OF = {"kernel": Kind.KERNEL, "skin": Kind.SKIN, "salt": Kind.SALT}
BELOW = "colour on bright"  # table of fields lit from below, of which `by_hues` is asked
FROM_BELOW = (BELOW, GREY)
LIT = ("colour on dark", "colour on bright, lighter")  # the same where pieces shine, of `by_lit_hues`
# what pieces of one field say of one another, in this order
FIELD_RULES: tuple[Callable[[np.ndarray, Particles], np.ndarray], ...] = (by_green, among_alike, by_clouds)
CLEAR_RULES: tuple[Callable[[np.ndarray, Particles], np.ndarray], ...] = (by_lamp, by_polars)
CODE_OF_GROUP = np.array([KINDS.index(_KIND_OF.get(group, Kind.OTHER)) for group in GROUPS])
_KERNEL, _OTHER = KINDS.index(Kind.KERNEL), KINDS.index(Kind.OTHER)


def tag(particles: Particles, learned: Mapping | None = None, table: str | None = None) -> Particles:
    """Give each particle its kind, the doubt of it, and a reason where it is set aside.

    Kinds set by hand stay as they are.

    Parameters
    ----------
    particles : Particles
        Measured; see `measure.field.edges.features`.
    learned : mapping, optional
        Model learned from the user's tags, as `measure.field.kinds.learn` returns it; without it the
        built-in model is used.
    table : str, optional
        `table_of` the field, where these are only some of its pieces.

    Returns
    -------
    Particles
        With ``kind``, ``kind_doubt``, ``set_aside`` and the flags ``bubble`` and ``fibre`` replaced.
    """
    if not len(particles):
        return particles
    every, table = table is None, table or table_of(particles)
    seen = against_grey(particles, table)
    chance = group_chances(particles, learned, table)
    taught = None
    if learned is not None and table in learned.get("tables", {}):
        taught = leans(chance) - leans(group_chances(particles, None, table))
    kind, doubt, group = decide(judged(chance, seen, table, taught, every))
    hand = particles["kind_by_hand"]
    flags = particles["flags"] & ~bits("bubble", "fibre")
    for name in ("bubble", "fibre"):
        flags = np.where((group == GROUPS.index(name)) & (kind == _OTHER) & ~hand, flags | bits(name), flags)
    reason = np.array([REASONS.get(GROUPS[g], REASONS["dust"]) for g in group], dtype=object)
    other = particles["set_aside"]
    # a reason that is not ours (below the limit, the user's own) stays
    kept = np.array([bool(r) and r not in REASONS.values() for r in other], dtype=bool)
    return particles.replaced(
        kind=np.where(hand, particles["kind"], kind),
        kind_doubt=np.where(hand, 0.0, doubt),
        flags=np.where(hand, particles["flags"], flags),
        set_aside=np.where(hand | kept, other, np.where(kind == _OTHER, reason, "")),
    )


def group_chances(
    particles: Particles, learned: Mapping | None = None, table: str | None = None
) -> np.ndarray:
    """Probability of each of `GROUPS` for each particle, (K, G); arguments as for `tag`."""
    table = table or table_of(particles)
    model: Model = built_in(table)
    if learned is not None and table in learned.get("tables", {}):
        model = from_numbers(learned, table)
    return probabilities(model, descriptors(against_grey(particles, table)))


def judged(
    chance: np.ndarray,
    particles: Particles,
    table: str | None = None,
    taught: np.ndarray | None = None,
    every: bool = True,
) -> np.ndarray:
    """What the form of a piece and its field make of the model's opinion of it.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of `group_chances` of all pieces of one field.
    particles : Particles
        As `measure.field.ground.plate_colour.against_grey` returns them.
    table : str, optional
        `table_of` the field.
    taught : (K,) ndarray, optional
        What a user's tags added to the odds of kernel over skin, natural logarithm.
    every : bool
        Whether these are all pieces of their field.

    Returns
    -------
    (K, G) ndarray
    """
    table = table or table_of(particles)
    below, bubbles, tissue = table == BELOW, bubble_form(particles, table in FROM_BELOW), is_tissue(particles)
    chance, grey_food = as_tissue(by_form(chance, particles, bubbles), tissue), np.zeros(len(particles), bool)
    if below:
        chance = dark_food(chance, particles)
        grey_food = food_without_colour(chance, particles)
    pale_food, asked = np.zeros(len(particles)), table.startswith("colour") and taught is None
    structure = structure_of(particles, table) if table.startswith("colour") else chance
    if asked:
        chance, pale_food = cloudy(chance, structure, particles)
    for rule in FIELD_RULES:
        chance = rule(chance, particles)
    if below:
        chance = by_hues(chance, particles, grey_food, taught, structure, every)
    elif table in LIT:
        known = (table != LIT[0] or shines(particles)) and not shining(particles).any()
        chance = by_lit_hues(chance, particles, taught, structure if known else None, every)
    elif table == GREY and taught is None:
        chance = by_depths(chance, particles)
    chance = with_colour(chance, particles)
    if asked:
        # which kernels have a colour, so who lacks one, may be known only now
        pale_food = np.maximum(pale_food, cloudy(chance, structure, particles)[1])
    kept = np.maximum(np.maximum(grey_food, pale_food), tissue)[:, None]
    chance = kept * chance + (1.0 - kept) * without_colour(chance, particles)
    for rule in CLEAR_RULES:
        chance = rule(chance, particles)
    return in_context(chance, bubbles[1])


def by_form(
    chance: np.ndarray, particles: Particles, bubbles: tuple[np.ndarray, np.ndarray] | None = None
) -> np.ndarray:
    """Take bubble, fibre and dust back from pieces that lack what makes one; be sure of plain cases.

    The chance taken back goes to the foods. A black disc with a bright middle, a long even thread and a
    straight-sided rim through which another piece is seen are nothing else, however little the rest
    resembles what the model has seen. ``bubbles`` is what `bubble_form` says, where that is known.
    """
    changed = chance.copy()
    forms = {
        "salt": crystal_form(particles),
        "bubble": bubbles or bubble_form(particles),
        "fibre": fibre_form(particles),
        "dust": dust_form(particles),
    }
    for name, (could, sure) in forms.items():
        column = GROUPS.index(name)
        changed[:, : len(FOODS)] += np.where(could, 0.0, changed[:, column])[:, None] * np.array(TAKEN_BACK)
        changed[~could, column] = 0.0
        changed[sure] *= 1.0 - SURE_BY_FORM
        changed[sure, column] += SURE_BY_FORM
    return changed


def crystal_form(particles: Particles) -> tuple[np.ndarray, np.ndarray]:
    """Whether a piece can be a crystal, which none is too odd for, and whether it can be nothing else.

    A rim that was found to run over or under another piece shows that piece through it, so the colour within
    tells of the other piece. Straight sides or corners make it a crystal, if the other piece is there: the
    ragged margin of a lone kernel may have been taken for such a rim.

    Returns
    -------
    could, sure : (K,) ndarray of bool
    """
    both = bits("rim_only", "overlap")
    sure = (particles["flags"] & both) == both
    rows = np.flatnonzero(sure)
    if not len(rows):
        return np.ones(len(particles), dtype=bool), sure
    box = bounds(particles.outlines)
    meets = [
        np.count_nonzero((box[:, :2] < box[row, 2:]).all(axis=1) & (box[:, 2:] > box[row, :2]).all(axis=1))
        > 1
        for row in rows
    ]
    outlines = [particles.outlines[row] for row in rows]
    boxed = np.array([box_share(outline) for outline in outlines]) > BOXED
    sure[rows] = (boxed | (roundness(outlines)[2] > CORNERS)) & np.array(meets)
    return np.ones(len(particles), dtype=bool), sure


def dust_form(particles: Particles) -> tuple[np.ndarray, np.ndarray]:
    """Whether a piece is ragged enough for dust; nothing is surely dust.

    A scrap has arms and bays. What is opaque but compact may be a thick or a burnt piece, which counts most
    in the coarse end of the batch, so it stays counted, with its doubt. Nor are slender or three-cornered
    pieces ragged for having a long outline, if that is no longer than the hull's.

    Returns
    -------
    could, sure : (K,) ndarray of bool
    """
    full = particles["area_px2"] / np.maximum(particles["hull_area_px2"], 1e-9)
    circularity = 4.0 * np.pi * particles["area_px2"] / np.maximum(particles["perimeter_px"], 1e-9) ** 2
    could = (full < COMPACT) | (circularity < COMPACT_CIRCULARITY)
    for row in np.flatnonzero(could & (full >= COMPACT)):
        hull = cv2.convexHull(np.asarray(particles.outlines[row], np.float32))
        could[row] = particles["perimeter_px"][row] > SMOOTH * cv2.arcLength(hull, True)
    return could, np.zeros(len(particles), dtype=bool)


def fibre_form(particles: Particles) -> tuple[np.ndarray, np.ndarray]:
    """Whether a piece is a thread, straight or bent, and whether it is too long to be anything else.

    Length over thickness follows from perimeter and area alone, however a thread is bent. A ragged lump
    has as long an outline for its area, but holds a circle much wider than its mean width.

    Returns
    -------
    could, sure : (K,) ndarray of bool
    """
    perimeter = np.maximum(particles["perimeter_px"], 1e-9)
    width = 2.0 * particles["area_px2"] / perimeter
    lengths = perimeter / np.maximum(2.0 * width, 1e-9)
    could = lengths > FIBRE_LENGTHS
    for row in np.flatnonzero(could):
        widest = widest_px(particles.outlines[row], float(width[row]))
        could[row] = widest < FIBRE_EVEN * width[row]
        # where one crosses another, or runs beside it, it is wider for a short way
        if not could[row] and widest < CROSSING_WIDE * width[row] and lengths[row] > LONG_FIBRE_LENGTHS:
            wide = wide_share(particles.outlines[row], float(width[row]), FIBRE_EVEN * float(width[row]))
            could[row] = wide < CROSSING_SHARE
    # of a piece cut by the frame a long slice may be left, so its form proves nothing
    whole = (particles["flags"] & bits("touches_frame")) == 0
    threads = could & (lengths > LONG_FIBRE_LENGTHS)
    long = threads & whole
    part = bits_of(threads, ~threads & (lengths > PART_LENGTHS), particles) | rows_of_bits(particles)
    return could | part, long | part


def in_context(chance: np.ndarray, surely_bubble: np.ndarray) -> np.ndarray:
    """Take back what is no food where that would be most of the field.

    Setting aside is for the odd piece among food. Where most pieces look like no food, they are what the
    picture is about, so they stay counted, as kernel with a high doubt. Dust needs food around it to be
    called dust at all. What is a bubble by its form is one in any company: a paste that was stirred may hold
    more of them than pieces, so they neither are taken back nor say what the picture is about.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of `group_chances` of all pieces of one field, or of one piece corrected by hand.
    surely_bubble : (K,) ndarray of bool
        Second of the two that `bubble_form` returns.

    Returns
    -------
    (K, G) ndarray
    """
    no_food = [GROUPS.index(g) for g in ("bubble", "fibre", "dust")]
    rest = ~surely_bubble
    odd = chance[rest][:, no_food].sum(axis=1) > 0.5
    taken_back = no_food if len(odd) >= FEWEST_FOR_CONTEXT and odd.mean() > 0.5 else []
    if len(odd) < FEWEST_FOR_CONTEXT:
        taken_back = [GROUPS.index("dust")]
    changed = chance.copy()
    if taken_back:
        lost = np.where(rest, changed[:, taken_back].sum(axis=1), 0.0)
        changed[:, taken_back] *= surely_bubble[:, None]
        changed[:, : len(FOODS)] += lost[:, None] * np.array(TAKEN_BACK)
    return changed


def decide(chance: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Kind code, doubt and group of each row of `group_chances`.

    The doubt is the probability that the kind is wrong. A piece is called `other`, which takes it out
    of the count, only when that is likely; else it goes to the likeliest food.
    """
    by_kind = np.zeros((len(chance), len(KINDS)))
    np.add.at(by_kind.T, CODE_OF_GROUP, chance.T)
    kind = by_kind.argmax(axis=1)
    unsure = (kind == _OTHER) & (by_kind[:, _OTHER] < SET_ASIDE_FROM)
    kind = np.where(unsure, np.delete(by_kind, _OTHER, axis=1).argmax(axis=1), kind)
    doubt = 1.0 - by_kind[np.arange(len(kind)), kind]
    among = np.where(CODE_OF_GROUP[None] == kind[:, None], chance, -1.0)
    return kind, np.clip(doubt, 0.0, 1.0), among.argmax(axis=1)


def table_of(particles: Particles) -> str:
    """Name of the model's table for pieces of one field: with colour or without, and on what ground.

    On a bright plate pieces lighter than it are lit from above, and their colours say something else than
    those of pieces that take light away. A ground that is strongly red or yellow is stained oil, which pieces
    displace, or over which they shine as in dark field; no oil is blue. Where shadows and dark pieces prevail
    on a green or blue plate, light that the pieces give back in a colour of which the plate gives less still
    tells that it comes from above.
    On a ground that is dark because nothing scatters there pieces are lighter; where they are darker, light
    comes from below and the picture is underexposed, which changes no density. Crystals that shine between
    polarisers say nothing of how the others are lit.
    """
    crystal = shining(particles) > 0.5
    particles = particles if crystal.all() else particles.select(~crystal)
    rgb = np.stack([particles[c] for c in ("red", "green", "blue")], axis=1).astype(float)
    grey = bool(np.ptp(rgb, axis=1).max(initial=0.0) < 1.5)
    oil = ground_light(particles) if len(particles) else np.ones(3)
    ground = "bright"
    say = say_of(particles)
    lighter = lighter_share(particles, say) > LIGHTER_SHARE
    if lighter and (oil.mean() < DARK_GROUND or lit_aside(particles, say)):
        ground = "dark"
    elif not stained(oil) and (
        lighter or (of_own_colour(oil) and gained_share(particles, say) > GAINED_SHARE)
    ):
        ground = "bright, lighter"
    return f"{'grey' if grey else 'colour'} on {ground}"
