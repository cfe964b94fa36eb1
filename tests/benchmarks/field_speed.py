"""How fast one field is measured, against a plain script of library calls, as whole processes in one run.

    python tests/benchmarks/field_speed.py                     0.3, 2, 8 and 20 Mpx
    python tests/benchmarks/field_speed.py --sizes 2 80        other sizes
    python tests/benchmarks/field_speed.py --pieces 100 50000  many and few pieces on 20 Mpx
    python tests/benchmarks/field_speed.py --no-plain          this program only
    python tests/benchmarks/field_speed.py --helpers 1         a process that helps with each large field

Each row is one process from its start to its end, both held to one thread: clock, processor time (by the
system's count) and the peak of its memory. Then the processor time of each step. With helpers the work of
all processes counts, the memory and the steps are those of the first. Both programs run once before, so that
their modules are compiled, as those of an installed program are.
"""

import argparse
import itertools
import json
import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "benchmarks")]

PIECES = {0.3: 100, 2.0: 300, 8.0: 1000, 20.0: 2000, 80.0: 8000}
ONE_THREAD = {f"{name}_NUM_THREADS": "1" for name in ("OMP", "OPENBLAS", "MKL")}


def _measure(path: str, helpers: int) -> None:
    """Measure one field in this process and print the processor time of each step as JSON."""
    import cv2

    cv2.setNumThreads(1)
    steps: dict[str, float] = {"start": time.process_time()}
    from measure.field import pipeline
    from measure.model import FieldSettings
    from measure.picture_file import read_picture

    last = [time.process_time()]
    steps["imports"] = last[0] - steps["start"]

    def step(name: str) -> None:
        now = time.process_time()
        steps[name], last[0] = now - last[0], now

    picture = read_picture(path)
    step("read")
    names = {"light": "prepare", "find, cut, outline": "find_pieces", "overlaps": "resolve_overlaps"}
    spent = {
        step: _clocked(pipeline, name) for step, name in (names | {"measure": "measure_outlines"}).items()
    }
    result = pipeline.measure_field(picture, FieldSettings(), 0.65, helpers=helpers)
    whole = time.process_time() - last[0]
    steps |= {name: clocked[0] for name, clocked in spent.items()}
    steps["rest"] = whole - sum(clocked[0] for clocked in spent.values())
    print(json.dumps({"particles": len(result.particles), "steps": steps}))


def _clocked(module: object, name: str) -> list[float]:
    """Replace a function by one that adds up its processor time in the list returned."""
    real, spent = getattr(module, name), [0.0]

    def clocked(*args: object, **kwargs: object) -> object:
        begun = time.process_time()
        try:
            return real(*args, **kwargs)
        finally:
            spent[0] += time.process_time() - begun

    setattr(module, name, clocked)
    return spent


def _environment() -> dict[str, str]:
    """Variables of the processes: one thread, and compiled modules kept in the temporary folder."""
    from drawn_fields import kept_folder

    own = {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": str(kept_folder() / "compiled")}
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | ONE_THREAD | own


def timed(command: list[str]) -> dict:
    """Run a process and return what it printed with its clock, processor seconds and peak MB."""
    environment = _environment()
    began = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.PIPE, env=environment, text=True)
    said = child.stdout.read()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {child.returncode}")
    wall = time.perf_counter() - began
    return json.loads(said) | {
        "clock": wall,
        "work": usage.ru_utime + usage.ru_stime,
        "peak": usage.ru_maxrss / 1000,
    }


def _both(megapixels: float, pieces: int, plain: bool, helpers: int) -> tuple[dict, dict | None]:
    from drawn_fields import drawn_field

    path = str(drawn_field(megapixels, pieces))
    ours = timed([sys.executable, __file__, "--measure", path, "--helpers", str(helpers)])
    script = str(ROOT / "tests" / "benchmarks" / "plain_script.py")
    return ours, timed([sys.executable, script, path]) if plain else None


def _line(megapixels: float, ours: dict, plain: dict | None) -> str:
    text = f"{megapixels:6g}{ours['particles']:9}{ours['clock']:9.2f}{ours['work']:9.2f}{ours['peak']:8.0f}"
    if plain is None:
        return text
    text += f"   {plain['particles']:9}{plain['clock']:9.2f}{plain['work']:9.2f}{plain['peak']:8.0f}"
    return text + f"{plain['work'] / ours['work']:9.1f}{plain['clock'] / ours['clock']:9.1f}"


def _growth(rows: list[tuple[float, dict]]) -> None:
    """Say how the work grows from row to row; a power near 1 is linear."""
    import math

    for (small, a), (large, b) in itertools.pairwise(rows):
        start = a["steps"]["start"] + a["steps"]["imports"]
        power = math.log((b["work"] - start) / max(a["work"] - start, 1e-3)) / math.log(large / small)
        print(f"growth {small:g} -> {large:g}: work without start grows with the power {power:.2f}")


def _steps(rows: list[tuple[float, dict]]) -> None:
    names = list(rows[0][1]["steps"])
    print(f"\n{'processor s of each step':26}" + "".join(f"{size:>9g}" for size, _ in rows))
    for name in names:
        print(f"{name:26}" + "".join(f"{row['steps'][name]:9.2f}" for _, row in rows))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sizes", type=float, nargs="+", default=[0.3, 2.0, 8.0, 20.0], metavar="MPX")
    parser.add_argument("--pieces", type=int, nargs="+", metavar="N", help="pieces on fields of 20 Mpx")
    parser.add_argument("--no-plain", action="store_true")
    parser.add_argument("--helpers", type=int, default=0, metavar="N", help="processes that share a field")
    parser.add_argument("--measure", metavar="FILE", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.measure:
        _measure(asked.measure, asked.helpers)
        return
    wanted = [(20.0, n) for n in asked.pieces or ()] or [
        (s, PIECES.get(s, round(100 * s))) for s in asked.sizes
    ]
    plain = not (asked.no_plain or asked.pieces)
    who = f"this program, {asked.helpers} helping" if asked.helpers else "this program, one thread"
    print(f"{'':6}{who:^35}" + f"   {'plain script':^35}{'ratio':^18}" * plain)
    head = f"{'found':>9}{'clock s':>9}{'work s':>9}{'MB':>8}"
    print(f"{'pieces' if asked.pieces else 'Mpx':>6}{head}" + f"   {head}{'work':>9}{'clock':>9}" * plain)
    rows = []
    _both(0.3, PIECES[0.3], plain, 0)
    for megapixels, pieces in wanted:
        ours, other = _both(megapixels, pieces, plain, asked.helpers)
        rows.append((megapixels if not asked.pieces else pieces, ours))
        print(_line(rows[-1][0], ours, other), flush=True)
    _growth(rows)
    _steps(rows)


if __name__ == "__main__":
    main()
