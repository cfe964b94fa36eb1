"""Many fields at once: scaling over processes, memory against the number of fields, and equal results.

    python tests/benchmarks/many_fields.py                       40 fields of 0.3 Mpx with 1 and 2 processes
    python tests/benchmarks/many_fields.py --fields 1000 --jobs 2

Runs ``gritline measure`` as the user does, each time as a process of its own. On a machine with other work
the clock says little; then the processor time a field takes must stay the same for any number of processes.
Memory is that of the process that collects (``VmHWM`` of Linux) and the largest of its workers.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "benchmarks")]


def make_fields(folder: Path, count: int, megapixels: float, pieces: int) -> Path:
    """Write so many pictures that differ in a pixel, so that none is taken for another."""
    import cv2
    from drawn_fields import drawn_field

    drawn = [cv2.imread(str(drawn_field(megapixels, pieces, seed))) for seed in (1, 2, 3)]
    folder.mkdir()
    for i in range(count):
        picture = drawn[i % 3].copy()
        picture[0, 0] = (i % 256, i // 256, 128)
        cv2.imwrite(str(folder / f"f{i:05}.png"), picture, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    return folder


def _peaks(pid: int) -> tuple[int, int]:
    """Peak of a process and the largest peak of its children, kB."""
    own, largest = 0, 0
    with suppress(OSError, ValueError):
        own = _high_water(pid)
        for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
            largest = max(largest, _high_water(int(child)))
    return own, largest


def _high_water(pid: int) -> int:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1])
    return 0


def run(fields: Path, out: Path, jobs: int) -> dict:
    """Measure a folder and return clock and processor seconds and peaks in MB."""
    command = [sys.executable, "-m", "app", "measure", str(fields), "--um-per-px", "0.65", "--out", str(out)]
    began = time.perf_counter()
    child = subprocess.Popen(
        [*command, "--jobs", str(jobs)], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    own = largest = 0
    while True:
        pid, status, usage = os.wait4(child.pid, os.WNOHANG)
        if pid:
            break
        now = _peaks(child.pid)
        own, largest = max(own, now[0]), max(largest, now[1])
        time.sleep(0.1)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"gritline measure ended with {child.returncode}")
    work = usage.ru_utime + usage.ru_stime
    return {"clock": time.perf_counter() - began, "work": work, "own": own / 1024, "largest": largest / 1024}


def main() -> None:
    """Print the table, and whether all results are the same."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--fields", type=int, default=40)
    parser.add_argument("--megapixels", type=float, default=0.3)
    parser.add_argument("--pieces", type=int, default=100)
    parser.add_argument("--jobs", type=int, nargs="+", default=[1, 2])
    asked = parser.parse_args()
    print(f"{'fields':>6}{'jobs':>6}{'clock s':>9}{'work s':>9}{'work/field':>12}{'MB':>7}{'worker MB':>11}")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        counts = sorted({max(2, asked.fields // 4), asked.fields})
        for count in counts:
            fields = make_fields(folder / f"in{count}", count, asked.megapixels, asked.pieces)
            for jobs in asked.jobs:
                row = run(fields, folder / f"out{count}-{jobs}", jobs)
                print(
                    f"{count:6}{jobs:6}{row['clock']:9.1f}{row['work']:9.1f}{row['work'] / count:12.3f}"
                    f"{row['own']:7.0f}{row['largest']:11.0f}",
                    flush=True,
                )
            outs = [folder / f"out{count}-{jobs}" for jobs in asked.jobs]
            for name in ("particles.csv", "fields.csv", "sizes.json"):
                same = len({(out / name).read_bytes() for out in outs}) == 1
                print(f"{'':12}{name}: {'the same bytes' if same else 'DIFFERENT'} however many processes")


if __name__ == "__main__":
    main()
