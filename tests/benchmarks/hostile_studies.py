"""Open and use many studies changed at random; count sentences, and anything that is not one.

python -m tests.benchmarks.hostile_studies [--cases 5000] [--first 0]
"""

import argparse
import random
import resource
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

from tests.measure.study import test_hostile


def main() -> int:
    """Run the trial; 1 when anything escaped or took over 10 s."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=5000)
    parser.add_argument("--first", type=int, default=0)
    arguments = parser.parse_args()
    faults, refused, longest_s = Counter(), 0, 0.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "odd.gritline"
        for seed in range(arguments.first, arguments.first + arguments.cases):
            for change in (test_hostile.change_bytes, test_hostile.change_values):
                start = time.perf_counter()
                for old in Path(folder).iterdir():
                    old.unlink()
                try:
                    change(path, random.Random(seed))
                    refused += bool(test_hostile.use(path))
                except Exception as error:
                    place = traceback.extract_tb(error.__traceback__)[-1]
                    faults[f"{change.__name__} {seed}: {type(error).__name__} {error} ({place.name})"] += 1
                longest_s = max(longest_s, time.perf_counter() - start)
    for text, count in faults.most_common():
        print(count, text[:300])
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{2 * arguments.cases} cases, {refused} gave a sentence, {sum(faults.values())} escaped; "
        f"longest {longest_s:.1f} s, memory at most {peak_mb:.0f} MB"
    )
    return int(bool(faults) or longest_s > 10)


if __name__ == "__main__":
    from measure.study import connection

    connection.synchronous = "OFF"  # the disk is not what is tried here
    raise SystemExit(main())
