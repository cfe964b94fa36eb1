"""Long runs of ``gritline measure``: killed, with lost workers, on a cluster; nothing lost or doubled."""

import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.__main__ import main
from measure.model import Scale
from measure.output import field_run
from measure.output.field_pool import measure_many, workers_for
from measure.output.field_run import FieldJob, FieldOutcome

ROOT = Path(__file__).resolve().parents[2]
TABLES = ("particles.csv", "fields.csv", "sizes.json")


def _field(path: Path, seed: int) -> Path:
    rng = np.random.default_rng(seed)
    grey = rng.normal(205.0, 1.2, (200, 300))
    for _ in range(4):
        cv2.circle(grey, tuple(int(v) for v in rng.integers(25, 175, 2)), 11, 120.0, -1, cv2.LINE_AA)
    cv2.imwrite(str(path), np.clip(cv2.GaussianBlur(grey, (0, 0), 0.8), 0, 255).astype(np.uint8))
    return path


@pytest.fixture
def fields(tmp_path) -> Path:
    folder = tmp_path / "fields"
    folder.mkdir()
    for i in range(5):
        _field(folder / f"f{i}.png", i)
    return folder


def _command(fields: Path, out: Path, *more: str) -> list[str]:
    return ["measure", str(fields), "--um-per-px", "0.5", "--out", str(out), *more]


def _same_tables(a: Path, b: Path) -> None:
    for name in TABLES:
        assert (a / name).read_bytes() == (b / name).read_bytes(), name


def _children(pid: int) -> list[int]:
    return [int(c) for c in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def _alive(pid: int) -> bool:
    with suppress(OSError):
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    return False


@pytest.mark.skipif(sys.platform != "linux", reason="looks at /proc")
def test_a_killed_run_is_taken_up_and_its_workers_end(fields, tmp_path, capsys):
    slow = "import time; from measure.output import parts as p; keep = p.Parts.keep\n"
    slow += "p.Parts.keep = lambda *a: (keep(*a), time.sleep(60))\n"
    slow += f"from app.__main__ import main; main({_command(fields, tmp_path / 'out', '--jobs', '2')!r})"
    child = subprocess.Popen([sys.executable, "-c", slow], cwd=ROOT, stderr=subprocess.DEVNULL)
    kept = tmp_path / "out" / ".gritline-parts"
    for _ in range(600):
        if list(kept.glob("*.json")):
            break
        time.sleep(0.1)
    workers = _children(child.pid)
    assert workers
    child.send_signal(signal.SIGKILL)
    child.wait()
    assert len(list(kept.glob("*.json"))) == 1
    assert not (tmp_path / "out" / "particles.csv").exists()
    deadline = time.monotonic() + 20
    while any(_alive(pid) for pid in workers) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert not [pid for pid in workers if _alive(pid)]
    assert main(_command(fields, tmp_path / "out", "--jobs", "1")) == 0
    assert "1 of 5 fields were measured before" in capsys.readouterr().err
    main(_command(fields, tmp_path / "whole", "--jobs", "1"))
    _same_tables(tmp_path / "out", tmp_path / "whole")


@pytest.fixture
def measured(monkeypatch) -> list[str]:
    """Names of the fields measured, the first run stopped before the third."""
    names: list[str] = []
    real, stops = field_run.run_field_job, iter([True])

    def run(job: FieldJob) -> FieldOutcome:
        if len(names) == 2 and next(stops, False):
            raise KeyboardInterrupt
        names.append(job.name)
        return real(job)

    monkeypatch.setattr(field_run, "run_field_job", run)
    return names


def test_a_stopped_run_into_a_study_is_taken_up_too(fields, tmp_path, capsys, measured):
    from measure.study.study import Study

    command = _command(fields, tmp_path / "out", "--jobs", "1", "--study", str(tmp_path / "s.gritline"))
    assert main(command) == 130
    assert main(command) == 0
    assert measured == [f"f{i}.png" for i in range(5)]
    with Study.open(tmp_path / "s.gritline") as study:
        assert [row.name for row in study.fields() if row.measured] == measured
    capsys.readouterr()


@pytest.mark.parametrize("once", [(), ("--count-once",)])
def test_a_stopped_run_into_a_study_alone_is_taken_up_and_leaves_nothing_beside_it(
    fields, tmp_path, capsys, measured, once
):
    from measure.study.study import Study

    study = tmp_path / "s.gritline"
    command = ["measure", str(fields), "--um-per-px", "0.5", "--jobs", "1", "--study", str(study), *once]
    assert main(command) == 130
    assert "give the same command again" in capsys.readouterr().err
    assert (tmp_path / ".s.gritline.measuring").is_dir()
    assert main(command) == 0
    assert "2 of 5 fields were measured before" in capsys.readouterr().err
    assert measured == [f"f{i}.png" for i in range(5)]
    with Study.open(study) as kept:
        assert [row.name for row in kept.fields() if row.measured] == measured
    assert sorted(p.name for p in tmp_path.iterdir()) == ["fields", "s.gritline"]
    assert main(command) == 0  # a finished run is measured anew, as it always was
    assert len(measured) == 10


def test_a_run_that_keeps_nothing_says_so_when_stopped_and_one_without_a_field_leaves_nothing(
    fields, tmp_path, capsys, monkeypatch
):
    def stops(_job):
        raise KeyboardInterrupt

    monkeypatch.setattr(field_run, "run_field_job", stops)
    plain = ["measure", str(fields), "--um-per-px", "0.5", "--jobs", "1"]
    assert main(plain) == 130
    assert "Nothing is kept of this run; with --out DIR or --study FILE" in capsys.readouterr().err
    assert main([*plain, "--study", str(tmp_path / "s.gritline")]) == 130
    assert [p.name for p in tmp_path.iterdir()] == ["fields"]


def test_a_study_that_lacks_a_field_gets_it_though_it_was_measured_before(fields, tmp_path, measured, capsys):
    from measure.study.study import Study

    command = _command(fields, tmp_path / "out", "--jobs", "1")
    assert main(command) == 130
    assert main([*command, "--study", str(tmp_path / "s.gritline")]) == 0
    with Study.open(tmp_path / "s.gritline") as study:
        assert sum(row.measured for row in study.fields()) == 5
    capsys.readouterr()


def test_a_defect_at_one_picture_does_not_stop_the_others(fields, tmp_path, capsys, monkeypatch):
    from measure.field import pipeline

    real = pipeline.measure_field

    def fails_at_one(picture, *args, **kwargs):
        if picture.name == "f2.png":
            raise ZeroDivisionError("division by zero")
        return real(picture, *args, **kwargs)

    monkeypatch.setattr(pipeline, "measure_field", fails_at_one)
    assert main(_command(fields, tmp_path / "out", "--jobs", "1")) == 1
    said = capsys.readouterr().err
    assert "f2.png could not be measured because of a defect of this program (ZeroDivisionError" in said
    assert "Traceback" not in said


def _dies(job: FieldJob) -> FieldOutcome:
    """Stand in for measuring; ends its process where the job's file says how often."""
    lives = Path(job.path)
    if lives.exists():
        left = int(lives.read_text())
        if left:
            lives.write_text(str(left - 1))
            os._exit(9)
    return FieldOutcome(job.name, "", job.path)


@pytest.mark.parametrize(("deaths", "lost"), [(1, False), (99, True)])
def test_a_lost_worker_loses_nothing(deaths, lost, tmp_path, monkeypatch):
    (tmp_path / "2").write_text(str(deaths))
    monkeypatch.setattr(field_run, "run_field_job", _dies)
    jobs = [FieldJob(str(tmp_path / str(i)), str(i), "", Scale(0.5)) for i in range(6)]
    outcomes = list(measure_many(jobs, workers=2))
    assert [o.name for o in outcomes] == [j.name for j in jobs]
    assert [bool(o.error) for o in outcomes] == [lost and i == 2 for i in range(6)]


def test_workers_fit_into_memory(monkeypatch):
    from measure.output import field_pool

    monkeypatch.setattr(field_pool, "free_bytes", lambda: 2_000_000_000)
    assert workers_for(10, 8, pixels=80_000_000) == 1
    assert workers_for(10, 8, pixels=2_000_000) == 5
    assert workers_for(3, 8, pixels=100_000) == 3
    monkeypatch.setattr(field_pool, "free_bytes", lambda: None)
    assert workers_for(10, 7) == 7


def test_nobody_at_the_cluster_address_is_said(fields, tmp_path, capsys):
    pytest.importorskip("distributed")
    from measure.errors import InvalidInput
    from measure.output import cluster

    with (
        pytest.raises(InvalidInput, match="no-such-protocol"),
        cluster.cluster_executor("no-such-protocol://x"),
    ):
        pass
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("192.0.2.7", "has no port"),
        ("tcp://:8786", "has no port"),
        ("tcp://127.0.0.1:1", "No cluster answers"),
    ],
)
def test_an_address_nobody_listens_at_is_refused_before_the_library_tries(fields, capsys, address, words):
    pytest.importorskip("distributed")
    options = ["--um-per-px", "0.5", "--cluster", address]
    assert main(["measure", str(fields), *options]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1


@pytest.mark.expects_log
@pytest.mark.filterwarnings("ignore")  # the library's own, of its event loop at the end
def test_a_cluster_gives_the_same_bytes_and_survives_a_lost_worker(fields, tmp_path, capsys):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        host="127.0.0.1",
        dashboard_address=None,
        processes=True,
        silence_logs=50,
    ) as workers:
        blank = str(_blank(tmp_path / "blank.png"))
        more = ("--blank", blank, "--overlays")
        code = main(_command(fields, tmp_path / "far", "--cluster", workers.scheduler_address, *more))
        assert code == 0
        jobs = [
            FieldJob(str(p), p.name, "", Scale(0.5), blank_path=blank) for p in sorted(fields.glob("*.png"))
        ]
        with distributed.Client(workers.scheduler_address, set_as_default=False) as client:
            outcomes = measure_many(jobs, workers=2, executor=client.get_executor(pure=False))
            names = [next(outcomes).name]
            victim = next(iter(client.run(os.getpid).values()))
            os.kill(victim, signal.SIGKILL)
            names += [o.name for o in outcomes if not o.error]
    assert names == [job.name for job in jobs]
    assert main(_command(fields, tmp_path / "near", "--jobs", "1", *more)) == 0
    _same_tables(tmp_path / "far", tmp_path / "near")
    for path in (tmp_path / "near" / "overlays").iterdir():
        assert path.read_bytes() == (tmp_path / "far" / "overlays" / path.name).read_bytes()
    capsys.readouterr()


def _blank(path: Path) -> Path:
    grey = np.random.default_rng(9).normal(205.0, 1.2, (200, 300))
    cv2.imwrite(str(path), np.clip(grey, 0, 255).astype(np.uint8))
    return path
