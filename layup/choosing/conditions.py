"""For what heat, water and knocks a strength stands, and how much of it counts in the place where the part is.

- What counts of strengths there?                      `strength_left`
- The same in a line for a person, and its sources?    `words`, `figures`
- Where is the resin too soft to count on at all?      `too_soft`

The part file says the place: `near`, `holds_person`. Shares multiply, on top of the process's `strength_left`, which
stands for the hand, waviness and voids, and of the scatter between coupons (`layup.laminate.elastic.COUPONS`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from layup.laminate.strength import wet_and_hot_share, wet_glass_transition
from layup.materials import Material
from layup.partfile.job import Job
from layup.partfile.model import Part
from layup.sources import Figure
from layup.words import temperature_words


@dataclass(frozen=True, slots=True)
class Place:
    """Where a part may be, and what that takes.

    Attributes:
        words: For a person.
        holds: Whether the part file says so.
        share: Of strengths and of a core's figures that counts there. [-]
        hot: How hot it gets; None where that is not what takes strength. [K]
        source: A key of sources.toml.
        at: Where, or why.
    """

    words: str
    holds: Callable[[Part], bool]
    share: float
    hot: float | None
    source: str
    at: str

    @property
    def figure(self) -> Figure:
        """The share as a row of a table."""
        return Figure(
            material=self.words,
            property="strength_left",
            value=self.share,
            printed=f"{self.share:g}",
            kind="assumed",
            source=self.source,
            at=self.at,
            low=self.share,
            high=self.share,
        )


PLACES = (
    Place("beside an engine", lambda p: "engine" in (p.near or []), 0.6, 363.15, "common-practice",
          "heat and water on a resin that cured cold; the true share is the resin's"),
    Place("dark in the sun", lambda p: "dark in the sun" in (p.near or []), 0.67, 363.15, "cs-vla-619",
          "special factor 1.5 where strength was tested without heat and water"),
    Place("where it holds somebody", lambda p: bool(p.holds_person), 0.8, None, "common-practice",
          "knocks that nobody sees; the true share is the blow's"),
)  # fmt: skip
"""What each place takes; in docs/choosing.md as a table."""
SHADE = 327.15
"""To which gliders are shown to be strong enough: 54 degC (CS-22, from memory). [K]"""


def _here(job: Job) -> list[Place]:
    return [place for place in PLACES if place.holds(job.part)]


def strength_left(job: Job) -> float:
    """Share of strengths that counts in the place where the part file says that the part is. [-]"""
    share = 1.0
    for place in _here(job):
        share *= place.share
    return share


def figures(job: Job) -> list[Figure]:
    """The shares of this part's places, each with its source."""
    return [place.figure for place in _here(job)]


def _transition(job: Job) -> tuple[Material, float] | None:
    """The part's resin and where it softens, dry; None where no table says. [K]"""
    if not job.part.resin:
        return None
    resin = job.library.get("resin", job.part.resin)
    found = resin.optional("glass_transition")
    return None if found is None else (resin, found.value)


def words(job: Job) -> str:
    """For what heat, water and knocks the strengths are, in a line."""
    said = "Strength is for room temperature, dry, undamaged"
    taken = [f"{place.words} {place.share:.0%} of it counts" for place in _here(job)]
    if taken:
        return f"{said}; {', '.join(taken)} (the shares are a table of docs/choosing.md)."
    known = _transition(job)
    if known is None:
        return f"{said}."
    left = wet_and_hot_share(known[1], SHADE)
    takes = "takes all" if left <= 0 else f"leaves {left:.0%}"
    return (
        f"{said}: {temperature_words(SHADE, 'both')} and wet {takes} of what its resin carries "
        "(compression, shear, across the fibres; NASA TM-83320, from memory), post-cured as its glass transition asks. "
        'Where it gets hot, write near = "dark in the sun", or "engine".'
    )


def too_soft(job: Job) -> list[str]:
    """Places of this part where its resin is soft when wet, so that no share of its strength can be counted on."""
    known, said = _transition(job), []
    for place in _here(job):
        if known is None or place.hot is None:
            continue
        wet = wet_glass_transition(known[1])
        if wet < place.hot:
            said.append(
                f"{place.words[0].upper()}{place.words[1:]}, at {temperature_words(place.hot, 'both')}, "
                f"{known[0].name} is past where it softens when wet, {temperature_words(wet, 'both')} (NASA TM-83320, "
                "from memory): the share above is no proof. Use a resin that stands the heat, cured hot, and test it."
            )
    return said
