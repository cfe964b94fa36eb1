"""Many fields at once: scaling over processes, memory against the number of fields, and equal results.

    python tests/benchmarks/many_fields.py                       40 fields of 0.3 Mpx with 1 and 2 processes
    python tests/benchmarks/many_fields.py --counts 100 1000 --kill   and a run that is killed half way

Runs ``gritline measure`` as the user does, each time as a process of its own. On a machine with other work
the clock says little; then the processor time a field takes must stay the same for any number of processes.
Memory is that of the process that collects (``VmHWM`` of Linux) and the largest of its workers. The run that
is killed, with all its workers, is taken up by the same command.
"""

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "benchmarks")]


def make_fields(folder: Path, count: int, megapixels: float, pieces: int) -> Path:
    """Write so many pictures, three drawn ones pushed round their edges, so none is taken for another."""
    import cv2
    import numpy as np
    from drawn_fields import drawn_field

    drawn = [cv2.imread(str(drawn_field(megapixels, pieces, seed))) for seed in (1, 2, 3)]
    folder.mkdir()
    for i in range(count):
        rows, columns = drawn[i % 3].shape[:2]
        away = ((i * 127) % rows, (i * 211 + i // rows) % columns)
        picture = np.roll(drawn[i % 3], away, axis=(0, 1))
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


def _start(fields: Path, out: Path, jobs: int) -> subprocess.Popen:
    command = [sys.executable, "-m", "app", "measure", str(fields), "--um-per-px", "0.65", "--out", str(out)]
    return subprocess.Popen(
        [*command, "--jobs", str(jobs)],
        cwd=ROOT,
        env=os.environ | {f"{name}_NUM_THREADS": "1" for name in ("OMP", "OPENBLAS", "MKL")},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # so that it can be killed with its workers
    )


def run(fields: Path, out: Path, jobs: int) -> dict:
    """Measure a folder and return clock and processor seconds and peaks in MB."""
    began = time.perf_counter()
    child = _start(fields, out, jobs)
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


def _kept(out: Path) -> int:
    """How many fields of a run that has not ended are on disk."""
    return sum(1 for path in out.rglob("*") if path.is_file() and path.parent != out)


def killed(fields: Path, out: Path, jobs: int, count: int) -> int:
    """Start a run, kill it with its workers when half of the fields are done, and say how many were kept."""
    child = _start(fields, out, jobs)
    while _kept(out) < count / 2 and child.poll() is None:
        time.sleep(0.2)
    os.killpg(child.pid, signal.SIGKILL)
    child.wait()
    return _kept(out)


def main() -> None:
    """Print the table, and whether all results are the same."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--counts", type=int, nargs="+", default=[10, 40], metavar="FIELDS")
    parser.add_argument("--megapixels", type=float, default=0.3)
    parser.add_argument("--pieces", type=int, default=100)
    parser.add_argument("--jobs", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--kill", action="store_true", help="kill one more run half way and take it up")
    asked = parser.parse_args()
    print(f"{'fields':>6}{'jobs':>6}{'clock s':>9}{'work s':>9}{'work/field':>12}{'MB':>7}{'worker MB':>11}")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for count in sorted(asked.counts):
            fields = make_fields(folder / f"in{count}", count, asked.megapixels, asked.pieces)
            outs = [folder / f"out{count}-{jobs}" for jobs in asked.jobs]
            for jobs, out in zip(asked.jobs, outs, strict=True):
                _print_row(count, jobs, run(fields, out, jobs))
            if asked.kill and count == max(asked.counts):
                outs.append(folder / "killed")
                done = killed(fields, outs[-1], max(asked.jobs), count)
                print(f"{'':12}killed when {done} of {count} fields were done; the same command again:")
                _print_row(count - done, max(asked.jobs), run(fields, outs[-1], max(asked.jobs)))
            for name in ("particles.csv", "fields.csv", "sizes.json"):
                same = len({(out / name).read_bytes() for out in outs}) == 1
                print(f"{'':12}{name}: {'the same bytes' if same else 'DIFFERENT'} in all runs", flush=True)


def _print_row(count: int, jobs: int, row: dict) -> None:
    print(
        f"{count:6}{jobs:6}{row['clock']:9.1f}{row['work']:9.1f}{row['work'] / count:12.3f}"
        f"{row['own']:7.0f}{row['largest']:11.0f}",
        flush=True,
    )


if __name__ == "__main__":
    main()
