"""The house holds: imports point down, measure/ knows no Qt, files and functions stay short."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
# lowest first; a room may import itself and the rooms before it
ROOMS = ["", "render", "scale", "field", "sizes", "judge", "study", "output"]
# of `measure/field`, lowest first; what composes them stands beside these folders
FIELD_ROOMS = ["basics", "ground", "marks", "edges", "cuts", "rims", "crystals", "bodies", "components"]
FIELD_ROOMS += ["overlaps", "kinds", "whole_field", "edits", "several"]
SOURCES = sorted([*ROOT.glob("measure/**/*.py"), *ROOT.glob("app/**/*.py")])
TESTS = sorted(ROOT.glob("tests/**/*.py"))


def _imports(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def _room(module: str) -> str | None:
    parts = module.split(".")
    if parts[0] != "measure":
        return None
    return parts[1] if len(parts) > 1 and parts[1] in ROOMS else ""


def _allowed(room: str) -> set[str]:
    below = set(ROOMS[: ROOMS.index(room) + 1])
    if room == "study":
        below.discard("field")  # the file must open without the algorithms
    if room not in {"render", "output"}:
        below.discard("render")  # what draws the truth shares nothing with what measures it
    if room == "scale":
        below.discard("render")
    return below


@pytest.mark.parametrize(
    "path", [p for p in SOURCES if p.is_relative_to(ROOT / "measure")], ids=lambda p: str(p.relative_to(ROOT))
)
def test_imports_in_measure_point_down(path: Path):
    relative = path.relative_to(ROOT / "measure")
    room = relative.parts[0] if len(relative.parts) > 1 else ""
    for name in _imports(path):
        assert name.split(".")[0] not in {"app", "PySide6", "shiboken6"}, f"{path} imports {name}"
        target = _room(name)
        if target is not None and name != "measure":
            assert target in _allowed(room), f"{path} (room {room!r}) imports {name}"


@pytest.mark.parametrize(
    "path", sorted(ROOT.glob("measure/field/*/*.py")), ids=lambda p: str(p.relative_to(ROOT))
)
def test_imports_between_rooms_of_the_field_point_down(path: Path):
    room = FIELD_ROOMS.index(path.parent.name)
    for name in _imports(path):
        if name.startswith("measure.field."):
            assert name.split(".")[2] in FIELD_ROOMS[: room + 1], f"{path} imports {name}"


@pytest.mark.parametrize(
    "path", [p for p in SOURCES if p.is_relative_to(ROOT / "app")], ids=lambda p: str(p.relative_to(ROOT))
)
def test_window_leaves_pixels_and_files_to_measure(path: Path):
    forbidden = {"sqlite3", "cv2", "skimage", "scipy"}
    assert not {n.split(".")[0] for n in _imports(path)} & forbidden


@pytest.mark.parametrize("path", sorted(ROOT.glob("app/cli/*.py")), ids=lambda p: p.name)
def test_commands_know_no_qt(path: Path):
    assert not {n.split(".")[0] for n in _imports(path)} & {"PySide6", "shiboken6"}


@pytest.mark.parametrize("path", SOURCES + TESTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_files_stay_short(path: Path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_functions_stay_short(path: Path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            first = (
                node.body[1] if ast.get_docstring(node) is not None and len(node.body) > 1 else node.body[0]
            )
            assert node.end_lineno - first.lineno + 1 <= 60, f"{path}: {node.name}"


@pytest.mark.parametrize(
    "path", [p for p in SOURCES if p.is_relative_to(ROOT / "measure")], ids=lambda p: str(p.relative_to(ROOT))
)
def test_public_functions_of_measure_are_documented(path: Path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), f"{path} has no docstring"
    for node in tree.body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{path}: {node.name} has no docstring"


# of pytest-qt: they wait when their `with` ends, so a bare call waits for nothing
WAITS_AT_END = {"waitExposed", "waitActive", "waitSignal", "waitSignals", "assertNotEmitted"}


@pytest.mark.parametrize("path", TESTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_what_waits_at_the_end_of_its_block_has_one(path: Path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
            called = getattr(node.value.func, "attr", "")
            assert called not in WAITS_AT_END, f"{path}:{node.lineno}: {called} has no with"


def _child(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    return done.stdout.strip()


def test_commands_start_without_qt_and_heavy_libraries():
    code = (
        "import sys, io, contextlib\n"
        "from app.__main__ import _parser\n"
        "from app.cli import COMMANDS\n"
        "[_parser(name) for name in COMMANDS]\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & "
        "{'PySide6','cv2','scipy','skimage','matplotlib','reportlab','sqlite3'}))"
    )
    assert _child(code) == "[]"


def test_the_window_starts_without_what_measures():
    code = (
        "import sys\n"
        "import app.window\n"
        "from app.stations import load_stations\n"
        "load_stations()\n"
        "heavy = {'measure.field.pipeline', 'scipy', 'shapely', 'skimage', 'matplotlib', 'reportlab'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    assert _child(code) == "[]"


def test_measure_runs_where_qt_is_missing():
    code = (
        "import sys\n"
        "sys.modules['PySide6'] = None\n"
        "import importlib, pkgutil, measure\n"
        "names = [m.name for m in pkgutil.walk_packages(measure.__path__, 'measure.')]\n"
        "[importlib.import_module(n) for n in names]\n"
        "print(len(names) > 10)"
    )
    assert _child(code) == "True"


def test_top_level_holds_only_what_the_plan_names():
    named = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "app",
        "measure",
        "tests",
        "sample_images",
        "LICENSE",
    }
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=False)
    if listed.returncode:
        pytest.skip("not a checkout, so there is no list of tracked files")
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert not {t for t in tops if not t.startswith(".")} - named
