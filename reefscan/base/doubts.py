"""What a place might be instead of ground to set beside: one row a doubt.

A doubt is one row here, and its judge: a function ``likeness(stations, cell_m)`` in ``reefscan/doubts/<judge>.py``. Columns, the
term of the recipe that lowers the score, flags and words are made from the row. One stays only while a bench shows that it gains more
than it costs on ground that it was not set on (``scripts/bench_doubts.py``).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Doubt:
    """One row.

    Attributes
    ----------
    judge : str
        Module of `reefscan.doubts` that judges it; the column of the candidate table is that name with ``_like``.
    about : str
        What the column says, for a reader of the file.
    looks_like : str
        What the place may be instead, as said to a reader.
    flag : str
        What a listed site is flagged with where it is more likely than not.
    costs : str
        What lowers the score, as named in the reasons.
    note : str
        The comment in the written recipe.
    full, none : float
        Likeness up to which the score is kept, and from which the whole weight is lost.
    weight : float
        Share of the score that is lost at most.
    """

    judge: str
    about: str
    looks_like: str
    flag: str
    costs: str
    note: str
    full: float
    none: float
    weight: float

    @property
    def column(self) -> str:
        """Column of the candidate table that holds the likeness, 0 to 1."""
        return f"{self.judge}_like"

    @property
    def term(self) -> str:
        """Name of the term in the recipe."""
        return f"not_{self.judge}"


DOUBTS: tuple[Doubt, ...] = (
    Doubt(
        judge="ruled",
        about="how far it is straight, even and regular together, as cuts and survey seams are",
        looks_like="a dredged cut or a seam between two surveys",
        flag="looks-ruled",
        costs="a course as straight and even as if ruled",
        note="straight, even and regular together: a dredged cut, or a seam between two surveys (set on planted seabeds)",
        full=0.3,
        none=0.9,
        weight=0.3,
    ),
    Doubt(
        judge="pasted",
        about="how far it is one cell wide and straight along the rows or columns of the grid, as the edge of a patch of other data is",
        looks_like="the edge of a patch of other data",
        flag="looks-pasted",
        costs="a step along the grid's own rows or columns",
        note="one cell wide and straight along rows or columns: the edge of a patch of other data (set on planted seabeds)",
        full=0.3,
        none=0.9,
        weight=0.9,
    ),
)
