"""Named groups of faces: a mask over the faces for each name, worked out when it is asked for.

A CAD export may put every face in a group of its own. Ten thousand masks over a million faces would be ten thousand
million bytes; kept is only the group of each face, as a number.

    Groups of a file                    Grouped(len(faces), [(number, names)])
    Those of some of the faces          groups.kept(rows)
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
Numbers = NDArray[np.int64]


class Grouped(Mapping[str, Mask]):
    """Masks over faces by name, without those that hold no face.

    A face may be in one group of each level: its object and its group, its body and its face.
    """

    def __init__(self, count: int, levels: Sequence[tuple[Numbers, Sequence[str]]] = ()) -> None:
        """`levels` holds a number for each face, -1 for none, and the names that the numbers stand for."""
        self.count = count
        self.levels = [(np.asarray(number, dtype=np.int64), tuple(names)) for number, names in levels]
        places: dict[str, list[tuple[int, int]]] = {}
        for level, (number, names) in enumerate(self.levels):
            held = np.zeros(len(names), dtype=bool)
            held[number[number >= 0]] = True
            for place in np.flatnonzero(held).tolist():
                if names[place]:
                    places.setdefault(names[place], []).append((level, place))
        self.places = places

    def __getitem__(self, word: str) -> Mask:
        mask = np.zeros(self.count, dtype=bool)
        for level, place in self.places[word]:
            mask |= self.levels[level][0] == place
        return mask

    def __iter__(self) -> Iterator[str]:
        return iter(self.places)

    def __len__(self) -> int:
        return len(self.places)

    def __contains__(self, word: object) -> bool:
        return word in self.places

    def kept(self, rows: Mask | Numbers) -> Grouped:
        """The groups of some of the faces.

        Args:
            rows: A mask over the faces, or their numbers, also more than once.
        """
        levels = [(number[rows], names) for number, names in self.levels]
        count = len(levels[0][0]) if levels else int(np.count_nonzero(rows)) if rows.dtype == bool else len(rows)
        return Grouped(count, levels)
