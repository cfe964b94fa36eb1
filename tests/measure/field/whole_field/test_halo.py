"""What hugs a piece and is weaker is set aside by name; a small piece that merely touches is not."""

import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.field.whole_field.halo import REASON, STAIN, contact, halo_like
from measure.flags import bits
from measure.model import FieldSettings, Picture


def _picture(draw) -> Picture:
    rng = np.random.default_rng(4)
    grey = np.full((600, 800), 205.0, np.float32)
    draw(grey)
    grey = cv2.GaussianBlur(cv2.resize(grey, (400, 300), interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    grey += rng.normal(0, 1.0, grey.shape)
    return Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2))


def _shadowed(grey):
    for x in (200, 560):
        cv2.circle(grey, (x + 22, 300), 70, 182, -1)
        cv2.circle(grey, (x, 300), 70, 70, -1)


def _touching(grey):
    for x in (200, 560):
        cv2.circle(grey, (x, 300), 70, 70, -1)
        cv2.circle(grey, (x + 92, 300), 24, 130, -1)


def test_a_shadow_is_set_aside_and_named():
    particles = measure_field(_picture(_shadowed), FieldSettings(), 1.0).particles
    counted = particles["set_aside"] == ""
    assert counted.sum() == 2
    assert set(particles["set_aside"][~counted]) <= {REASON, "below the lower limit"}


def test_a_small_piece_that_touches_is_counted():
    particles = measure_field(_picture(_touching), FieldSettings(), 1.0).particles
    assert (particles["set_aside"] == "").sum() == 4


def _wide_shadow(grey):
    """Two pieces, each with a dark shadow as large as itself and softer."""
    shadow = np.zeros_like(grey)
    for x in (200, 560):
        cv2.circle(shadow, (x + 56, 270), 72, 70, -1)
    grey -= cv2.GaussianBlur(shadow, (0, 0), 7)
    for x in (200, 560):
        cv2.circle(grey, (x, 300), 70, 60, -1)


def _half_hidden(grey):
    for x in (200, 560):
        cv2.circle(grey, (x + 56, 270), 72, 135, -1)
        cv2.circle(grey, (x, 300), 70, 60, -1)


def test_a_soft_shadow_nearly_as_large_as_its_piece_is_set_aside():
    particles = measure_field(_picture(_wide_shadow), FieldSettings(), 1.0).particles
    counted = particles["set_aside"] == ""
    assert counted.sum() == 2
    assert (particles["lightness_step"][counted] < -40).all()
    assert set(particles["set_aside"][~counted]) <= {REASON, "below the lower limit"}


def test_a_paler_piece_half_hidden_under_another_is_counted():
    particles = measure_field(_picture(_half_hidden), FieldSettings(), 1.0).particles
    assert (particles["set_aside"] == "").sum() == 4


def test_contact_of_two_rectangles_is_the_shared_side():
    from measure.particles import make_particles

    a = np.array([[10, 10], [50, 10], [50, 40], [10, 40]], float)
    b = a + np.array([40.0, 0.0])
    dense = [
        np.concatenate(
            [np.linspace(p, q, 60, endpoint=False) for p, q in zip(o, np.roll(o, -1, 0), strict=True)]
        )
        for o in (a, b)
    ]
    share, beside = contact(make_particles(dense, label=[1, 2], area_px2=[1200.0, 1200.0]), (60, 100))
    assert beside.tolist() == [1, 0]
    assert np.allclose(share, 30 / 140, atol=0.03)


def _fringed(grey):
    for x in (150, 420, 650):
        cv2.ellipse(grey, (x + 6, 300), (72, 72), 0, -70, 70, 245, 14)
        cv2.circle(grey, (x, 300), 62, 90, -1)


def _bright_grain_beside(grey):
    for x in (200, 560):
        cv2.circle(grey, (x, 300), 62, 90, -1)
    cv2.circle(grey, (380, 300), 40, 250, -1)


def test_bright_fringes_of_dark_pieces_are_set_aside():
    particles = measure_field(_picture(_fringed), FieldSettings(), 1.0).particles
    assert (particles["set_aside"] == "").sum() == 3
    assert (particles["lightness_step"][particles["set_aside"] == ""] < 0).all()


def test_a_compact_bright_grain_of_its_own_is_counted():
    particles = measure_field(_picture(_bright_grain_beside), FieldSettings(), 1.0).particles
    assert (particles["set_aside"] == "").sum() == 3


def _pale_grains_touching(grey):
    for x in (150, 560):
        cv2.circle(grey, (x + 100, 300), 40, 238, -1)
        cv2.circle(grey, (x, 300), 62, 60, -1)


def test_a_pale_bright_grain_that_touches_a_stronger_dark_one_is_counted():
    particles = measure_field(_picture(_pale_grains_touching), FieldSettings(), 1.0).particles
    counted = particles["set_aside"] == ""
    assert counted.sum() == 4
    assert (particles["lightness_step"][counted] > 0).sum() == 2


def _stained(grey):
    stain = np.zeros_like(grey)
    cv2.circle(stain, (380, 120), 60, 9, -1)
    grey -= cv2.GaussianBlur(stain, (0, 0), 24)
    for x in (200, 560):
        cv2.circle(grey, (x, 380), 62, 60, -1)


def _faint_with_an_edge(grey):
    cv2.circle(grey, (380, 120), 60, 188, -1)
    for x in (200, 560):
        cv2.circle(grey, (x, 380), 62, 60, -1)


def test_a_stain_without_an_edge_is_not_counted_and_a_faint_piece_with_one_is():
    stained = measure_field(_picture(_stained), FieldSettings(), 1.0).particles
    assert (stained["set_aside"] == "").sum() == 2
    faint = measure_field(_picture(_faint_with_an_edge), FieldSettings(), 1.0).particles
    assert (faint["set_aside"] == "").sum() == 3


def _streaked(grey):
    """A faint ragged streak of the ground, with an edge, beside two pieces."""
    turn = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    reach = np.where(np.arange(14) % 2, 26.0, 60.0)
    streak = np.column_stack([380 + 1.6 * reach * np.cos(turn), 120 + reach * np.sin(turn)]).astype(np.int32)
    cv2.fillPoly(grey, [streak], 189)
    _two(grey)


def _faint_disc(grey):
    cv2.circle(grey, (380, 120), 34, 189, -1)
    _two(grey)


def _two(grey):
    for x in (200, 560):
        cv2.circle(grey, (x, 380), 62, 8, -1)


def test_a_faint_ragged_streak_is_set_aside_and_an_even_piece_as_faint_is_counted():
    streaked = measure_field(_picture(_streaked), FieldSettings(), 1.0).particles
    assert (streaked["set_aside"] == "").sum() == 2
    assert STAIN in streaked["set_aside"].tolist()  # kept, with its reason
    even = measure_field(_picture(_faint_disc), FieldSettings(), 1.0).particles
    assert (even["set_aside"] == "").sum() == 3


def _pieces(*outlines: np.ndarray, steps: tuple[float, ...]):
    """Measured pieces of given outlines and lightness, as far as halos are judged by."""
    from measure.field.basics.shape import resampled
    from measure.particles import make_particles

    hulls = [cv2.convexHull(o.astype(np.float32)) for o in outlines]
    sides = [min(cv2.minAreaRect(hull)[1]) for hull in hulls]
    return make_particles(
        list(resampled([o.astype(np.float32) for o in outlines], 400)),
        label=list(range(1, len(outlines) + 1)),
        area_px2=[float(cv2.contourArea(o.astype(np.float32))) for o in outlines],
        hull_area_px2=[float(cv2.contourArea(hull)) for hull in hulls],
        feret_min_px=sides,
        lightness_step=list(steps),
        green_red_step=[0.0] * len(steps),
        blue_yellow_step=[0.0] * len(steps),
        edge_width_px=[2.0] * len(steps),
    )


def _arc(radius: float, degrees: tuple[float, float]) -> np.ndarray:
    turn = np.radians(np.linspace(*degrees, 120))
    return 100.0 + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def test_a_thin_ring_nearly_all_round_its_piece_is_a_halo_though_as_wide_as_the_piece():
    disc = _arc(40.0, (0.0, 357.0))
    ring = np.concatenate([_arc(45.0, (0.0, 300.0)), _arc(41.0, (300.0, 0.0))])
    assert halo_like(_pieces(disc, ring, steps=(-60.0, -12.0)), (200, 200)).tolist() == [False, True]
    # as strong as its piece it is none, nor is it one beside something else
    assert not halo_like(_pieces(disc, ring, steps=(-60.0, -50.0)), (200, 200)).any()
    assert not halo_like(_pieces(disc, np.add(ring, (95.0, 0.0)), steps=(-60.0, -12.0)), (200, 300)).any()


def test_a_faint_part_of_a_stain_is_stain_though_its_own_edge_seems_sharp():
    from measure.field.whole_field.halo import stain_like
    from measure.particles import make_particles

    def judged(parents: list[int]) -> list[bool]:
        """A strong piece, two edgeless parts as faint as a stain, and one with an edge."""
        return stain_like(
            make_particles(
                [np.zeros((4, 2))] * 4,
                label=[1, 2, 3, 4],
                parent=parents,
                area_px2=[9000.0, 2000.0, 1500.0, 1200.0],
                lightness_step=[-60.0, -7.0, -7.0, -7.0],
                green_red_step=[0.0] * 4,
                blue_yellow_step=[0.0] * 4,
                edge_width_px=[3.0, np.nan, np.nan, 4.0],
            )
        ).tolist()

    assert judged([0, 5, 5, 5]) == [False, True, True, True]
    assert judged([0, 5, 5, 0]) == [
        False,
        True,
        True,
        False,
    ]  # a faint piece by itself with an edge is counted
    assert judged([0, 5, 0, 0]) == [False, True, True, False]


def _foggy(places: int, **changed: float | list[int]) -> list[bool]:
    """Which of three strong pieces and some faint, ragged, grey places, half without an edge, are fog."""
    from measure.field.whole_field.halo import fog_like
    from measure.particles import make_particles

    values = {
        "lightness_step": -5.0,
        "green_red_step": 0.1,
        "blue_yellow_step": -0.4,
        "area_px2": 200.0,
        "hull_area_px2": 260.0,
        "perimeter_px": 75.0,
        "flags": bits("faint"),
    } | changed
    strong = {"lightness_step": -30.0, "area_px2": 2000.0, "hull_area_px2": 2050.0, "perimeter_px": 165.0}
    count = 3 + places
    columns = {
        name: [strong.get(name, 0)] * 3 + (value if isinstance(value, list) else [value] * places)
        for name, value in values.items()
    }
    edges = [3.0] * 3 + [np.nan if k % 2 else 3.5 for k in range(places)]
    return fog_like(
        make_particles(
            [np.zeros((4, 2))] * count,
            label=list(range(1, count + 1)),
            edge_width_px=edges if "edge_width_px" not in changed else [changed["edge_width_px"]] * count,
            **{name: column for name, column in columns.items() if name != "edge_width_px"},
        )
    ).tolist()


def test_many_faint_ragged_grey_places_at_once_are_fog():
    assert _foggy(12) == [False] * 3 + [True] * 12


def test_what_seems_a_rim_in_a_fog_is_one_where_it_lies_by_itself_or_has_an_edge():
    flags = [bits("faint")] * 10 + [bits("faint", "rim_only")] * 4
    parent = [0] * 10 + [7, 7, 0, 0]
    assert _foggy(14, flags=flags, parent=parent)[3:] == [True] * 10 + [False, True, False, False]


@pytest.mark.parametrize(
    ("places", "changed"),
    [
        (5, {}),  # some may be pieces
        (12, {"edge_width_px": 3.5}),  # all with an edge
        (12, {"green_red_step": 3.0}),  # coloured
        (12, {"lightness_step": -14.0}),  # half as strong as the pieces
        (12, {"hull_area_px2": 205.0, "perimeter_px": 52.0}),  # compact
        (12, {"flags": 0}),  # well above the noise
    ],
)
def test_faint_pieces_are_no_fog(places, changed):
    assert not any(_foggy(places, **changed))


def _ringed(softness: float):
    """Eight sharp pieces, and a bow less dark: of dried oil where it is soft, else a strip of skin."""

    def draw(grey):
        for n, (x, y) in enumerate(np.ndindex(4, 2)):
            cv2.ellipse(grey, (90 + 200 * x, 90 + 110 * y), (34, 22 + n), 25 * n, 0, 360, 75, -1)
        bow = np.zeros_like(grey)
        cv2.ellipse(bow, (400, 900), (460, 460), 0, 258, 282, 60, 22)
        grey -= cv2.GaussianBlur(bow, (0, 0), softness) if softness else bow

    return draw


def test_a_ring_of_dried_oil_far_softer_than_the_pieces_is_set_aside():
    found = measure_field(_picture(_ringed(12.0)), FieldSettings(), 1.0).particles
    counted = found["set_aside"] == ""
    assert counted.sum() == 8
    assert STAIN in set(found["set_aside"][~counted])
    assert found["centre_y_px"][counted].max() < 130


def test_smudges_are_told_by_softness_length_and_strength_together():
    from measure.field.whole_field.halo import smudge_like

    def asked(width: float, lightness: float, long: float, thick: float) -> bool:
        count = 9
        pieces = measure_field(_picture(_ringed(0.0)), FieldSettings(), 1.0).particles
        pieces = pieces.select(np.resize(np.arange(len(pieces)), count))
        values = {
            "edge_width_px": np.r_[np.full(count - 1, 4.0), width],
            "lightness_step": np.r_[np.full(count - 1, -30.0), lightness],
            "green_red_step": np.zeros(count),
            "blue_yellow_step": np.zeros(count),
            "area_px2": np.r_[np.full(count - 1, 900.0), long * thick],
            "feret_max_px": np.r_[np.full(count - 1, 34.0), long],
        }
        return bool(smudge_like(pieces.replaced(**values), np.ones(count, bool))[-1])

    assert asked(12.0, -10.0, 100.0, 18.0)
    assert not asked(6.0, -10.0, 100.0, 18.0)  # as sharp as a piece a little out of focus
    assert not asked(12.0, -25.0, 100.0, 18.0)  # a dark flake out of focus
    assert not asked(12.0, -10.0, 40.0, 30.0)  # a compact pale piece out of focus
    assert asked(20.0, -6.0, 60.0, 50.0)  # dust on the lens


def _clouded(pieces: int, diameter: float, places: int = 40) -> list[bool]:
    """Which are fog: clear pieces of one size, and soft faint places that together are larger."""
    from measure.field.whole_field.halo import fog_like
    from measure.particles import make_particles

    clear, area = [True] * pieces + [False] * places, np.pi / 4 * diameter**2
    both = {
        "lightness_step": (30.0, 7.0),
        "green_red_step": (0.2, 0.1),
        "blue_yellow_step": (0.2, 0.1),
        "area_px2": (area, 3000.0),
        "hull_area_px2": (1.02 * area, 3900.0),
        "perimeter_px": (1.02 * np.pi * diameter, 260.0),
        "edge_width_px": (3.0, 16.0),
        "flags": (0, bits("faint")),
    }
    columns = {name: [one if own else other for own in clear] for name, (one, other) in both.items()}
    blank = [np.zeros((4, 2))] * len(clear)
    return fog_like(make_particles(blank, label=list(range(1, len(clear) + 1)), **columns)).tolist()


def test_clear_pieces_tell_what_is_usual_though_an_uneven_ground_gives_more_area():
    assert _clouded(8, 40.0) == [False] * 8 + [True] * 40


def test_too_few_clear_pieces_or_specks_tell_nothing_of_soft_ones():
    assert not any(_clouded(3, 40.0))
    assert not any(_clouded(12, 14.0))


def test_pieces_on_a_clouded_dark_ground_are_counted_and_its_clouds_are_not():
    rng = np.random.default_rng(8)
    grey = np.full((700, 900), 34.0, np.float32)
    clouds = cv2.resize(rng.normal(size=(18, 23)), (900, 700), interpolation=cv2.INTER_CUBIC)
    grey += 12 * np.clip(clouds, 0, 2)
    places = [(90 + 180 * i, 80 + 180 * j) for i in range(5) for j in range(4)]
    for n, (x, y) in enumerate(places):
        cv2.ellipse(grey, (x, y), (24, 17 + n % 5), 37 * n, 0, 360, 120, -1)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.0) + rng.normal(0, 1.5, grey.shape)
    picture = Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2))
    found = measure_field(picture, FieldSettings(), 1.0).particles
    counted = found.select(np.flatnonzero((found["set_aside"] == "") & (found["lightness_step"] > 0)))
    assert len(counted) == len(places)
    assert STAIN in set(found["set_aside"])
