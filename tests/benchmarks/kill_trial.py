"""Kill a process at work on a study at random moments, and count what was lost. Prints one line of numbers.

python -m tests.benchmarks.kill_trial [--kills 200] [--longest 0.8]
"""

import argparse
import random
import tempfile
from pathlib import Path

from tests.measure.study.test_faults import kill_one


def main() -> int:
    """Run the trial; 1 when anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--longest", type=float, default=0.8, help="seconds of work before the kill, at most")
    arguments = parser.parse_args()
    chance, faults, interrupted = random.Random(1), [], 0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(arguments.kills):
            path = Path(folder) / f"{number}.gritline"
            wait_s = chance.uniform(0.0, arguments.longest)
            wrong, midway = kill_one(path, number, wait_s)
            interrupted += midway
            if wrong:
                faults.append((number, wait_s, wrong))
            path.unlink()
    for number, wait_s, wrong in faults:
        print(f"kill {number} after {wait_s:.3f} s: {wrong}")
    print(f"{arguments.kills} kills, {interrupted} in the middle of a transaction, {len(faults)} faults")
    return int(bool(faults))


if __name__ == "__main__":
    raise SystemExit(main())
