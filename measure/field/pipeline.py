"""One field, from picture to particles. Only composes; each step lives in its own file."""

import time
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from measure.errors import InvalidInput
from measure.field.basics.found import least_area_px2
from measure.field.basics.kept_memory import kept_memory
from measure.field.basics.sharing import Helpers, worth_sharing
from measure.field.components.find import find_pieces
from measure.field.crystals.wall_pairs import with_wall_pairs
from measure.field.edges.settle import settled
from measure.field.ground.light import Light, prepare, zone_mask
from measure.field.kinds.kind_note import kinds_note
from measure.field.kinds.measure_outlines import measure_outlines
from measure.field.levelled import levelled
from measure.field.limits import finest_px, smallest_px
from measure.field.marks.jpeg_blocks import COMPRESSED
from measure.field.marks.oil_edge import oil_edge_note, oil_edge_zones
from measure.field.marks.own_marks import counted_marks_note, mark_zones, marks_note
from measure.field.marks.strong_noise import without_strong_noise
from measure.field.marks.surround import border_note, border_zones
from measure.field.marks.taken_off import without_lines
from measure.field.overlaps.ovals_apart import ovals_apart
from measure.field.overlaps.overlap import resolve_overlaps
from measure.field.quality import field_quality
from measure.field.whole_field.colour_blocks import set_aside_spills
from measure.field.whole_field.flakes import with_flakes
from measure.field.whole_field.found_twice import set_aside_twice
from measure.field.whole_field.halo import set_aside_halos
from measure.field.whole_field.joined_again import joined_again
from measure.field.whole_field.optic_dust import set_aside_optics
from measure.field.whole_field.reunite import reunite
from measure.field.whole_field.two_tones import with_two_tones
from measure.flags import bits
from measure.model import FieldResult, FieldSettings, Frame, Picture
from measure.particles import Particles
from measure.progress import SILENT, Progress

_KEPT_PIXELS = 1_000_000  # of a smaller picture too little is freed and taken again to be worth keeping


def measure_field(
    picture: Picture,
    settings: FieldSettings,
    um_per_px: float,
    *,
    blank: Picture | None = None,
    zones: tuple[np.ndarray, ...] = (),
    learned: Mapping | None = None,
    light: Light | None = None,
    progress: Progress = SILENT,
    helpers: int = 0,
    border: bool = True,
) -> FieldResult:
    """Measure one field.

    Parameters
    ----------
    picture : Picture
    settings : FieldSettings
    um_per_px : float
        Scale, only used to turn the smallest size into px.
    blank : Picture, optional
        The oil alone at the same setting.
    zones : tuple of (K, 2) ndarray
        Excluded polygons, x and y in px. An even border round the view, what was drawn into the picture and
        glass beyond the edge of the oil join them, unless the light is given.
    learned : optional
        Kinds relearned from the user's re-tags.
    light : Light, optional
        The prepared light of this picture, blank and zones, to save preparing it again.
    progress : Progress
    helpers : int
        Processes that may be started to share the work if the field is large, or that are kept and share it
        (`basics.helper_pool`). They come by "spawn", so a script that asks for them must guard its main part.
    border : bool
        Leave an even border round the view, drawn marks and glass beyond the edge of the oil out; without it
        they are part of the field.

    Returns
    -------
    result : FieldResult

    Raises
    ------
    InvalidInput
        If a setting, the scale or the blank cannot be used.
    """
    started = time.perf_counter()
    limit = smallest_px(settings, um_per_px)
    zones = tuple(np.asarray(zone, np.float64) for zone in zones)
    _refuse_no_frame(picture, zones)
    shared = worth_sharing(picture.width_px * picture.height_px)
    with kept_memory(picture.width_px * picture.height_px >= _KEPT_PIXELS):
        found_border = border_zones(picture, zones) if light is None else ()
        marks = mark_zones(picture, (*zones, *found_border)) if light is None else ()
        beyond = oil_edge_zones(picture, (*zones, *found_border, *marks)) if light is None else ()
        zones += (*found_border, *marks, *beyond) if border else ()
        seen, (picture, taken_off) = picture, without_lines(picture)
        seen = without_lines(seen, smoothed=False)[0] if COMPRESSED in taken_off else picture
        alone, (picture, noisy) = seen is picture, without_strong_noise(picture, zones)
        if noisy:
            seen, taken_off = picture if alone else without_strong_noise(seen, zones)[0], taken_off + noisy
        particles, light = _measured(
            picture, seen, settings, limit, blank, zones, learned, light, progress, helpers if shared else 0
        )
    frame = Frame(picture.width_px, picture.height_px, zones)
    quality = field_quality(particles, frame, light)
    progress.report(1.0, "done")
    notes = _notes(settings, um_per_px, limit) + taken_off + kinds_note(particles)
    shape = (picture.height_px, picture.width_px)
    if found_border:
        notes += (border_note(found_border, shape, counted=not border),)
    if beyond:
        notes += (oil_edge_note(beyond, shape, counted=not border),)
    if marks:
        notes += (marks_note(marks) if border else counted_marks_note(marks, zones, shape),)
    return FieldResult(
        particles, frame, quality, settings, um_per_px, limit, time.perf_counter() - started, notes
    )


def _refuse_no_frame(picture: Picture, zones: tuple[np.ndarray, ...]) -> None:
    """Refuse zones that leave nothing of the picture: whatever stands in it would be no measurement."""
    mask = zone_mask((picture.height_px, picture.width_px), zones) if zones else None
    if mask is not None and mask.all():
        raise InvalidInput(
            f"{picture.name}: the areas to be left out cover the whole picture; leave part of it to measure."
        )


def _measured(
    picture: Picture,
    seen: Picture,
    settings: FieldSettings,
    limit: float,
    blank: Picture | None,
    zones: tuple[np.ndarray, ...],
    learned: Mapping | None,
    light: Light | None,
    progress: Progress,
    helpers: int,
) -> tuple[Particles, Light]:
    """The particles of a field down to a limit in px, and its light; kinds are read from what was seen."""
    with Helpers(helpers) as crew:
        progress.report(0.0, "taking out the light")
        light = crew.lend(prepare(picture, blank, zones, crew.room) if light is None else light)
        progress.report(0.3, "finding pieces")
        unshaded, plain, clear, textured, level = levelled(light)
        finest = finest_px(limit)
        found = find_pieces(level, limit, settings, progress, crew, finest)
        if settings.cut_strength > 0:
            found = joined_again(found, textured, settings.cut_strength)
        area = least_area_px2(finest)
        found = resolve_overlaps(found, level, area, settings.cut_strength, progress, crew)
        if settings.cut_strength > 0:
            found = ovals_apart(found, level, area)
            found = with_flakes(found, clear, area)
        found = with_two_tones(found, clear)
        # in relief, slopes and glows of phase contrast pieces do not show how much they absorb
        absorbing = clear is level and plain is unshaded
        found = with_wall_pairs(settled(found, clear, absorbing), clear)
    progress.report(0.8, "measuring pieces")
    shown = light if seen is picture else prepare(seen, blank, zones)
    shown = shown if plain is unshaded else plain  # neither slopes nor glows have a tone of their own
    shown = replace(shown, scatter=level.scatter)
    particles = measure_outlines(
        found.outlines,
        seen,
        shown,
        learned,
        found.parent,
        found.flags | _zone_flags(found.outlines, light),
        found.origin,
    )
    particles = _reported(reunite(particles, seen, shown, learned), limit)
    particles = set_aside_halos(_set_aside_small(particles, limit), light.solid_distance.shape)
    particles = set_aside_optics(particles, seen.pixels)
    light = replace(light, cast=plain.cast, contrast=level.contrast, scatter=level.scatter)
    return set_aside_twice(set_aside_spills(particles, light)), light


def _zone_flags(outlines: list[np.ndarray], light: Light) -> np.ndarray:
    """Flag pieces whose outline runs beside an excluded zone."""
    flags = np.zeros(len(outlines), np.int32)
    if light.zone_mask is None:
        return flags
    rows, cols = light.zone_mask.shape
    for i, outline in enumerate(outlines):
        for shift in (-1.0, 0.0, 1.0):
            x = np.clip((outline[:, 0] + shift).astype(int), 0, cols - 1)
            y = np.clip((outline[:, 1] + shift).astype(int), 0, rows - 1)
            across = np.clip((outline[:, 1] - shift).astype(int), 0, rows - 1)
            if light.zone_mask[y, x].any() or light.zone_mask[across, x].any():
                flags[i] = bits("meets_zone")
    return flags


def _reported(particles: Particles, limit_px: float) -> Particles:
    """Particles without those so far below the limit that they were only looked for beside others."""
    kept = particles.select(particles["area_px2"] >= least_area_px2(limit_px))
    return kept.replaced(label=np.arange(1, len(kept) + 1))


def _set_aside_small(particles: Particles, limit_px: float) -> Particles:
    reasons = particles["set_aside"].copy()
    reasons[(particles.diameter_px < limit_px) & (reasons == "")] = "below the lower limit"
    return particles.replaced(set_aside=reasons)


def _notes(settings: FieldSettings, um_per_px: float, limit_px: float) -> tuple[str, ...]:
    if settings.smallest_um is not None and settings.smallest_um / um_per_px < limit_px:
        return (
            f"The smallest size {settings.smallest_um:g} µm is below what the picture can show; "
            f"{limit_px * um_per_px:.3g} µm ({limit_px:g} px) is used.",
        )
    return ()
