"""How the house is laid out: imports go one way, the public face is what it says, nothing heavy loads at the door."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import SLOW, is_slow

import layup

PACKAGE = Path(layup.__file__).parent

# The order of imports, stated here and in DEVELOPERS.md: the modules at the top first, then the rooms. A module imports
# only from those before its own, or from its own room.
GROUND = ("errors", "units", "words", "sources", "spread", "materials")
ROOMS = (
    "laminate",
    "shape",
    "sides",
    "files",
    "partfile",
    "report",
    "cloth",
    "weight",
    "choosing",
    "make",
    "learn",
    "refit",
    "bench",
    "commands",
)
RANK = {name: number for number, name in enumerate((*GROUND, *ROOMS, "public"))}


def modules() -> dict[str, Path]:
    """Every module by its dotted name below `layup`."""
    found = {}
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        if parts[0] != "library" and parts[-1] != "__init__":
            found[".".join(parts)] = path
    return found


def imports_of(path: Path, known: dict[str, Path]) -> Iterator[str]:
    """Modules of `layup` that a file imports when it runs or is type-checked, at its top or inside a function."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "layup":
            home = (node.module or "").removeprefix("layup").removeprefix(".")
            for alias in node.names:
                inner = f"{home}.{alias.name}".removeprefix(".")
                yield inner if inner in known else home
        elif isinstance(node, ast.Import):
            yield from (alias.name.removeprefix("layup.") for alias in node.names if alias.name.startswith("layup."))


def test_imports_run_one_way_through_the_rooms() -> None:
    known = modules()
    assert len(known) > 100
    upward = set()
    for own, path in known.items():
        if own == "__main__":
            continue
        assert own.split(".")[0] in RANK, f"{own} stands in no room: say where it belongs in ROOMS"
        for other in imports_of(path, known):
            if other and RANK[other.split(".")[0]] > RANK[own.split(".")[0]]:
                upward.add((own, other))
    assert upward == set()


def test_no_module_imports_itself_by_way_of_others() -> None:
    known = modules()
    ahead = {own: {other for other in imports_of(path, known) if other in known} for own, path in known.items()}

    def reach(own: str) -> set[str]:
        seen: set[str] = set()
        ways = list(ahead[own])
        while ways:
            other = ways.pop()
            if other not in seen:
                seen.add(other)
                ways += ahead[other]
        return seen

    assert sorted(own for own in ahead if own in reach(own)) == []


def test_every_error_stands_on_one_page() -> None:
    found = []
    for own, path in modules().items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and own != "errors":
                bases = [base.id for base in node.bases if isinstance(base, ast.Name)]
                found += [f"{own}.{node.name}" for base in bases if base.endswith("Error") or base == "Exception"]
    assert found == []
    import layup.errors as page

    for name, value in vars(page).items():
        if isinstance(value, type) and issubclass(value, Exception):
            assert name.endswith("Error"), name
            assert value is page.LayupError or issubclass(value, page.LayupError)


def test_a_newcomer_can_take_in_every_room() -> None:
    folders = sorted({path.parent for path in PACKAGE.rglob("*.py")} - {PACKAGE, PACKAGE / "library"})
    assert [folder.name for folder in folders] == sorted(ROOMS)
    assert len(ROOMS) <= 14
    assert len(list(PACKAGE.glob("*.py"))) < 10
    for folder in folders:
        assert (folder / "__init__.py").is_file(), f"{folder.name} doesn't say what question it answers"
        files = list(folder.glob("*.py"))
        assert len(files) <= 25, f"{folder.name} has {len(files)} files: a newcomer can't take it in"


def public_names(path: Path) -> set[str]:
    """What a module offers at its top: functions, classes and values whose name begins with no underscore."""
    names: set[str] = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign):
            names |= {target.id for target in node.targets if isinstance(target, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
    return {name for name in names if not name.startswith("_")}


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_says_its_question_and_its_public_names_in_three_lines(room: str) -> None:
    tree = ast.parse((PACKAGE / room / "__init__.py").read_text(encoding="utf-8"))
    lines = (ast.get_docstring(tree) or "").splitlines()
    assert len(lines) == 3
    assert lines[0].endswith("?")
    assert len(tree.body) == 1, "a room loads nothing at its door"
    named = re.findall(r"`([^`]+)`", " ".join(lines))
    assert len(named) >= 2
    for name in named:
        module, _, inner = name.partition(".")
        path = PACKAGE / room / f"{module}.py"
        assert path.is_file(), f"{room}/__init__.py names `{name}`, but there is no {module}.py"
        assert not inner or inner in public_names(path), f"{room}/{module}.py has no public `{inner}`"


def test_the_public_face_is_what_it_says() -> None:
    assert layup.__all__ == sorted(layup.__all__)
    assert len(layup.__all__) <= 40
    for name in layup.__all__:
        value = getattr(layup, name)
        assert value.__doc__, f"{name} has no docstring"
        assert value.__module__.startswith("layup."), name
    assert set(layup._HOMES) == set(layup.__all__)


def test_public_names_are_documented_for_a_reader() -> None:
    text = (PACKAGE.parent / "docs" / "python.md").read_text(encoding="utf-8")
    for name in layup.__all__:
        assert f"`{name}" in text, f"docs/python.md does not mention {name}"


def loaded_by(code: str) -> set[str]:
    script = f"{code}\nimport sys\nprint(' '.join(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=PACKAGE.parent
    )
    return set(done.stdout.splitlines()[-1].split())


HEAVY = {"numba", "scipy", "trimesh", "matplotlib", "pandas", "pint", "ezdxf", "shapely", "networkx", "lxml"}


def test_import_layup_and_help_load_nothing_heavy() -> None:
    assert not loaded_by("import layup") & (HEAVY | {"numpy", "pydantic", "rich"})
    assert not loaded_by("import layup.commands.cli") & (HEAVY | {"numpy", "pydantic", "rich"})


def test_the_shipped_example_loads_nothing_it_does_not_need() -> None:
    code = "import layup\nlayup.predict('examples/motor-glider/engine-bay-door.toml')"
    assert not loaded_by(code) & (HEAVY - {"shapely"})


def test_every_json_key_is_documented(examples: Path) -> None:
    text = (PACKAGE.parent / "docs" / "json.md").read_text(encoding="utf-8")
    data = layup.predict(examples / "motor-glider" / "engine-bay-door.toml").as_json()
    keys = [*data, *data["plies"][0], *data["zones"][0], *data["processes"][0], *data["surface"], *data["sources"][0]]
    assert [key for key in keys if f"`{key}`" not in text and f"`{key}[]`" not in text] == []


def test_the_slow_tests_are_there_and_the_rest_is_not_among_them() -> None:
    folder = Path(__file__).parent
    assert tuple(sorted(SLOW)) == SLOW
    for slow in SLOW:
        where, _, test = slow.partition("::")
        path = folder / where
        assert path.exists(), f"slow.txt names {where}, which isn't there"
        assert not test or test in public_names(path), f"{where} has no test {test}"
    assert is_slow("benchmarks/test_start.py::test_any")
    test = next(slow for slow in SLOW if "::" in slow)
    assert is_slow(test)
    assert is_slow(f"{test}[male]")
    assert not is_slow(f"{test}_too")
    assert not is_slow("benchmarks_of_others/test_any.py::test_any")


def test_developers_md_draws_the_house_as_it_stands() -> None:
    text = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    _, drawing, rest = text.split("```", 2)
    drawn = re.findall(r"^(?: {17}|  [a-z ]{13}  )([a-z]+)  ", drawing, flags=re.M)
    assert drawn == ["public", *reversed(ROOMS), *reversed(GROUND)]
    near = [PACKAGE.parent / place for place in ("", "layup", "materials", "tests/published", "tests/browser")]
    near += [PACKAGE / room for room in ROOMS]
    for path in re.findall(r"`([a-z_/]+\.(?:py|csv|md|toml))`", rest):
        assert any((place / path).is_file() for place in near), f"DEVELOPERS.md names {path}, which isn't there"


def test_the_version_is_the_same_in_both_places() -> None:
    project = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["version"] == layup.__version__
