"""What a search found, and what may be promised of it.

Plain data; the search itself is ``search``.
"""

from __future__ import annotations

from dataclasses import dataclass

from weavecolor.decide.judged import Evaluation
from weavecolor.decide.tradeoff import Cloud
from weavecolor.decide.wishes import Wish
from weavecolor.scene.scene import Scene


@dataclass(frozen=True)
class Guarantee:
    """What is promised of the first option, and of those after it.

    ``complete``: every allowed stack was screened; ``proven``: and none that is left could be
    better if the screening errs by at most ``bound`` (loss points). ``margin``: how far the next
    stack not worked out lies behind the best, by screening. ``worst_error``: the largest error
    seen, over ``checked`` stacks worked out both ways. ``stopped`` by the user. ``screened``: how
    many stacks were computed, ``bounded`` how many a proved bound showed to be further from the
    wish than the best ones, ``ruled_out`` how many the limits do not allow. ``sure``: how many of
    the ``listed`` options, from the first, none that was not worked out could beat if the screening
    errs by at most ``bound``.
    """

    complete: bool
    proven: bool
    bound: float
    margin: float
    worst_error: float
    checked: int
    screened: int
    stopped: bool
    bounded: int = 0
    ruled_out: int = 0
    sure: int = 0
    listed: int = 0

    @property
    def decided(self) -> int:
        """Stacks that were computed or bounded away."""
        return self.screened + self.bounded

    @property
    def words(self) -> str:
        """The promise as sentences."""
        every = self.complete and not self.stopped and self.decided == self.listed
        if self.stopped:
            said = f"Stopped early: the best of {self.screened} stacks looked at so far."
        elif self.complete:
            looked = f"All {self.decided} stacks were looked at."
            said = "There are no others." if every else looked
            if self.bounded:
                said = (
                    f"All {self.decided} stacks were decided: {self.screened} computed, "
                    f"{self.bounded} bounded away, each shown to be further from what is wanted "
                    "than all that were kept."
                )
        else:
            said = (
                f"{self.screened} stacks were looked at; the deepest ones only under the best "
                "outer layers, so a better one may have been missed."
            )
        if self.ruled_out and self.complete and not self.stopped:
            said += f" {self.ruled_out} more were ruled out by the limits."
        if every:
            return said
        tested = f"{self.checked} worked out in full differed by at most {self.worst_error:.2f}"
        if self.proven:
            several = f"the rest beats the first {self.sure}"
            best = several if self.sure > 1 else "the rest is better"
            later = ""
            if self.sure < self.listed:
                places = f"Places {self.sure + 1} to {self.listed}"
                if self.sure + 1 == self.listed:
                    places = f"Place {self.listed}"
                later = (
                    f" {places} may be beaten, within that error, by a stack that was only "
                    "looked at quickly."
                )
            return (
                f"{said} None of {best} unless the quick look errs by more than {self.bound:.2f} "
                f"({tested}).{later}"
            )
        return (
            f"{said} Not every close one was worked out in full: one may be better if the quick "
            f"look errs by more than {max(self.margin, 0.0):.2f} ({tested})."
        )


@dataclass(frozen=True, eq=False)
class SearchResult:
    """The result of ``search.search``.

    ``options``: truly different ones, best first. ``too_little_cloth``: options that would stand
    before the first one, but the cloth in hand is not enough. ``cloud``: screened stacks for the
    trade-off chart. ``worked_out``: every stack evaluated by the full model, best first.
    """

    options: tuple[Evaluation, ...]
    too_little_cloth: tuple[Evaluation, ...]
    guarantee: Guarantee
    cloud: Cloud
    worked_out: tuple[Evaluation, ...]
    wishes: tuple[Wish, ...]
    scenes: tuple[Scene, ...]

    @property
    def lying(self) -> str:
        """How the cloth was judged that hangs in folds, "" of cloth held flat."""
        if not any(scene.views for scene in self.scenes):
            return ""
        return "Judged as it hangs, in folds; hiding and the shot effect of cloth held flat."

    @property
    def lack(self) -> str:
        """What to say, with what to do, where no stack has enough cloth; "" where one has."""
        if self.options:
            return ""
        return (
            "No stack that the limits allow has enough cloth in hand. Allow fewer layers or other "
            "grains, bring more cloth, or make the pieces smaller."
        )
