"""How the house is laid out: imports go one way, the public face is what it says, nothing heavy loads at the door."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import layup

PACKAGE = Path(layup.__file__).parent

# Each module imports only from the layers before its own (or from its own layer).
LAYERS = (
    ("errors",),
    ("writing",),
    ("units", "orientation", "locate", "spread", "fields", "written", "tables_text"),
    ("words", "atmosphere", "sources", "properties"),
    ("materials",),
    ("needs", "openings"),
    ("part",),
    ("cautions",),
    ("surface",),
    ("laminate", "allowances", "hole_tables"),
    ("partfile",),
    ("draped", "heights"),
    ("plies",),
    ("weight",),
    ("replaced", "cost"),
    ("compare",),
    ("prediction",),
    ("choosing",),
    ("record",),
    ("shop", "show"),  # the sheet shows pictures, and pictures show what is cut
    ("bench",),
    ("commands",),
    ("cli",),
    ("__main__", "__init__"),
)


def module_name(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports_of(path: Path) -> set[str]:
    """First names under `layup` that a file imports when it runs or is type-checked, lazily or not."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "layup":
            parts = node.module.split(".")
            found |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {a.name.split(".")[1] for a in node.names if a.name.startswith("layup.")}
    return found


def test_modules_import_one_way_only() -> None:
    rank = {name: number for number, layer in enumerate(LAYERS) for name in layer}
    files = [path for path in PACKAGE.rglob("*.py") if "library" not in path.parts]
    assert len(files) > 30
    for path in files:
        own = module_name(path)
        assert own in rank, f"{path.name} stands in no layer: add it to LAYERS"
        for other in imports_of(path):
            if own == "__init__" or other in ("__version__",):
                continue
            assert rank[other] <= rank[own], f"{path.relative_to(PACKAGE)} imports layup.{other}, which comes later"


def test_the_public_face_is_what_it_says() -> None:
    assert layup.__all__ == sorted(layup.__all__)
    assert len(layup.__all__) <= 24
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


def test_one_idea_a_file() -> None:
    for path in PACKAGE.rglob("*.py"):
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 520, f"{path.relative_to(PACKAGE)} has {lines} lines: two names would serve better"


def test_every_json_key_is_documented(examples: Path) -> None:
    text = (PACKAGE.parent / "docs" / "json.md").read_text(encoding="utf-8")
    data = layup.predict(examples / "motor-glider" / "engine-bay-door.toml").as_json()
    keys = [*data, *data["plies"][0], *data["zones"][0], *data["processes"][0], *data["surface"], *data["sources"][0]]
    assert [key for key in keys if f"`{key}`" not in text and f"`{key}[]`" not in text] == []
