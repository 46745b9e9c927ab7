"""What is odd about a mesh, counted, with its effect on the area.

    Faces that are there twice               duplicates(points, faces)
    What is odd, in words                    seams_found, pieces_found, winding_found, edges_found
    The verdict on a wreck                   in_doubt(points, faces)
    A size that hints at a wrong unit        odd_size(box, unit)

Only two things are put right: a face that is there twice is counted once, and faces without area are passed over.
The rest is shown, for the person who drew the part to judge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layup.shape.loops import Loop, loops_of
from layup.shape.measure import Box, Vector
from layup.shape.nearest import nearest_points
from layup.shape.scan import MIX
from layup.shape.surface import Finding
from layup.shape.topology import Faces, Points, edge_keys, edges_of, normals, pieces, sums
from layup.words import plain

_LARGE, _SMALL = 12.0, 0.03  # a hand-made part is seldom longer or shorter than this [m]
_STRAY = 0.02  # a piece with less than this share of the largest one's area is stray
_SHOWN = 6
_MIX = tuple(np.uint64(number) for number in MIX)
_OTHERS = (("mm", 1e-3), ("cm", 1e-2), ("in", 0.0254), ("ft", 0.3048), ("m", 1.0))


def duplicates(points: Points, faces: Faces) -> tuple[NDArray[np.bool_], Finding | None]:
    """Which faces to keep so that every set of three corners is there once, and how many are left out.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).

    Returns:
        Mask over the faces, and the finding; None when no face is double.
    """
    keep = np.ones(len(faces), dtype=bool)
    low, high = faces.min(axis=1), faces.max(axis=1)
    with np.errstate(over="ignore"):
        key = low.astype(np.uint64) * _MIX[0] ^ (faces.sum(axis=1) - low - high).astype(np.uint64) * _MIX[1]
        key = (key ^ (key >> np.uint64(29))) * _MIX[2] ^ high.astype(np.uint64)
    ordered = np.sort(key)
    if not (ordered[1:] == ordered[:-1]).any():
        return keep, None
    order = np.argsort(key, kind="stable")
    row = np.sort(faces[order], axis=1)
    again = np.r_[False, (row[1:] == row[:-1]).all(axis=1)]
    drop = order[again & (row[:, 0] != row[:, 1]) & (row[:, 1] != row[:, 2])]
    if not len(drop):
        return keep, None
    keep[drop] = False
    area = float(normals(points, faces[drop])[1].sum())
    text = f"{len(drop):,} faces are in the file more than once ({plain(area, 4)} m^2); each is counted once"
    return keep, Finding("duplicate", len(drop), text, -area)


def winding_found(count: int, area: float) -> list[Finding]:
    """Faces that disagree with their neighbours in words; none of them means that there is a twist. [-, m^2]"""
    if not count:
        return [Finding("one-sided", 1, "the surface has a twist: it has no two sides to tell apart", 0.0)]
    text = f"{count:,} faces ({plain(area, 4)} m^2) look the other way than their neighbours; the area is the same"
    return [Finding("flipped", count, text, 0.0)]


def of_open_shell(points: Points, faces: Faces) -> list[Finding]:
    """Seams and pieces of a small open shell whose doubles are gone, without a compiled pass: they take time to load.

    Args:
        points: Shape (n, 3). [m]
        faces: Shape (m, 3).
    """
    edges, owner = edges_of(faces)
    keys = edge_keys(edges)
    order = np.argsort(keys, kind="stable")
    begin = np.flatnonzero(np.r_[True, keys[order][1:] != keys[order][:-1]])
    many = edges[order[begin[np.diff(np.r_[begin, len(keys)]) > 2]]]
    same = np.flatnonzero(keys[order][1:] == keys[order][:-1])
    count, piece = pieces(len(faces), np.column_stack([owner[order[same]], owner[order[same + 1]]]))
    length = float(np.linalg.norm(points[many[:, 0]] - points[many[:, 1]], axis=1).sum())
    return seams_found(len(many), length) + pieces_found(sums(piece, normals(points, faces)[1], count))


IN_DOUBT = 0.01
"""Share of the area that may or may not be the part's from which a mesh gets a verdict; half of what any area is
trusted to. [-]"""
_AT_THE_RIM = 1.25  # faces that are missing at the outer edge leave no gap
_GAP, _GAPS, _FINE, _PARALLEL = 8, 10, 500, 0.9  # edges of a gap; where there are so many gaps, three times as many


def in_doubt(points: Points, faces: Faces) -> Finding | None:
    """The verdict on a mesh that hangs together badly: how much of its area may not be the part's, or be missing.

    Counted are stray pieces, the smallest sheet at each seam of more than two, half of what lies over each other, and
    gaps of a few edges in a fine mesh. Cut-outs are none: they are long for the faces round them.

    Args:
        points: Of an open shell, shape (n, 3). [m]
        faces: Shape (m, 3).
    """
    edges, owner = edges_of(faces)
    keys = edge_keys(edges)
    order = np.argsort(keys, kind="stable")
    begin = np.flatnonzero(np.r_[True, keys[order][1:] != keys[order][:-1]])
    many = np.diff(np.r_[begin, len(keys)])
    tied = np.flatnonzero(keys[order][1:] == keys[order][:-1])
    count, piece = pieces(len(faces), np.column_stack([owner[order[tied]], owner[order[tied + 1]]]))
    seams = np.flatnonzero(many > 2)
    free = order[begin[many == 1]]
    inner = [loop for loop in loops_of(points, edges[free], piece[owner[free]]) if not loop.outer]
    if len(faces) < _FINE or min((len(loop.edges) for loop in inner), default=_GAP + 1) > _GAP:
        inner = []
    if count == 1 and not len(seams) and not inner:
        return None
    unit, area = normals(points, faces)
    step = np.linalg.norm(points[edges[:, 1]] - points[edges[:, 0]], axis=1)
    edge, whole = float(np.median(step)), float(area.sum())
    size = sums(piece, area, count)
    stray = size < _STRAY * size.max()
    much: dict[str, float] = {"stray pieces": float(size[stray].sum())}
    if len(seams):
        two = order[begin[many == 2]], order[begin[many == 2] + 1]
        parts, part = pieces(len(faces), np.column_stack([owner[two[0]], owner[two[1]]]))
        of_part = sums(part, area, parts)
        meet = [np.unique(part[owner[order[a : a + n]]]) for a, n in zip(begin[seams], many[seams], strict=True)]
        least = {int(names[np.argmin(of_part[names])]) for names in meet if len(names) > 1}
        much["sheets that hang on seams"] = float(of_part[list(least)].sum())
    if np.count_nonzero(~stray) > 1:
        much["faces over each other"] = _over(points, faces, piece, edge, unit, area)
    gaps = 0.0
    some = [loop for loop in inner if loop.length <= 2.0 * edge * len(loop.edges)]
    longest = _GAP if sum(len(loop.edges) <= _GAP for loop in some) < _GAPS else 3 * _GAP
    for loop in some:
        if len(loop.edges) <= longest:
            a, b = (points[loop.edges[:, k]] - np.array(loop.middle) for k in (0, 1))
            gaps += 0.5 * float(np.linalg.norm(np.cross(a, b).sum(axis=0)))
    gaps *= _AT_THE_RIM
    most = max(sum(much.values()), gaps)
    if most < IN_DOUBT * whole:
        return None
    said = ", ".join(f"{name} {value / whole:.1%}" for name, value in much.items() if value > 0.0005 * whole)
    lost = f"what may be missing: gaps of a few faces {gaps / whole:.1%}" if gaps > 0.0005 * whole else ""
    text = (
        f"a mesh to be mended: its area is in doubt by {most / whole:.1%}, and the limits are as wide as that ("
        + "; ".join(word for word in (f"what may not be the part's: {said}" if said else "", lost) if word)
        + "). Mend it where it was made; if you know better, write area_tolerance under [surface]"
    )
    return Finding("doubt", 1, text, most)


def _over(
    points: Points, faces: Faces, piece: NDArray[np.int64], edge: float, unit: Points, area: NDArray[np.float64]
) -> float:
    """Half the area of faces of one piece that have a face of another right over them, nearer than half an edge."""
    from scipy.spatial import cKDTree

    middle = points[faces].mean(axis=1)
    pairs = cKDTree(middle).query_pairs(edge, output_type="ndarray")
    pairs = pairs[piece[pairs[:, 0]] != piece[pairs[:, 1]]]
    pairs = np.concatenate([pairs, pairs[:, ::-1]])
    mine, other = pairs.T
    feet = nearest_points(points, faces[other], middle[mine])
    off = feet - middle[mine]
    away = np.linalg.norm(off, axis=1)
    straight = np.abs(np.einsum("ij,ij->i", off, unit[mine])) >= _PARALLEL * away
    level = np.abs(np.einsum("ij,ij->i", unit[mine], unit[other])) > _PARALLEL
    found = np.unique(mine[straight & level & (away < 0.5 * edge)])
    return 0.5 * float(area[found].sum())


def seams_found(count: int, length: float) -> list[Finding]:
    """The edges of more than two faces in words: how many, and their length. [-, m]"""
    if not count:
        return []
    text = (
        f"{count:,} edges with more than two faces, {plain(length * 1e3, 4)} mm in all: a rib or a flange that was "
        "left on, or faces inside the part; they count in the area"
    )
    return [Finding("seam", count, text, 0.0)]


def pieces_found(area: NDArray[np.float64]) -> list[Finding]:
    """Pieces that don't touch in words, from the area of each. [m^2]"""
    flat = area <= 0.0
    small = (area < _STRAY * area.max()) & ~flat
    out = []
    large = int(np.count_nonzero(~small & ~flat))
    if large > 1:
        sizes = ", ".join(f"{plain(a, 4)}" for a in np.sort(area[~small & ~flat])[::-1][:_SHOWN])
        more = ", ..." if large > _SHOWN else ""
        out.append(Finding("pieces", large, f"{large} pieces that don't touch ({sizes}{more} m^2); all count", 0.0))
    if small.any():
        number, part = int(small.sum()), float(area[small].sum())
        text = f"{number:,} stray pieces, {part * 1e4:.3g} cm^2 in all, far smaller than the part; they count as area"
        out.append(Finding("stray", number, text, part))
    return out


def edges_found(loops: tuple[Loop, ...]) -> list[Finding]:
    """The free edges in words: which is taken as the outer one, and the cut-outs by number."""
    outer, holes = [loop for loop in loops if loop.outer], [loop for loop in loops if not loop.outer]
    out = []
    if outer:
        length = ", ".join(f"{_mm(loop.length)}" for loop in outer[:_SHOWN]) + (", ..." if len(outer) > _SHOWN else "")
        word = "outer edge" if len(outer) == 1 else f"{len(outer)} outer edges"
        text = f"{word}, {length} round: the longest free edge of its piece"
        out.append(Finding("outer edge", len(outer), text, 0.0))
    if holes:
        shown = "; ".join(f"{n}: {_mm(h.length)} round at {_at(h.middle)}" for n, h in enumerate(holes[:_SHOWN], 1))
        more = "; ..." if len(holes) > _SHOWN else ""
        word = "1 hole" if len(holes) == 1 else f"{len(holes)} holes"
        text = f"{word}, cut-outs by number: {shown}{more}; if one is a gap of the mesh, its area is missing"
        out.append(Finding("hole", len(holes), text))
    return out


def odd_size(box: Box | None, unit: str) -> Finding | None:
    """A part so long or so short that its unit is likely wrong.

    Args:
        box: Lowest and highest corner. [m]
        unit: The unit that was used, for the text.
    """
    if box is None:
        return None
    size = float(np.max(np.subtract(box[1], box[0])))
    if _SMALL <= size <= _LARGE:
        return None
    factor = dict(_OTHERS).get(unit.strip().casefold())
    likely = [
        f'in "{word}" it would be {_mm(size / factor * other)}'
        for word, other in _OTHERS
        if factor and other != factor and 0.1 <= size / factor * other <= 6.0
    ]
    word = "long" if size > _LARGE else "small"
    hint = f"; {' and '.join(likely[:2])}" if likely else ""
    text = f"the part is {_mm(size)} at most, very {word} for a hand-made part: is its unit right?{hint}"
    return Finding("unit", 1, text)


def _mm(length: float) -> str:
    return f"{length * 1e3:,.4g} mm" if length < 10.0 else f"{length:,.4g} m"


def _at(place: Vector) -> str:
    return "(" + ", ".join(f"{plain(round(v * 1e3, 3) + 0.0, 4)}" for v in place) + ") mm"
