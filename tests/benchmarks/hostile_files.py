"""Damaged and hostile picture, table and scale files: each must be read or refused with one sentence.

    python tests/benchmarks/hostile_files.py [--cases 2000] [--seed 1] [--kind picture|table|scale]

Valid files are mutated: bits flipped, cut off, spliced with another, numbers in the head made huge, parts
repeated. A child process reads each; a crash, an error that is no sentence for its user, more than 10 s,
or more memory than 4 GB is a fault and is printed with its number. Exit code 1 when there is one.
"""

import argparse
import io
import multiprocessing
import random
import resource
import struct
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

MOST_SECONDS, MOST_BYTES = 10.0, 4 << 30
KINDS = ("picture", "table", "scale")
_NUMBERS = (0, 1, 255, 256, 32767, 65535, 65536, 2**31 - 1, 2**31, 2**32 - 1)
_WORDS = (
    b"nan",
    b"inf",
    b"-1",
    b"1e999",
    b"",
    b'"',
    b"\x00",
    b";",
    b"\xff\xfe",
    b"=1+1",
    b"9" * 40,
    b"{",
    b"[]",
)


def seeds_of(kind: str) -> list[bytes]:
    """Return valid files to start from."""
    return {"picture": _pictures, "table": _tables, "scale": _scales}[kind]()


def _pictures() -> list[bytes]:
    import cv2
    import tifffile
    from PIL import Image

    rng = np.random.default_rng(1)
    small = rng.integers(0, 255, (24, 31, 3)).astype(np.uint8)
    found = [cv2.imencode(s, small)[1].tobytes() for s in (".png", ".jpg", ".bmp", ".webp", ".tif")]
    for mode, form in (("P", "PNG"), ("RGBA", "PNG"), ("L", "JPEG"), ("RGBA", "WEBP"), ("1", "PNG")):
        file = io.BytesIO()
        Image.fromarray(small).convert(mode).save(file, form)
        found.append(file.getvalue())
    for options in ({}, {"compression": "zlib"}, {"tile": (16, 16)}, {"bigtiff": True}, {"ome": True}):
        file = io.BytesIO()
        tifffile.imwrite(file, (small.astype(np.uint16) * 200), photometric="rgb", **options)
        found.append(file.getvalue())
    return found


def _tables() -> list[bytes]:
    head = "batch,field,particle,kind,counted,area_equivalent_diameter_um,frame_weight,volume_um3,smallest_um"
    rng = random.Random(2)
    rows = [
        f"pass {i % 3},a{i % 4}.png,{i},kernel,1,{rng.uniform(4, 90):.4g},1.02,{rng.uniform(1, 9e4):.5g},4"
        for i in range(25)
    ]
    text = "\r\n".join([head, *rows]) + "\r\n"
    german = text.replace(",", ";").replace(".", ",")
    return [
        text.encode(),
        german.encode(),
        b"area_equivalent_diameter_um\n12.5\n14\n",
        b"\xef\xbb\xbf" + text.encode(),
    ]


def _scales() -> list[bytes]:
    from measure.model import Scale
    from measure.scale.scale_file import write_scale

    found = []
    for scale in (
        Scale(0.652, 0.0002),
        Scale(0.25, 0.001, "10x", 1600, 1200, 10.0, 0.3, 101, 0.02, 0.5, 2.0),
    ):
        with tempfile.TemporaryDirectory() as folder:
            write_scale(Path(folder) / "s.json", scale)
            found.append((Path(folder) / "s.json").read_bytes())
    return found


def mutated(seeds: list[bytes], rng: random.Random) -> bytes:
    """Return one seed with one to four things done to it."""
    data = bytearray(rng.choice(seeds))
    for _ in range(rng.randint(1, 4)):
        if not data:
            return b""
        rng.choice(_MUTATIONS)(data, seeds, rng)
    return bytes(data)


def _flip(data: bytearray, seeds: list[bytes], rng: random.Random) -> None:
    for _ in range(rng.randint(1, 12)):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)


def _cut(data: bytearray, seeds: list[bytes], rng: random.Random) -> None:
    del data[rng.randrange(len(data)) :]


def _splice(data: bytearray, seeds: list[bytes], rng: random.Random) -> None:
    other = rng.choice(seeds)
    at = rng.randrange(len(data))
    data[at:] = other[rng.randrange(len(other)) :]


def _number(data: bytearray, seeds: list[bytes], rng: random.Random) -> None:
    form = rng.choice(("<H", ">H", "<I", ">I"))
    wide = struct.calcsize(form)
    if len(data) > wide:
        at = rng.randrange(min(len(data) - wide, 400))
        value = rng.choice(_NUMBERS) & (2 ** (8 * wide) - 1)
        data[at : at + wide] = struct.pack(form, value)


def _repeat(data: bytearray, seeds: list[bytes], rng: random.Random) -> None:
    start = rng.randrange(len(data))
    part = bytes(data[start : start + rng.randint(1, 200)])
    at = rng.randrange(len(data))
    data[at:at] = part * rng.choice((1, 2, 50))


def _word(data: bytearray, seeds: list[bytes], rng: random.Random) -> None:
    at = rng.randrange(len(data))
    data[at : at + rng.randint(0, 6)] = rng.choice(_WORDS)


_MUTATIONS = (_flip, _cut, _splice, _number, _repeat, _word)


def read_one(kind: str, data: bytes, folder: Path) -> str:
    """Read a file as the program would; return "read" or "refused". Anything else is raised."""
    from measure.errors import KnownError

    try:
        _check(kind, data, folder)
    except KnownError as error:
        if not str(error).strip() or "\n" in str(error).strip():
            raise AssertionError(f"no single sentence: {error!r}") from error
        return "refused"
    return "read"


def _check(kind: str, data: bytes, folder: Path) -> None:
    path = folder / {"picture": "case.png", "table": "case.csv", "scale": "case.json"}[kind]
    path.write_bytes(data)
    if kind == "picture":
        from measure.picture_file import read_picture

        picture = read_picture(path)
        assert picture.pixels.ndim == 3
        assert picture.pixels.shape[2] == 3
        assert picture.pixels.dtype in (np.uint8, np.uint16)
        claim = picture.embedded_um_per_px
        assert claim is None or 0 < claim < np.inf
    elif kind == "table":
        from measure.sizes.sample import sample_from_table
        from measure.sizes.table_file import read_sizes_table

        sample = sample_from_table(read_sizes_table(path))
        assert np.isfinite(sample.diameter_um).all()
        assert (sample.diameter_um > 0).all()
        assert np.isfinite(sample.weight).all()
    else:
        from measure.scale.scale_file import read_scale

        scale = read_scale(path)
        assert 0.001 <= scale.um_per_px <= 1000
        assert 0 <= scale.standard_uncertainty_um_per_px < np.inf


def _child(kind: str, numbers: range, seed: int, pipe: object) -> None:
    import warnings

    warnings.simplefilter("ignore")
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    seeds = seeds_of(kind)
    with tempfile.TemporaryDirectory() as folder:
        for number in numbers:
            pipe.send((number, "begun", 0.0))
            start = time.perf_counter()
            try:
                outcome = read_one(
                    kind, mutated(seeds, random.Random(f"{seed} {kind} {number}")), Path(folder)
                )
            except BaseException as error:
                outcome = f"FAULT {type(error).__name__}: {str(error)[:120]}"
            pipe.send((number, outcome, time.perf_counter() - start))
    pipe.send((-1, str(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024), 0.0))


def run(kind: str, cases: int, seed: int) -> tuple[Counter, list[tuple[int, str]], float, int]:
    """Run so many cases; return counts, faults with their numbers, longest time, memory peak in MB."""
    counts: Counter = Counter()
    faults: list[tuple[int, str]] = []
    slowest, peak, at = 0.0, 0, 0
    context = multiprocessing.get_context("spawn")
    while at < cases:
        ours, theirs = context.Pipe(duplex=False)
        child = context.Process(target=_child, args=(kind, range(at, cases), seed, theirs))
        child.start()
        theirs.close()
        now = at
        at = cases
        while True:
            try:
                hangs = not ours.poll(60.0 if now == 0 else MOST_SECONDS)
                number, outcome, seconds = (now, "FAULT hangs", MOST_SECONDS) if hangs else ours.recv()
            except EOFError:
                hangs, number, outcome, seconds = True, now, f"FAULT crash, exit {child.exitcode}", 0.0
            if number == -1:
                peak = max(peak, int(outcome))
                break
            now = number
            if outcome == "begun":
                continue
            slowest = max(slowest, seconds)
            if seconds > MOST_SECONDS and not outcome.startswith("FAULT"):
                outcome = f"FAULT took {seconds:.0f} s"
            counts[outcome.split()[0]] += 1
            if outcome.startswith("FAULT"):
                faults.append((number, outcome))
            if hangs:
                at = now + 1
                break
        child.kill()
        child.join()
    return counts, faults, slowest, peak


def main() -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=2000, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=KINDS)
    args = parser.parse_args()
    print(f"{'kind':9}{'cases':>7}{'read':>7}{'refused':>9}{'faults':>8}{'slowest s':>11}{'peak MB':>9}")
    bad = False
    for kind in (args.kind,) if args.kind else KINDS:
        counts, faults, slowest, peak = run(kind, args.cases, args.seed)
        line = f"{kind:9}{sum(counts.values()):7}{counts['read']:7}{counts['refused']:9}{len(faults):8}"
        print(f"{line}{slowest:11.2f}{peak:9}")
        for number, fault in faults[:15]:
            print(f"    case {number}: {fault}")
        bad = bad or bool(faults)
    return int(bad)


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))
    sys.exit(main())
