"""A large OBJ file: ours against general-purpose mesh libraries on the same file, side by side, in one run.

The file holds the triangles of an open panel (0.2 M in every run; 1 M, the size of the target, with `-k one_million`),
written with seven digits as CAD programs do. Each reader is timed from the file to arrays of points and faces; then
ours to the measured surface, which the others do not give. The target is to be no slower than the fastest of them. Each
figure is the least of three.

Libraries: trimesh, which the project depends on; meshio, where it is installed.
"""

import importlib.util
import time
from pathlib import Path

import numpy as np
import pytest

from layup.files.read import read_surface
from layup.files.read_obj import read_obj


def write_panel(path: Path, triangles: int) -> tuple[int, int]:
    n = round((triangles / 2) ** 0.5)
    u, v = np.meshgrid(np.linspace(0, 1000, n + 1), np.linspace(0, 700, n + 1), indexing="ij")
    points = np.stack([u, v, 50 * np.sin(u / 200) * np.cos(v / 150)], axis=-1).reshape(-1, 3)
    i = np.arange(1, (n + 1) ** 2 + 1).reshape(n + 1, n + 1)
    a, b, c, d = i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]
    faces = np.stack([a, b, c, a, c, d], axis=-1).reshape(-1, 3)
    with path.open("w") as file:
        file.write("o panel\n")
        np.savetxt(file, points, fmt="v %.7g %.7g %.7g")
        np.savetxt(file, faces, fmt="f %d %d %d")
    return len(points), len(faces)


def least(call, rounds: int = 3):
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        found = call()
        times.append(time.perf_counter() - begin)
    return min(times), found


def compare(tmp_path, capsys, triangles: int) -> float:
    import trimesh

    path = tmp_path / "panel.obj"
    points, faces = write_panel(path, triangles)
    others = {"trimesh": lambda: trimesh.load(path, process=False, maintain_order=True).faces}
    if importlib.util.find_spec("meshio"):
        import meshio

        others["meshio"] = lambda: meshio.read(path).cells_dict["triangle"]
    seconds = {}
    for name, call in others.items():
        seconds[name], found = least(call)
        assert len(found) == faces
    ours, scene = least(lambda: read_obj(path, path.name))
    assert (len(scene.points), len(scene.faces)) == (points, faces)
    whole, surface = least(lambda: read_surface(path, unit="mm"))
    assert surface.whole.triangles == faces
    with capsys.disabled():
        rest = ", ".join(f"{name} {t:.2f} s" for name, t in seconds.items())
        print(
            f"\nOBJ of {faces:,} triangles, {path.stat().st_size / 1e6:.0f} MB: ours {ours:.2f} s "
            f"(to the measured surface {whole:.2f} s), {rest}; "
            f"ours over the fastest of them {ours / min(seconds.values()):.2f}"
        )
    return ours / min(seconds.values())


def test_obj_beside_mesh_libraries(tmp_path, capsys):
    assert compare(tmp_path, capsys, 200_000) < 1.0


def test_obj_of_one_million(tmp_path, capsys, request):
    if "one_million" not in request.config.getoption("keyword"):
        pytest.skip("takes half a minute: ask for it with -k one_million")
    assert compare(tmp_path, capsys, 1_000_000) < 1.0
