"""The house keeps its rules: floors, import without a screen, small modules, words everywhere."""

import ast
import importlib.metadata
import io
import re
import subprocess
import sys
import tokenize
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("annot", "synthetic_dicom", "plugins/napari_annot")
MODULES = sorted(path for name in PACKAGES for path in (ROOT / name).rglob("*.py"))
CORE = [path for path in MODULES if path.is_relative_to(ROOT / "annot")]
LONGEST_MODULE, LONGEST_FUNCTION, MOST_ARGUMENTS = 400, 50, 6
SCREEN = ("napari", "qtpy", "PySide6", "PyQt6", "vispy", "magicgui", "superqt")


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def is_command(path: Path) -> bool:
    return path.is_relative_to(ROOT / "annot" / "cli")


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def functions(path: Path):
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def run(code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        timeout=120,
    )


def test_there_is_something_to_check():
    assert len(CORE) > 50


# ---------------------------------------------------------------- floors
def test_contracts_between_floors_are_kept():
    answer = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        timeout=120,
    )
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert " 0 broken" in answer.stdout


# ---------------------------------------------------------------- import
IMPORT_ALL = """
import importlib, importlib.abc, pkgutil, sys
class Blocked(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {blocked}:
            raise ModuleNotFoundError(f"{{name}} is not installed here", name=name)
sys.meta_path.insert(0, Blocked())
{before}
import annot
names = ["annot"]
for module in pkgutil.walk_packages(annot.__path__, "annot."):
    if module.name.endswith("__main__"):
        continue
    importlib.import_module(module.name)
    names.append(module.name)
{after}
print(len(names))
"""


def test_every_module_of_the_core_imports_without_a_screen():
    answer = run(IMPORT_ALL.format(blocked=SCREEN, before="", after=""))
    assert answer.returncode == 0, answer.stderr
    assert int(answer.stdout) > 50


def test_a_blocked_package_would_be_noticed():
    answer = run(IMPORT_ALL.format(blocked=("pydicom",), before="", after=""))
    assert "pydicom is not installed here" in answer.stderr


HEAVY = ("scipy.stats", "scipy.optimize", "scipy.ndimage", "skimage", "matplotlib", "pandas")


def test_heavy_packages_wait_until_they_are_needed():
    after = f"loaded = [n for n in {HEAVY} if n in sys.modules]\nassert not loaded, loaded"
    answer = run(IMPORT_ALL.format(blocked=SCREEN, before="", after=after))
    assert answer.returncode == 0, answer.stderr


NO_CLOCK = """
import datetime, os, random, secrets, time, uuid
import numpy, numpy.random, pydicom, pydicom.uid, pydantic, importlib.metadata
import typer, rich.console, rich.table, rich.progress
def caught(what):
    def refuse(*args, **options):
        frame = sys._getframe(1)
        while frame:
            name = frame.f_globals.get("__name__", "")
            if name.partition(".")[0] == "annot":
                raise RuntimeError(f"{name} asks for {what} while it is imported")
            frame = frame.f_back
        return originals[what](*args, **options)
    return refuse
originals = {}
for owner, name in (
    (time, "time"), (time, "monotonic"), (time, "perf_counter"), (random, "random"),
    (random, "randint"), (secrets, "token_bytes"), (secrets, "token_hex"), (uuid, "uuid4"),
    (uuid, "uuid1"), (os, "urandom"), (numpy.random, "default_rng"), (numpy.random, "rand"),
    (pydicom.uid, "generate_uid"),
):
    what = f"{owner.__name__}.{name}"
    originals[what] = getattr(owner, name)
    setattr(owner, name, caught(what))
"""


def test_no_module_asks_for_the_time_or_for_chance_while_it_is_imported():
    answer = run(IMPORT_ALL.format(blocked=SCREEN, before=NO_CLOCK, after=""))
    assert answer.returncode == 0, answer.stderr


CHANCE = {"time", "random", "secrets", "uuid"}
# a moment may be held, as a type; asking for the present one is the caller's
ASKING = {"default_rng", "generate_uid", "now", "utcnow", "today"}
# what a person does and the program around it may know the time or need a secret key
ABOVE = ("annot/tasks", "annot/cli")


@pytest.mark.parametrize("path", CORE, ids=name_of)
def test_below_the_tasks_nobody_knows_the_time_or_chance(path):
    if name_of(path).startswith(ABOVE):
        return
    for node in ast.walk(tree_of(path)):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        assert not CHANCE & {name.partition(".")[0] for name in names}, f"{name_of(path)}: {names}"
        if isinstance(node, ast.Attribute):
            assert node.attr not in ASKING, name_of(path)


# ---------------------------------------------------------------- words
@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_every_module_says_what_it_is_for(path):
    text = ast.get_docstring(tree_of(path))
    assert text, name_of(path)
    assert len(text.split()) >= 3


@pytest.mark.parametrize("path", CORE, ids=name_of)
def test_every_public_thing_says_what_it_is(path):
    for node in tree_of(path).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{name_of(path)}: {node.name}"


# ---------------------------------------------------------------- sizes
@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_modules_stay_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE


def code_lines(path: Path) -> set[int]:
    """Return the lines that hold code: no blanks, no comments, no strings standing alone."""
    source = path.read_text(encoding="utf-8")
    lines: set[int] = set()
    skipped = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT}
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in skipped and token.type != tokenize.ENDMARKER:
            lines.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            lines.difference_update(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return lines


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_functions_stay_short(path):
    code = code_lines(path)
    for node in functions(path):
        # a command's signature is its table of options, with a line of help for each
        first = node.body[0].lineno if is_command(path) else node.lineno
        size = len(code & set(range(first, (node.end_lineno or first) + 1)))
        assert size <= LONGEST_FUNCTION, f"{name_of(path)}: {node.name} has {size} lines of code"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_functions_take_few_arguments(path):
    for node in functions(path):
        arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
        count = sum(one.arg not in {"self", "cls"} for one in arguments)
        assert count <= MOST_ARGUMENTS or is_command(path), (
            f"{name_of(path)}: {node.name} takes {count}"
        )


# ---------------------------------------------------------------- hygiene
SILENCED = re.compile(
    r"# (?:type: ignore\[[\w-]+\]|noqa: (?P<codes>[A-Z0-9, ]+?))(?P<reason>(?:\s.*)?)$"
)
# a command prints, and Qt's own methods are named as Qt names them
SELF_EXPLAINING = {"T201", "N802"}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_no_silence_without_a_reason(path):
    """Whoever switches a check off for a line names the check and says why beside it."""
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        if "type: ignore" not in line and "noqa" not in line:
            continue
        found = SILENCED.search(line)
        assert found, f"{name_of(path)}:{number} switches off every check"
        codes = set((found["codes"] or "").replace(",", " ").split())
        if codes and codes <= SELF_EXPLAINING:
            continue
        assert len(found["reason"].strip(" #-").split()) >= 2, f"{name_of(path)}:{number}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_no_path_of_one_machine(path):
    text = path.read_text(encoding="utf-8")
    for trace in ("/work/", "/home/", "/root/", "/tmp/"):
        assert trace not in text, name_of(path)


def test_the_manifest_of_the_viewer_is_the_only_entry_point_of_the_plugin():
    points = importlib.metadata.distribution("annot").entry_points.select(group="napari.manifest")
    assert [(point.name, point.value) for point in points] == [
        ("annot", "napari_annot:napari.yaml")
    ]
