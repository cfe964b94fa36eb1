"""``gritline demo``: the sample batches, from the ruling's picture to sizes, into a new study."""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the command."""
    parser.add_argument("--out", metavar="DIR", default="gritline-demo", help="folder to write to")
    parser.add_argument("--no-window", action="store_true", help="do not open the study in the window")


def run(args: argparse.Namespace) -> int:
    """Measure the samples, say what was found, open the window."""
    import sys

    from app.cli.options import BarProgress, say
    from app.samples import sample_pictures
    from measure.output.sample_study import build_sample_study, sample_field_count
    from measure.safe_write import check_folder_place

    folder = check_folder_place(args.out)
    pictures = sample_pictures()
    bar = BarProgress(sample_field_count(pictures))
    done = build_sample_study(pictures, folder, each=lambda outcome: bar.step(outcome.name))
    bar.close()
    u = done.scale.standard_uncertainty_um_per_px
    say("A drawn hazelnut spread with sea salt, after refiner passes 1, 3 and 6")
    say(f"scale: {done.scale.um_per_px:.5f} µm per px, standard uncertainty {u:.2g} µm per px")
    say(f"fields: {done.fields}   pieces outlined: {done.particles}, also those at the frame and set aside")
    for line in _sizes(done.study, folder):
        say(line)
    say(f"Written to {folder}: {', '.join(sorted({p.name for p in done.files}))}, sizes of each batch")
    say(f"Study: {done.study}")
    if args.no_window:
        return 0
    if not _has_screen():
        say("There is no screen here, so the window stays closed.")
        return 0
    from app.application import run_window

    sys.stdout.flush()
    return run_window([str(done.study)])


def _sizes(study_path: Path, folder: Path) -> list[str]:
    import json

    from app.cli.options import plain_numbers
    from measure.output.run_sizes import batch_sizes
    from measure.safe_write import write_text
    from measure.study.study import Study

    lines = []
    with Study.open(study_path, read_only=True) as study:
        for name, sizes in batch_sizes(study).items():
            lines += ["", name, *(f"  {line}" for line in sizes.short_lines)]
            text = json.dumps(plain_numbers(sizes.as_json), ensure_ascii=False, indent=1)
            write_text(folder / f"sizes-{name}.json", text + "\n")
    return [*lines, ""]


def _has_screen() -> bool:
    import os
    import sys

    if os.environ.get("QT_QPA_PLATFORM") == "offscreen":
        return False
    return sys.platform in {"win32", "darwin"} or bool(
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    )
