"""The folder is all a request can reach: what a name may be, which files a part file names, and how long it takes."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from layup.bench import desk as desk_module
from layup.bench import folder as folder_module
from layup.bench.desk import Desk
from layup.bench.folder import DEEPEST, FILE_KEYS, Folder, files_of, named_files
from layup.errors import LayupError, OutsideError
from layup.partfile.model import Part

NO_FILES = {
    "title", "process", "resin", "units", "stack", "fabric", "name", "unit", "side", "body", "mould", "drawn", "face",
    "pick", "cut", "bar", "bar_along", "along", "rule", "within", "between", "group", "or", "and", "not", "core",
    "zone", "shape",
    "covers", "finish", "sheet", "covering", "layer", "match", "fabrics", "criterion", "surface_ply", "supports",
    "processes", "stiffness", "cutouts", "inside", "hand", "mirror", "near", "filler", "drop_rules",
    "keep_rules", "fasteners",
}  # fmt: skip
"""Keys of the part file that hold words or free lists, none of which is ever opened as a file."""


@pytest.fixture
def shop(tmp_path: Path) -> Folder:
    root = tmp_path / "shop"
    (root / "sub").mkdir(parents=True)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "secret.toml").write_text("[surface]\n")
    (root / "door.toml").write_text("[surface]\n")
    (root / "file.toml").symlink_to(tmp_path / "out" / "secret.toml")
    (root / "folder").symlink_to(tmp_path / "out")
    (root / "round").symlink_to(root / "round")
    (root / "inside.toml").symlink_to(root / "door.toml")
    return Folder(root)


@pytest.mark.parametrize(
    "name",
    [
        "", "..", "../out/secret.toml", "sub/../../out/secret.toml", "sub/..", "/etc/passwd", "//etc/passwd",
        "..\\out", "a\\b",
        "C:door.toml", "c:/door.toml", "door.toml\0", "\0", "file.toml", "folder", "folder/secret.toml",
        "folder/new.toml",
        "x" * 256, "a/" * 5000, "\u65e5" * 90, "\ud800", "./../out/secret.toml", "round/x/../../../out",
    ],
)  # fmt: skip
def test_names_that_lead_out_or_nowhere(shop: Folder, name: str) -> None:
    with pytest.raises(OutsideError):
        shop.path(name)


@pytest.mark.parametrize("name", ["door.toml", "./door.toml", "sub/new.toml", "inside.toml", "%2e%2e/x.toml", "...",
    "-rf.toml", "..x/a",
                                  "DOOR.TOML", "a b\u00e4\U0001f600.toml", "x" * 255, "~/a.toml"])  # fmt: skip
def test_names_that_stay_inside(shop: Folder, name: str) -> None:
    path = shop.path(name)
    assert path.resolve().is_relative_to(shop.root)
    assert shop.path(shop.name(path)) == path


@given(st.text(st.sampled_from("./\\ab~%2e\0:-"), max_size=30))
def test_whatever_the_name_the_path_is_inside_or_refused(name: str) -> None:
    folder = Folder(Path(__file__).parent)
    try:
        path = folder.path(name)
    except OutsideError:
        return
    assert path.resolve().is_relative_to(folder.root)
    assert os.path.normpath(path).startswith(str(folder.root))


@given(st.text(max_size=60) | st.text(st.sampled_from("./\\ab~%2e\0:- \n\u65e5con"), max_size=300))
def test_a_new_file_has_a_harmless_name_in_the_folder(name: str) -> None:
    folder = Folder(Path(__file__).parent)
    try:
        path = folder.free("", name)
    except OutsideError:
        return
    assert path.parent == folder.root
    assert not path.exists()
    assert not path.name.startswith((".", "-", " "))
    assert not path.name.endswith((".", " "))
    assert len(path.name.encode()) <= 255 - 20
    assert not set('/\\:*?"<>|\0\n\r\t') & set(path.name)


@pytest.mark.parametrize("name", ["CON", "con.toml", "Nul.stl", "aux.tar.gz", "COM1.toml", "lpt9"])
def test_names_that_one_system_keeps_for_itself_are_not_given(shop: Folder, name: str) -> None:
    assert shop.free("", name).name == f"part-{name}"


def test_a_taken_name_is_numbered_also_where_a_link_has_it(shop: Folder) -> None:
    assert shop.free("", "door.toml").name == "door-2.toml"
    assert shop.free("", "file.toml").name == "file-2.toml"
    (shop.root / "dangling.toml").symlink_to(shop.root.parent / "out" / "new.toml")
    assert shop.free("", "dangling.toml").name == "dangling-2.toml"
    with pytest.raises(OutsideError):
        shop.free("folder", "new.toml")
    with pytest.raises(OutsideError):
        shop.free("../out", "new.toml")


def test_lists_pass_over_links_out_hidden_folders_and_what_lies_deep(shop: Folder) -> None:
    (shop.root / ".git").mkdir()
    (shop.root / ".git" / "x.toml").write_text("[surface]\n")
    (shop.root / ".hidden.toml").write_text("[surface]\n")
    deep = shop.root.joinpath(*"abcdefghij")
    deep.mkdir(parents=True)
    (deep / "deep.toml").write_text("[surface]\n")
    assert len("abcdefghij") > DEEPEST
    (shop.root / "a\\b.toml").write_text("[surface]\n")
    assert shop.parts() == ["door.toml", "inside.toml"]


def test_lists_follow_what_is_written_in_the_same_moment_and_long_after(shop: Folder) -> None:
    file = shop.root / "door.toml"
    assert (shop.parts(), shop.refits()) == (["door.toml", "inside.toml"], [])
    before = file.stat().st_mtime_ns
    file.write_text("[limits] \n")  # as long as it was
    os.utime(file, ns=(before, before))  # and by a clock that does not tell the two apart
    assert (shop.parts(), shop.refits()) == ([], ["door.toml", "inside.toml"])
    os.utime(file, (1e9, 1e9))
    assert shop.parts() == []
    file.write_text("[surface]\n#\n")
    os.utime(file, (1e9, 1e9))
    assert (shop.parts(), shop.refits()) == (["door.toml", "inside.toml"], [])


@pytest.mark.parametrize(
    "name", ["shop.sqlite", ".git/config.toml", ".hidden.toml", "door.py", "door.toml.bak", "bench.sqlite", "sub"]
)
def test_only_files_of_ours_are_changed(shop: Folder, name: str) -> None:
    (shop.root / ".git").mkdir()
    for one in ("shop.sqlite", ".git/config.toml", ".hidden.toml", "door.py", "door.toml.bak"):
        (shop.root / one).write_text("a = 1\n")
    desk = Desk(shop)
    for act in (
        lambda: desk.sheet(name),
        lambda: desk.edit(name, "", "x", lambda text: text + "b = 2\n"),
        lambda: desk.undo(name),
    ):
        with pytest.raises(LayupError):
            act()
    desk.journal.close()
    assert all("b = 2" not in path.read_text() for path in shop.root.rglob("door*") if path.is_file())


def test_a_record_that_is_a_link_out_or_lies_above_is_none(shop: Folder) -> None:
    (shop.root.parent / "shop.sqlite").write_bytes(b"")
    (shop.root.parent / "out" / "shop.sqlite").write_bytes(b"")
    assert shop.shop(shop.root / "door.toml") is None
    (shop.root / "shop.sqlite").symlink_to(shop.root.parent / "shop.sqlite")
    assert shop.shop(shop.root / "door.toml") is None
    (shop.root / "shop.sqlite").unlink()
    (shop.root / "shop.sqlite").write_bytes(b"")
    assert shop.shop(shop.root / "sub" / "x.toml") == shop.root


def text_keys(model: type[BaseModel], seen: set[type] | None = None) -> Iterator[str]:
    """Every key of a model, and of the models in it, whose value may hold text or lists of anything."""
    seen = set() if seen is None else seen
    if model in seen:
        return
    seen.add(model)

    def kinds(annotation: Any) -> Iterator[Any]:
        yield annotation
        for inner in get_args(annotation):
            yield from kinds(inner)

    for name, field in model.model_fields.items():
        found = list(kinds(field.annotation))
        if str in found or Any in found or any(isinstance(kind, str) for kind in found):
            yield field.alias or name
        for kind in found:
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                yield from text_keys(kind, seen)


def test_every_key_of_the_part_file_that_can_hold_text_is_a_file_or_known_to_be_none() -> None:
    """A new key of the model fails here until somebody says which; a quantity is a number in the model and no text."""
    keys = set(text_keys(Part))
    files = set(FILE_KEYS)
    assert {"mesh", "stations", "girths", "file", "materials", "outline", "photo", "step"} <= keys
    assert keys - files - NO_FILES == set()
    assert files & NO_FILES == set()
    assert files <= keys


EVERY = """
materials = ["{0}", "ok.csv"]
[surface]
mesh = "{0}"
step = "{0}"
outline = "{0}"
photo = "{0}"
stations = "{0}"
girths = "{0}"
[[holes]]
file = "{0}"
[[holes]]
file = "ok.csv"
[[fasteners]]
file = "{0}"
[other.table]
file = "{0}"
"""


@pytest.mark.parametrize(
    "name", ["../out/a", "sub/../../out/a", "{0}/out/a", "folder/a", "file.toml", "round", "x\\u0000", "../shop2/a"]
)
def test_every_file_that_a_part_file_names_outside_is_found(shop: Folder, name: str) -> None:
    import tomllib

    (shop.root.parent / "shop2").mkdir()
    text = EVERY.replace("{0}", name.replace("{0}", str(shop.root.parent)))
    found = [key for key, _ in named_files(tomllib.loads(text), shop, shop.root)]
    assert found == [("materials", 0), *(("surface", k) for k in ("mesh", "step", "outline", "photo", "stations",
        "girths")),
                     ("holes", 0, "file"), ("fasteners", 0, "file"), ("other", "table", "file")]  # fmt: skip


def test_files_inside_are_fine_and_other_words_are_no_files(shop: Folder) -> None:
    data = {
        "title": "../../etc/passwd", "materials": ["sub/a.csv", ["../x"]], "zone": [{"name": "/x/../.."}],
        "surface": {"mesh": "../shop/door.stl", "outline": [[0, 0], ["1 m", "2 m"]], "unit": "../mm"},
        "holes": "nothing", "fasteners": [3, {"file": 5}, {"file": {"file": "a.dxf"}}],
    }  # fmt: skip
    assert named_files(data, shop, shop.root) == [(("materials", 1, 0), "../x")]
    assert [name for _, name in files_of(data)] == ["sub/a.csv", "../x", "../shop/door.stl", "a.dxf"]
    for odd in (None, [], "x", 3, {"surface": 3}, {"materials": "x.csv"}):
        assert named_files(odd, shop, shop.root) == []


def test_what_the_scale_taught_is_taken_by_no_table_outside(shop: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    """A record in the folder is learnt from by the tables that the part names: those of the folder alone."""
    from layup import materials
    from layup.learn.store import open_store

    open_store(shop.root).close()
    (shop.root / "in.csv").write_text("")
    (shop.root.parent / "out" / "secret.csv").write_text("")
    (shop.root / "leads.csv").symlink_to(shop.root.parent / "out" / "secret.csv")
    text = 'materials = ["../out/secret.csv", "leads.csv", "in.csv"]\n[surface]\n'
    (shop.root / "door.toml").write_text(text)
    asked: list[Path] = []
    monkeypatch.setattr(
        materials, "load_library", lambda paths=(), real=materials.load_library: asked.extend(paths) or real()
    )
    Desk(shop).habits(shop.root / "door.toml", desk_module.tables_of(text))
    assert asked == [shop.root / "in.csv"]


def test_a_part_file_that_names_files_outside_is_not_even_looked_at(shop: Folder) -> None:
    """The prediction is keyed by the files it rests on; of one outside, not even its time is asked."""
    desk = Desk(shop)
    asked: list[str] = []
    real = desk_module._stamp

    def stamp(path: Path) -> Any:
        asked.append(str(path))
        return real(path)

    text = 'title = "x"\nprocess = "wet"\nmaterials = ["mine.csv"]\n[surface]\nmesh = "../out/secret.toml"\n'
    (shop.root / "bad.toml").write_text(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(desk_module, "_stamp", stamp)
        sheet = desk.sheet("bad.toml")
    assert any("is not in the folder" in fault.wrong for fault in sheet.faults)
    assert [Path(path).name for path in asked] == ["mine.csv"]
    desk.journal.close()


@pytest.mark.parametrize("key", [k for k in FILE_KEYS if k not in ("file", "materials")])
def test_a_file_that_changed_is_read_again(shop: Folder, key: str) -> None:
    desk = Desk(shop)
    (shop.root / "it.csv").write_text("a")
    data = {"surface": {key: "it.csv"}}
    before = desk._around(shop.root / "door.toml", data)
    os.utime(shop.root / "it.csv", (1, 1))
    assert desk._around(shop.root / "door.toml", data) != before
    holes = {"holes": [{"file": "it.csv"}]}
    before = desk._around(shop.root / "door.toml", holes)
    os.utime(shop.root / "it.csv", (2, 2))
    assert desk._around(shop.root / "door.toml", holes) != before
    desk.journal.close()


def grows(run: Callable[[int], object], low: int = 6_000, times: int = 8) -> float:
    """How many times longer it takes for a text so many times as long; about 8 where time goes with length."""

    def took(length: int) -> float:
        best = 1e9
        for _ in range(3):
            began = time.thread_time()
            with suppress(LayupError, ValueError):
                run(length)
            best = min(best, time.thread_time() - began)
        return best

    took(10)
    short, long = took(low), took(low * times)
    return long / max(short, 2e-4)


TYPED = [
    "1" * 9,
    " ",
    "1 ",
    "\t",
    "1/",
    "-",
    ".",
    "1.",
    "e",
    "lb ",
    "1 lb ",
    "oz",
    "1 1/2 ",
    "x",
    "a" * 9,
    "(",
    "1e",
    "1,",
    "'",
    "1 x 1 ",
]


@pytest.mark.parametrize("piece", TYPED)
def test_what_a_form_reaches_takes_time_by_its_length(piece: str) -> None:
    """No pattern of a reader blows up on a long text: quadratic would be 64 times as long, this allows for noise."""
    from layup.bench import home
    from layup.laminate.orientation import parse_stack
    from layup.learn.scale import echo, two_sides
    from layup.partfile import edit
    from layup.units import parse, parse_price, parse_ratio

    readers: list[Callable[[str], object]] = [
        lambda text: parse(text, "mass"), lambda text: parse(f"1 {text} m", "length"),
            lambda text: parse_price(text + "x"),
        lambda text: parse_ratio(text), parse_stack, home._stations, lambda text: home._stations(text.replace(" ",
            "\n")),
        home._sides, home.slug, echo, two_sides, lambda text: edit._written("within", text),
        lambda text: edit._tidy(text.replace(" ", "\n")), lambda text: edit._written("angle", text),
        lambda text: edit._written("or", text), lambda text: edit._written("outline", "[" + text),
    ]  # fmt: skip
    for number, reader in enumerate(readers):
        factor = grows(lambda length, reader=reader: reader((piece * length)[:length] + "!"))  # type: ignore[misc]
        if factor > 30:  # a machine that was busy for a moment is asked again
            factor = min(factor, grows(lambda length, reader=reader: reader((piece * length)[:length] + "!")))  # type: ignore[misc]
        assert factor < 30, (number, piece, factor)


@pytest.mark.parametrize("piece", ["\n", " ", "\t\n", "[", "surface", "[surface", "\n[", "[[start"])
def test_a_look_for_part_files_takes_time_by_the_length_of_a_file(shop: Folder, piece: str) -> None:
    (shop.root / "file.toml").unlink()

    def look(length: int) -> None:
        (shop.root / "door.toml").write_text((piece * length)[:length])
        shop.parts()
        shop.refits()

    assert grows(look, 20_000) < 30


def test_a_folder_is_said_without_its_place(shop: Folder) -> None:
    assert shop.plain(f"{shop.root}/sub/a.stl: damaged") == "sub/a.stl: damaged"
    assert shop.plain(f"there is no folder {shop.root}.") == "there is no folder shop."
    assert folder_module.LONGEST == 255


def test_a_surface_is_opened_once_however_many_parts_are_edited_in_turn(tmp_path: Path) -> None:
    """Each copy that an edit leaves behind is a whole mesh in memory."""
    text = (
        'title = "{0}"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\nrectangle = ["{0} mm", "200 mm"]\n'
        '[[ply]]\nfabric = "glass plain 200"\nangle = 0\n'
    )
    names = [f"part-{number}.toml" for number in range(8)]
    for number, name in enumerate(names):
        (tmp_path / name).write_text(text.format(300 + number), encoding="utf-8")
    desk = Desk(Folder(tmp_path))
    first = [desk.sheet(name).surface for name in names]
    for name in names:
        desk.edit(name, "", "turned", lambda text: text.replace("angle = 0", "angle = 45"))
    assert all(desk.sheet(name).surface is opened for name, opened in zip(names, first, strict=True))
