"""Safety messages: the signal word follows from harm and likelihood, never from the author's pen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from runner.core.finding import Place

Word = Literal["DANGER", "WARNING", "CAUTION", "NOTICE"]
Harm = Literal["death or serious injury", "minor or moderate injury", "property"]
Outcome = Literal["will", "could"]

ORDER: tuple[Word, ...] = ("DANGER", "WARNING", "CAUTION", "NOTICE")


def signal_word(harm: Harm, outcome: Outcome) -> Word:
    """The word of ANSI Z535.4 (2007, 4.14) and ISO 3864-2 for a harm that will or could come."""
    if harm == "death or serious injury":
        return "DANGER" if outcome == "will" else "WARNING"
    return "CAUTION" if harm == "minor or moderate injury" else "NOTICE"


def highest(words: Iterable[Word]) -> Word:
    """The gravest word of several hazards in one message (ANSI Z535.6)."""
    return min(words, key=ORDER.index)


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A safety message: how to avoid it, the hazard, the consequence, in that order of showing.

    ``name`` is its key in the vocabulary.
    """

    name: str
    hazard: str
    consequence: str
    avoid: str
    harm: Harm
    outcome: Outcome
    place: Place

    @property
    def word(self) -> Word:
        """The derived signal word."""
        return signal_word(self.harm, self.outcome)

    @property
    def own_act(self) -> bool:
        """Whether it is confirmed by an act of its own (warnings and dangers are)."""
        return self.word in ("DANGER", "WARNING")

    @property
    def words(self) -> int:
        """How many words there are to read."""
        return len(f"{self.avoid} {self.hazard} {self.consequence}".split())
