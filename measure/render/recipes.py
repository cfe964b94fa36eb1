"""Named conditions: what the accuracy benchmark draws, and the sample batches.

Conditions marked *held out* look different in what measuring may take for granted (contrast, grain, edge
softness, rim width, colour). They are there to be reported, never to be tuned on.
"""

from dataclasses import replace
from typing import Any

from measure.render.recipe import Arrangement, Camera, Extras, Light, Recipe, Sizes

_DARK = Light(oil=(34.0, 30.0, 27.0), dark_ground=True, vignette=0.2, haze=0.5, haze_contrast=0.10)
_PLAIN = Recipe(sizes=Sizes(34.0, 1.6, 5.0, 140.0), arrangement=Arrangement(cover=0.05))


def _named(name: str, base: Recipe = _PLAIN, **changes: Any) -> Recipe:
    """Return a recipe with fields replaced; ``part__field=value`` reaches into a part."""
    for key, value in changes.items():
        part, _, inner = key.partition("__")
        base = replace(base, **{part: replace(getattr(base, part), **{inner: value}) if inner else value})
    return replace(base, name=name)


def _tuned() -> list[Recipe]:
    return [
        _named("sparse", arrangement__cover=0.02),
        _named("touching", arrangement=Arrangement(cover=0.10, touch_share=0.6, press_px=1.5)),
        _named("overlapping", arrangement=Arrangement(cover=0.09, overlap_share=0.45)),
        _named("fine", sizes=Sizes(13.0, 1.35, 4.0, 40.0), arrangement__cover=0.035, light__haze=0.9),
        _named(
            "coarse",
            sizes=Sizes(150.0, 1.45, 8.0, 330.0),
            arrangement__cover=0.22,
            um_per_px=0.8,
            kernel__growth=0.2,
            skin__streak_px=7.0,
        ),
        _named(
            "uneven",
            light=Light(vignette=0.35, slope=0.30, tint=0.09, slope_deg=-40.0, veil=0.02),
            camera=Camera(jpeg_quality=70, sharpen=0.4),
        ),
        _named("foreign", extras=Extras(bubbles=12, fibres=3), arrangement__cover=0.04),
        _named("dark_ground", light=_DARK, kernel__strength=1.1, arrangement__touch_share=0.3),
        _named("salty", kernel_share=0.2, skin_share=0.08, salt_share=0.72, salt__broken=0.28),
        _named("skins", kernel_share=0.22, skin_share=0.7, salt_share=0.08, arrangement__touch_share=0.2),
        _named(
            "dense",
            sizes=Sizes(42.0, 1.5, 6.0, 140.0),
            arrangement=Arrangement(cover=0.36, gap_px=3.0, touch_share=0.35),
        ),
        _named("defocused", camera=Camera(blur_px=1.4, depth_um=40.0, blur_px_per_um=0.075)),
        _named(
            "large",
            width_px=5472,
            height_px=3648,
            sizes=Sizes(28.0, 1.6, 5.0, 120.0),
            arrangement=Arrangement(pieces=2000, touch_share=0.25),
        ),
        _named("pale", kernel__strength=0.35, skin__strength=0.45, salt__rim=0.4, light__haze_contrast=0.02),
        _named(
            "lighter",  # the oil is stained, pieces displace it and let more light through
            light__oil=(158.0, 124.0, 84.0),
            kernel__absorbance=(-0.30, -0.42, -0.55),
            kernel__edge_line=-0.1,
            arrangement__touch_share=0.2,
        ),
        _named(
            "wide_rims",
            kernel_share=0.45,
            skin_share=0.15,
            salt_share=0.4,
            salt__rim=0.45,
            salt__rim_px=7.0,
            salt__glow=0.45,
            salt__body=-0.03,
            salt__broken=0.3,
            extras=Extras(bubbles=5, bubble_ring=0.24, bubble_dark=1.4),
        ),
    ]


def _held_out() -> list[Recipe]:
    return [
        _named(
            "held_soft",
            kernel__softness_px=1.8,
            kernel__edge_step=0.55,
            kernel__edge_line=0.0,
            kernel__texture=0.10,
            kernel__texture_px=12.0,
            camera__blur_px=1.3,
            arrangement__touch_share=0.25,
        ),
        _named(
            "held_coarse_grain",
            kernel__texture=0.5,
            kernel__texture_px=9.0,
            kernel__roughness=0.17,
            skin__streaks=0.5,
            skin__streak_px=7.0,
            camera__fringe=0.12,
            camera__sharpen=0.6,
            arrangement__touch_share=0.25,
        ),
        _named(
            "held_colour",
            light__oil=(188.0, 206.0, 214.0),
            kernel__absorbance=(0.40, 0.42, 0.40),
            skin__absorbance=(0.75, 1.05, 1.10),
            salt__tint=(1.02, 0.99, 0.96),
            camera=Camera(jpeg_quality=85, full_well=4000.0, read_noise=22.0),
            arrangement__touch_share=0.25,
        ),
        _named(
            "held_mixed",
            um_per_px=0.9,
            sizes=Sizes(48.0, 1.8, 7.0, 200.0),
            kernel__strength=1.7,
            kernel__edge_line_px=3.0,
            kernel__edge_line=0.5,
            salt__rim_px=1.6,
            light__haze=2.0,
            light__veil=0.03,
            light__veil_px=25.0,
            arrangement=Arrangement(cover=0.14, touch_share=0.3, overlap_share=0.12, gap_px=3.0),
            extras=Extras(bubbles=4, fibres=1),
        ),
        _named(
            "held_dim",
            um_per_px=0.5,
            sizes=Sizes(44.0, 1.7, 6.0, 170.0),
            light=Light(oil=(118.0, 98.0, 70.0), vignette=0.3, slope=0.12, haze=1.2),
            kernel__strength=0.8,
            kernel__texture=0.3,
            kernel__softness_px=1.2,
            salt__rim_px=4.0,
            salt__glow=0.3,
            salt__broken=0.15,
            camera=Camera(jpeg_quality=80, full_well=6000.0, read_noise=14.0),
            arrangement=Arrangement(cover=0.10, touch_share=0.35),
        ),
    ]


TUNED: dict[str, Recipe] = {recipe.name: recipe for recipe in _tuned()}
HELD_OUT: dict[str, Recipe] = {recipe.name: recipe for recipe in _held_out()}
CONDITIONS: dict[str, Recipe] = TUNED | HELD_OUT


def resized(recipe: Recipe, width_px: int) -> Recipe:
    """Return the recipe on a smaller or larger frame of the same proportions; counts follow the area."""
    height = round(recipe.height_px * width_px / recipe.width_px)
    share = (width_px / recipe.width_px) ** 2
    plan, extras = recipe.arrangement, recipe.extras
    if plan.pieces is not None:
        plan = replace(plan, pieces=max(1, round(plan.pieces * share)))
    fewer = replace(
        extras,
        bubbles=max(min(1, extras.bubbles), round(extras.bubbles * share)),
        fibres=max(min(1, extras.fibres), round(extras.fibres * share)),
    )
    return replace(recipe, width_px=width_px, height_px=height, arrangement=plan, extras=fewer)
