"""The work behind ``gritline measure``: check everything first, measure, then write."""

import argparse
import contextlib
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from app.cli.exclude import zones_of
from app.cli.measure_folder import how_to_go_on, working_folder
from app.cli.measure_keep import Shelf, StudyWriter, has_overlay
from app.cli.measure_once import CountedOnce, count_shared_once
from app.cli.options import BarProgress, plain_numbers, print_json, refuse, say, warn
from measure.errors import Cancelled, InvalidInput
from measure.field.blank_check import blank_warning
from measure.model import FieldSettings, Scale
from measure.output.burnt_marks import check_label
from measure.output.cluster import Cluster, cluster_executor
from measure.output.field_pool import helpers_for, measure_many, workers_for
from measure.output.field_run import FieldJob, FieldOutcome
from measure.output.free_memory import picture_pixels
from measure.output.parts import Parts, fingerprint
from measure.output.run_sizes import Sizes, sizes_of_table
from measure.picture_file import list_pictures, read_picture
from measure.picture_png import is_joined, left_out_in
from measure.safe_write import check_folder_place, write_text
from measure.scale.optics import smallest_resolved_um
from measure.scale.scale_file import check_um_per_px, read_aperture, read_scale

# pictures of one size that are looked at for marks; in one of them a pale mark may not be seen
_LONGEST_NAME = 240  # of a file without its ending; most systems take 255 letters in all
_LOOKED_AT = 3


@dataclass
class _Plan:
    jobs: list[FieldJob]
    keys: list[str]  # what each job's results are kept under
    sha256: list[str]
    warnings: list[str]
    largest_px: int = 0  # pixels of the largest picture
    blank_sha256: str = ""

    def key(self, job: FieldJob, sha256: str, count_once: bool) -> str:
        """Return what the results of a job are kept under."""
        return fingerprint(job, sha256, self.blank_sha256, count_once=count_once)


def run(args: argparse.Namespace) -> int:
    """Check, measure, write; 0 done, 1 when a picture was passed over.

    Raises
    ------
    InvalidInput
        If an option or every picture is unusable; nothing is written then.
    """
    scale = _scale(args)
    out = check_folder_place(args.out) if args.out else None
    refuse(bool(args.overlays) and out is None, "--overlays needs a folder to draw into; add --out DIR.")
    refuse(
        args.jobs is not None and args.jobs < 1,
        f"--jobs {args.jobs} is not a number of processes; use 1 or more.",
    )
    if args.na is None and args.scale is not None:
        args.na = read_aperture(args.scale)
    if args.na is not None:
        smallest_resolved_um(args.na)  # one that no objective has is refused before anything is measured
    plan = _plan(args, scale, out)
    with contextlib.ExitStack() as stack:
        study = StudyWriter(args, stack) if args.study else None
        if study is not None:
            _count_borders(plan, study, args.count_once)
        far = stack.enter_context(cluster_executor(args.cluster)) if args.cluster else None
        folder = out if out is not None else stack.enter_context(working_folder(args.study))
        try:
            return _measure(args, plan, scale, folder, study, far)
        except (KeyboardInterrupt, Cancelled):
            warn(how_to_go_on(args))
            raise


def _count_borders(plan: _Plan, study: StudyWriter, count_once: bool) -> None:
    """Count the border of fields where the study says so, also without the option."""
    for place, (job, sha256) in enumerate(zip(plan.jobs, plan.sha256, strict=True)):
        if job.border and study.counts_border(sha256):
            plan.jobs[place] = replace(job, border=False)
            plan.keys[place] = plan.key(plan.jobs[place], sha256, count_once)


def _measure(
    args: argparse.Namespace,
    plan: _Plan,
    scale: Scale,
    folder: Path,
    study: StudyWriter | None,
    far: Cluster | None,
) -> int:
    shelf = Shelf(folder, scale, study)
    # fields counted together are decided about together, so those measured before come back whole
    before = shelf.waiting(zip(plan.jobs, plan.keys, strict=True)) if args.count_once else {}
    done = set() if args.count_once else _done_before(plan, shelf.finished, study)
    shelf.take_over(done, dict(zip(plan.keys, plan.jobs, strict=True)))
    if done or before:
        taken = len(done) + len(before)
        warn(f"{taken} of {len(plan.keys)} fields were measured before the last stop and are taken over.")
    waiting = []
    for job, key, outcome in _outcomes(args, plan, done, before, far):
        if not shelf.takes(outcome):
            continue
        if not args.count_once:
            shelf.keep(job, key, outcome)
            continue
        waiting.append((job, key, outcome if key in before else shelf.keep_waiting(job, key, outcome)))
    overlaps = None
    if waiting:
        overlaps = count_shared_once(waiting)
        for job, key, outcome in overlaps.measured:
            shelf.keep(job, key, outcome)
        shelf.keep_links(overlaps)
    if not shelf.kept and shelf.failed:
        raise InvalidInput(shelf.failed[0].error)
    passed_over = [f"passed over: {o.error}" for o in shelf.failed]
    for text in (*passed_over, *shelf.twins, *shelf.alarms, *shelf.marks, *shelf.advice()):
        warn(text)
    if not shelf.kept:  # every picture shows what is counted already
        return _nothing_new(args, plan, scale, shelf)
    keys = [k for k in plan.keys if k in shelf.kept]
    shelf.write_tables(keys)
    names = [j.name for j, k in zip(plan.jobs, plan.keys, strict=True) if k in shelf.kept]
    return _finish(args, plan, scale, folder, shelf, names, overlaps)


def _outcomes(
    args: argparse.Namespace,
    plan: _Plan,
    done: set[str],
    before: dict[str, FieldOutcome],
    far: Cluster | None,
) -> Iterator[tuple[FieldJob, str, FieldOutcome]]:
    """Yield the fields that are not done in the order of the plan, measuring those not measured before."""
    left = [(j, k) for j, k in zip(plan.jobs, plan.keys, strict=True) if k not in done]
    todo = [job for job, key in left if key not in before]
    bar = BarProgress(len(todo))
    helpers = 0 if far else helpers_for(len(todo), args.jobs)
    measured = measure_many(
        [replace(job, helpers=helpers) for job in todo],
        workers=far.threads if far else workers_for(len(todo), args.jobs, plan.largest_px),
        progress=bar,
        executor=far,
    )
    for job, key in left:
        outcome = before.get(key) or next(measured)
        if key not in before:
            bar.step(outcome.name)
        yield job, key, outcome
    next(measured, None)  # lets the workers go
    bar.close()


def _done_before(plan: _Plan, finished: Parts | None, study: StudyWriter | None) -> set[str]:
    """Keys of the fields a run that was stopped has finished, the study included."""
    if finished is None:
        return set()
    return {
        key
        for job, key, sha256 in zip(plan.jobs, plan.keys, plan.sha256, strict=True)
        if finished.has(key) and has_overlay(job) and (study is None or study.holds(sha256))
    }


def _finish(
    args: argparse.Namespace,
    plan: _Plan,
    scale: Scale,
    folder: Path,
    shelf: Shelf,
    names: list[str],
    overlaps: CountedOnce | None,
) -> int:
    sizes = sizes_of_table(folder / "particles.csv", names, na=shelf.objective(args.na))
    write_text(
        folder / "sizes.json", json.dumps(plain_numbers(sizes.as_json), ensure_ascii=False, indent=1) + "\n"
    )
    for text in plan.warnings:
        warn(text)
    if args.json:
        summary = _summary(args, plan, scale, shelf, len(names), sizes)
        if overlaps is not None:
            summary["overlaps"] = overlaps.as_json
        print_json(summary)
    else:
        for line in (*(overlaps.lines if overlaps is not None else ()), *sizes.lines):
            say(line)
        if args.out:
            overlays = ", overlays" if args.overlays else ""
            say(f"Written: {Path(args.out) / 'particles.csv'}, fields.csv, sizes.json{overlays}")
        if args.study:
            say(f"Kept in the study: {args.study}")
    return 1 if shelf.failed or shelf.twins or shelf.alarms or plan.warnings else 0


def _nothing_new(args: argparse.Namespace, plan: _Plan, scale: Scale, shelf: Shelf) -> int:
    for text in plan.warnings:
        warn(text)
    if args.json:
        print_json(_summary(args, plan, scale, shelf))
    return 1


def _summary(
    args: argparse.Namespace,
    plan: _Plan,
    scale: Scale,
    shelf: Shelf,
    fields: int = 0,
    sizes: Sizes | None = None,
) -> dict[str, object]:
    """What ``--json`` prints, also where every picture is counted already."""
    return {
        "fields": fields,
        "particles": sizes.rows if sizes else 0,
        "counted": int(sizes.summary.pieces) if sizes else 0,
        "um_per_px": scale.um_per_px,
        "out": args.out,
        "failed": [{"field": o.name, "reason": o.error} for o in shelf.failed],
        "warnings": [*plan.warnings, *shelf.twins, *shelf.alarms, *shelf.marks, *shelf.advice()],
        "sizes": sizes.as_json if sizes else None,
    }


def _scale(args: argparse.Namespace) -> Scale:
    refuse(
        args.um_per_px is not None and args.scale is not None,
        "Two scales are given, --um-per-px and --scale; keep the one that belongs to these pictures.",
    )
    refuse(
        args.um_per_px is None and args.scale is None,
        "No scale is given; add --scale FILE (made by: gritline scale) or --um-per-px S.",
    )
    if args.scale is not None:
        return read_scale(args.scale)
    return Scale(check_um_per_px(args.um_per_px, "--um-per-px"), method="typed")


def _plan(args: argparse.Namespace, scale: Scale, out: Path | None) -> _Plan:
    import hashlib

    paths, twice = _each_once([p for given in args.pictures for p in list_pictures(given)])
    names = _field_names(paths)
    overlays = _overlay_names(names) if args.overlays and out is not None else {}
    blank = read_picture(args.blank) if args.blank else None
    zones = zones_of(args.exclude)
    bar = check_label(args.bar) if args.bar else ""
    kinds_seen: Counter[int] = Counter()  # pictures of one camera setting carry their marks in one place
    settings = FieldSettings(args.smallest_um, args.sensitivity, args.cut_strength)
    doubts = [doubt for doubt in [blank_warning(blank) if blank else ""] if doubt]
    plan = _Plan([], [], [], [*doubts, *twice], blank_sha256=blank.sha256 if blank else "")
    seen: dict[str, str] = {}
    for path, name in zip(paths, names, strict=True):
        try:
            with path.open("rb") as file:
                sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise InvalidInput(f"{path} cannot be read ({error.strerror}).") from error
        if sha256 in seen:
            plan.warnings.append(f"{name} is the same picture as {seen[sha256]}; it is measured once.")
            continue
        seen[sha256] = name
        overlay = str(out / "overlays" / overlays[name]) if out is not None and overlays else None
        job = FieldJob(
            str(path), name, args.batch, scale, settings,
            blank_path=args.blank, overlay_path=overlay,
            keep_result=args.study is not None or args.count_once,
            zones=(*zones, *left_out_in(path)), joined=is_joined(path),
            border=not args.count_border,
        )  # fmt: skip
        pixels = picture_pixels(path)
        _refuse_larger_than_picture(args.smallest_um, scale, pixels, name)
        job = replace(job, look_for_marks=kinds_seen[pixels] < (1 if bar else _LOOKED_AT), bar=bar)
        kinds_seen[pixels] += 1
        plan.jobs.append(job)
        plan.sha256.append(sha256)
        plan.largest_px = max(plan.largest_px, pixels)
        plan.keys.append(plan.key(job, sha256, args.count_once))
    return plan


def _refuse_larger_than_picture(smallest_um: float | None, scale: Scale, pixels: int, name: str) -> None:
    """Refuse a lower limit beyond what a picture shows, mostly a slip of the unit."""
    across_um = scale.um_per_px * pixels**0.5
    refuse(
        smallest_um is not None and pixels > 0 and smallest_um > across_um,
        f"--smallest-um {smallest_um or 0:g} is larger than what {name} shows, about {across_um:.3g} µm "
        "across; no piece could be counted. Give the smallest size in µm, or leave the option away.",
    )


def _each_once(paths: list[Path]) -> tuple[list[Path], list[str]]:
    """Return the files without those named again, and a sentence for each of these."""
    seen: dict[Path, Path] = {}
    again = [path.name for path in paths if seen.setdefault(path.resolve(), path) is not path]
    return list(seen.values()), [f"{n} is named twice; it is measured once." for n in dict.fromkeys(again)]


def _field_names(paths: list[Path]) -> list[str]:
    names = [p.name for p in paths]
    doubled = {name for name, times in Counter(names).items() if times > 1}
    return [f"{p.resolve().parent.name}-{p.name}" if p.name in doubled else p.name for p in paths]


def _overlay_names(names: list[str]) -> dict[str, str]:
    """Return a file name for the overlay of each field: no two fields share one."""
    stems = Counter(Path(name).stem.lower() for name in names)
    found = {}
    for name in names:
        stem = Path(name).stem
        found[name] = f"{(name if stems[stem.lower()] > 1 else stem)[-_LONGEST_NAME:]}.png"
    return found
