"""Which way the layers lie from the surface that was drawn.

    What the part file says of the mould       parse_mould('female')
    Where the layers lie                       lies(surface, mould, drawn)
    From where the one who lays up sees it     seen(surface, mould)

Layers grow from the tool side: into the hollow of a female mould, off the bulge of a male one. The bulging side of a
surface is the one its normals spread on: the sum over its edges of length times turning angle is positive there.

What no key says is taken from the file, as far as it shows it:

- one side of a thin solid: the laminate is the solid, behind that side, and that side is the tool side;
- the face of a block: the block is the tool, the laminate lies on it;
- a closed surface with all its faces: the laminate lies on the outside, over a plug;
- an open shell: not known. Its winding tells which side was meant to be looked at, not where the layers go.
"""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from layup.errors import SurfaceError
from layup.shape.surface import Surface
from layup.sides.offset import Bend, bend_of
from layup.sides.side import Side, parse_side

MOULDS = 'mould = "female" (the layers lie in its hollow), "male" (they lie over it) or "facing (0, 0, 1)"'
LARGE = 1_000_000
"""From this many faces a mesh is not read again only to say what is not known."""
_FLAT = 1e-6  # a surface is flat that strays from its plane by less than this share of its size
_EVEN = 1e-3  # share of the root of the area below which a surface bulges as much one way as the other
_SLANT = 0.05  # a direction that sees less than this share of the area square on says nothing


@dataclass(frozen=True, eq=False)
class Lies:
    """Where the layers lie.

    Attributes:
        bend: Of the surface.
        sign: 1 where the layers lie on the side a face looks to, else -1, (m,); the bulging side if not known.
        known: Whether that is known.
        tool: Whether the drawn surface is the tool side; else it is the bag side.
        taken: What is taken for want of a word in the part file, for a person; else "".
        doubt: What does not go together, for a person; else "".
    """

    bend: Bend
    sign: NDArray[np.float64]
    known: bool
    tool: bool
    taken: str = ""
    doubt: str = ""


def parse_mould(text: str) -> Side:
    """Read the text of `mould`.

    >>> parse_mould("female").kind
    'female'

    Raises:
        SurfaceError: a text that can't be read, with the choices.
    """
    word = text.strip().casefold()
    if word in ("female", "male"):
        return Side(word, (0.0, 0.0, 0.0), word)
    if word.startswith("facing"):
        return parse_side(text)
    raise SurfaceError(f'mould "{text.strip()}" can\'t be read', f"Write {MOULDS}")


def is_flat(surface: Surface) -> bool:
    """Whether a surface has no height over its own plane, so that nothing moves with the layers' height."""
    second = surface.whole.second_moment
    if second is None:
        return True
    least = max(float(np.linalg.eigvalsh(np.array(second))[0]), 0.0)
    return least <= (_FLAT * surface.whole.area) ** 2


def lies(surface: Surface, mould: str | None, drawn: str | None) -> Lies | None:
    """Where the layers of a part lie from the surface that was drawn.

    Args:
        surface: The surface, its side picked.
        mould: As the part file says it.
        drawn: "tool side" or "bag side", as the part file says it.

    Returns:
        None where height changes no area: a flat surface, or one known only by its area; or where nothing is known and
        the mesh is too large to say what that may come to.

    Raises:
        SurfaceError: a mould that can't be read.
    """
    way = None if mould is None else parse_mould(mould)
    if not surface.has_mesh or is_flat(surface):
        return None
    if way is None and not surface.laminate and surface.whole.triangles > LARGE:
        return None
    bend = bend_of(surface)
    grows, doubt = (None, "") if way is None else _grows(bend, way)
    if surface.laminate == "behind":
        return _within(bend, grows, drawn, doubt)
    taken = ""
    if way is None and surface.laminate:
        grows, taken = _outward(bend, surface)
    tool = drawn != "bag side"
    if grows is None:
        return Lies(bend, bend.bulge, False, tool, "", doubt)
    return Lies(bend, grows if tool else -grows, True, tool, taken, doubt)


@dataclass(frozen=True, eq=False)
class Seen:
    """A surface as the person at the mould sees it: from the bag side.

    Attributes:
        faces: Shape (m, 3), each turned to look at that person; as they were drawn where that is not known.
        known: Whether it is known.
        wanted: What to write in the part file where it is not, a sentence; else "".
    """

    faces: NDArray[np.int64]
    known: bool
    wanted: str

    @property
    def sentences(self) -> tuple[str, ...]:
        """How angles and patterns are to be read, for the head of a paper."""
        if self.known:
            return (SEEN,)
        return (
            "MOULD SIDE NOT SAID: which hand the angles and patterns have is not known, and a ply of the wrong hand is "
            f"scrap. {self.wanted}",
            "Until then + turns anticlockwise (counterclockwise) from the 0° arrow as seen from the side that the "
            "drawn surface faces.",
        )

    @property
    def piece(self) -> tuple[str, str]:
        """Two short lines for each piece of cloth: how it is seen, and which face of it goes where."""
        if self.known:
            return "seen from the bag side, looking at the mould", "this side to the bag, the other side to the mould"
        return "MOULD SIDE NOT SAID: ask before cutting", "seen from the side the drawn surface faces"


SEEN = (
    "Seen from the bag side, looking at the mould: + turns anticlockwise (counterclockwise) from the 0° arrow. Each "
    "pattern lies as it is laid up, this side to the bag, the other side to the mould."
)


_SEEN: WeakKeyDictionary[Surface, dict[str | None, Seen]] = WeakKeyDictionary()


def seen(surface: Surface, mould: str | None) -> Seen:
    """From which side the person who lays up sees a surface, which decides the hand of every angle and pattern.

    Layers grow from the mould towards that person. Nothing is taken from the file here, as `lies` does for an area:
    a ply of the wrong hand is scrap, so where `mould` does not say it the paper asks.

    Raises:
        SurfaceError: a mould that can't be read, or a surface known only by its area.
    """
    kept = _SEEN.setdefault(surface, {})
    if mould not in kept:
        kept[mould] = _seen(surface, mould)
    return kept[mould]


def _seen(surface: Surface, mould: str | None) -> Seen:
    faces = surface.faces
    flat = is_flat(surface)
    facing = (
        'mould = "facing (0, 0, 1)" where the mould\'s face looks along +z, so that who stands at it sees the part as '
        'drawn; "facing (0, 0, -1)" where it looks the other way'
    )
    if mould is None:
        words = facing if flat else f"{MOULDS} in [surface]"
        return Seen(faces, False, f"Write {words}.")
    bend = bend_of(surface)
    grows, doubt = _grows(bend, parse_mould(mould))
    if grows is None or (flat and not mould.strip().casefold().startswith("facing")):
        why = "The surface is flat: it has no hollow" if flat else doubt[:1].upper() + doubt[1:]
        return Seen(faces, False, f"{why}. Write {facing}.")
    corner = surface.vertices[faces]
    drawn = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    away = np.einsum("ij,ij->i", drawn, bend.unit) * grows < 0.0
    turned = faces.copy()
    turned[away] = turned[away][:, ::-1]
    return Seen(turned, True, "")


def ways(surface: Surface) -> tuple[tuple[str, str], ...]:
    """The ways to say where the mould is, each with its words: what `mould` would be, for a page that asks."""
    if not is_flat(surface):
        return ("female", "In a hollow mould"), ("male", "Over a plug")
    corner = surface.vertices[surface.faces]
    drawn = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]).sum(axis=0)
    x, y, z = (drawn / np.linalg.norm(drawn)).round(3) + 0.0
    return (
        (f"facing ({x:g}, {y:g}, {z:g})", "Under it, as drawn"),
        (f"facing ({0.0 - x:g}, {0.0 - y:g}, {0.0 - z:g})", "Over it, mirrored"),
    )


def _grows(bend: Bend, way: Side) -> tuple[NDArray[np.float64] | None, str]:
    """The side that layers grow to from the mould; None with the reason where it does not say."""
    if way.kind == "facing":
        count = int(bend.piece.max()) + 1
        towards = np.bincount(bend.piece, bend.area * (bend.unit @ np.array(way.vector)), count)
        if (np.abs(towards) < _SLANT * np.bincount(bend.piece, bend.area, count)).any():
            return None, f"the surface does not face {way.text.removeprefix('facing ')} nor away from it"
        return np.where(towards < 0.0, -1.0, 1.0)[bend.piece], ""
    total = float((bend.turn * bend.bulge).sum())
    if total < _EVEN * float(np.sqrt(bend.area.sum())):
        return None, 'the surface is as hollow as it bulges, so that mould = "facing (0, 0, 1)" would say more'
    return (bend.bulge if way.kind == "male" else -bend.bulge), ""


def _within(bend: Bend, grows: NDArray[np.float64] | None, drawn: str | None, doubt: str) -> Lies:
    """The laminate is the solid whose side was picked; a mould on its other side makes the picked one the bag side."""
    inward = -np.ones(len(bend.faces))
    agrees = grows is None or float((grows * inward) @ np.abs(bend.turn)) >= 0.0
    if drawn is None:
        taken = "the side picked is taken as the tool side, and the layers lie behind it" if grows is None else ""
        return Lies(bend, inward, True, agrees, taken, doubt)
    tool = drawn == "tool side"
    if grows is not None and tool != agrees:
        doubt = "side, mould and drawn do not go together: the mould would lie inside the solid"
    return Lies(bend, inward, True, tool, "", doubt)


def _outward(bend: Bend, surface: Surface) -> tuple[NDArray[np.float64], str]:
    """The side away from a block, or from the inside of a closed surface."""
    if surface.laminate == "before":
        return np.ones(len(bend.faces)), "the block is taken as the tool, and the layers lie on its face"
    return bend.bulge, "the closed surface is taken as the tool, and the layers lie on its outside"
