"""How well each trait tells one kind from another. Arrays only.

For each trait, `Tell.distributions` holds P(answer | kind, age): how often a look, with its errors, brings
each answer. Everything else follows from these, kinds being equally likely and looks independent:

* one look at one of two fish, a or b: the likelier name is right with probability
  ``1/2 + 1/4 sum_x |P(x|a) - P(x|b)|``; of k kinds, ``sum_x max_t P(x|t) / k``
  (the Bayes rule and its error: Devroye, Gyorfi & Lugosi 1996, A Probabilistic Theory of Pattern
  Recognition, ch. 2);
* several looks: the same over the joint answers;
* the whole table at once: the Bhattacharyya coefficient ``sum_x sqrt(P(x|a) P(x|b))``, 1 where two kinds
  give the same answers, multiplied over the groups of traits. Half of it is the most that the chance of a
  mix-up can be (Bhattacharyya 1943, Bull. Calcutta Math. Soc. 35:99-109; Kailath 1967, IEEE Trans. Commun.
  Technol. 15:52-60). Of a group, whose traits repeat one another, the trait that tells best counts.

A blank cell says nothing: the two are as alike as before. Where a trait does not apply to a kind, a look
finds nothing to answer, and an answer is an error of observation, as `evidence` has it; that there is nothing
to answer is no news beside the trait it depends on (spots, beside the pattern), and counts as one with it.

Numbers are taken on a grid of `POINTS`, which can only make kinds look a little more alike than they are. The
length of a young fish tells nothing, since every kind was once as short.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from idkey.errors import IdkeyError, one_of
from idkey.model.combine import model_of
from idkey.model.evidence import number_grid
from idkey.model.expected import adult_lengths, expected_numbers
from idkey.table.schema import LIFE_STAGES, Trait
from idkey.table.table import Column, TraitTable

__all__ = ["HEARSAY", "POINTS", "Tell"]

HEARSAY = frozenset({"basin"})
"""Traits that are not seen on the fish but told by the seller: no look, so not among the looks."""
POINTS = 64
"""Numbers that stand for all that a measure or a length may come out at."""


class Tell:
    """What a look at each trait of a table is worth between any two kinds.

    Parameters
    ----------
    table : TraitTable

    Attributes
    ----------
    table : TraitTable
    traits : tuple of Trait
        In the order of the table.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> Tell(TraitTable.from_frame(frame, taxon="kind")).right("tail", 0, 1).item()
    0.975
    """

    def __init__(self, table: TraitTable):
        self.table = table
        self.traits = table.traits
        self._model = model_of(table)
        self._found: dict[tuple[str, str], np.ndarray] = {}

    # -- one trait ------------------------------------------------------------------------------

    def distributions(self, trait_id: str, stage: str = "adult") -> np.ndarray:
        """P(answer | kind) for one trait.

        Parameters
        ----------
        trait_id : str
        stage : {"adult", "young"}

        Returns
        -------
        ndarray, shape (n_answers, n_taxa)
            Taxa in the order of the table; columns sum to 1. Where the trait does not apply to some kind, the
            last row is "there is nothing to answer". The column of a blank cell is the mean of those known.

        Raises
        ------
        UnknownName
            No such trait.
        IdkeyError
            No such stage.
        """
        key = trait_id, _checked(stage)
        if key not in self._found:
            found = self._with_nothing_there(
                self.table.trait(trait_id), self._given(*key), self._column(*key)
            )
            found.setflags(write=False)
            self._found[key] = found
        return self._found[key]

    def _column(self, trait_id: str, stage: str) -> Column:
        return self.table.column(trait_id, young=stage == "young")

    def _given(self, trait_id: str, stage: str) -> np.ndarray:
        """P(answer | kind) where the trait applies, columns summing to 1, in the order of the table."""
        model = self._model.models[trait_id]
        if model.trait.has_states:
            given = model.states_young if stage == "young" else model.states_adult
        else:
            grid = number_grid(model, POINTS)
            if model.trait.kind == "ceiling":
                given = adult_lengths(model, grid)
                given = np.full_like(given, 1 / len(grid)) if stage == "young" else given
            else:
                given = expected_numbers(model, grid)[stage == "young"]
        given = self._model.to_table_order(given)[:, :-1]
        return given / given.sum(axis=0)

    @staticmethod
    def _with_nothing_there(trait: Trait, given: np.ndarray, column: Column) -> np.ndarray:
        absent = ~column.applies
        if not absent.any():
            return given
        nothing = np.where(absent, 1 - trait.error, 0.0)
        answers = np.where(absent, trait.error / len(given), given)
        return np.vstack([answers, nothing])

    def known(self, trait_id: str, stage: str = "adult") -> np.ndarray:
        """Whether a look at a fish of this age says something about each kind, shape (n_taxa,).

        True where the cell is not blank, "does not apply" included; for young fish False for a length, and
        for a trait that needs an adult unless its young are described.
        """
        if self.table.trait(trait_id).kind == "ceiling" and _checked(stage) == "young":
            return np.zeros(len(self.table), dtype=bool)
        column = self._column(trait_id, stage)
        return column.known | ~column.applies

    def right(
        self, trait_id: str, a: int | np.ndarray, b: int | np.ndarray, stage: str = "adult"
    ) -> np.ndarray:
        """Chance that one look at this trait gives the right one of two kinds.

        Parameters
        ----------
        trait_id : str
        a, b : int or ndarray of int, shape (n_pairs,)
            Positions in the table.
        stage : {"adult", "young"}

        Returns
        -------
        ndarray, shape (n_pairs,) or ()
            1/2 (a guess) to 1; 1/2 where the cell of either is blank.
        """
        p, known = self.distributions(trait_id, stage), self.known(trait_id, stage)
        apart = np.abs(p[:, a] - p[:, b]).sum(axis=0)
        return np.where(known[a] & known[b], 0.5 + 0.25 * apart, 0.5)

    # -- several traits -------------------------------------------------------------------------

    def mix_up(self, trait_ids: Sequence[str], taxa: Sequence[int], stage: str = "adult") -> float:
        """Chance that a fish of one of these kinds is named wrongly after these looks.

        Parameters
        ----------
        trait_ids : sequence of str
            At most three or so: every joint answer is gone through. None leaves a guess, ``1 - 1/k``.
        taxa : sequence of int, shape (k,)
            Positions in the table, all different; each kind is as likely as the others.
        stage : {"adult", "young"}

        Returns
        -------
        float
            0 to ``1 - 1/k``. A trait that is blank for one of the kinds contributes nothing.
        """
        at = list(taxa)
        joint = np.ones((1, len(at)))
        for trait_id in trait_ids:
            if self.known(trait_id, stage)[at].all():
                one = self.distributions(trait_id, stage)[:, at]
                joint = (joint[:, None, :] * one[None, :, :]).reshape(-1, len(at))
        return max(0.0, 1.0 - float(joint.max(axis=1).sum()) / len(at))

    def group(self, trait_id: str, taxa: Sequence[int] = (), stage: str = "adult") -> tuple[str, str]:
        """Return what this trait is one with; two traits of one group are not two looks.

        Parameters
        ----------
        trait_id : str
        taxa : sequence of int
            If the trait does not apply to some of these, it is one with the trait that it depends on.
        stage : {"adult", "young"}
        """
        if not self._column(trait_id, stage).applies[list(taxa)].all():
            trait_id = self._depends_on(trait_id)
        group = self.table.trait(trait_id).group
        return ("group", group) if group else ("trait", trait_id)

    def _depends_on(self, trait_id: str) -> str:
        """Return the trait that decides whether this one applies, itself where there is none."""
        seen = {trait_id}
        while (rule := self.table.trait(trait_id).applies_when) is not None:
            if rule[0] in seen or rule[0] not in self.table.trait_ids:
                break
            trait_id = rule[0]
            seen.add(trait_id)
        return trait_id

    # -- the whole table ------------------------------------------------------------------------

    def affinity(self, stage: str = "adult") -> np.ndarray:
        """How alike the kinds are by all that can be seen on the fish; what the seller says is left out.

        Parameters
        ----------
        stage : {"adult", "young"}

        Returns
        -------
        ndarray, shape (n_taxa, n_taxa)
            0 (never mixed up) to 1; symmetric, 1 on the diagonal. Half of it is the most that the chance of a
            mix-up of the two can be after the best look of each group.
        """
        n = len(self.table)
        by_group: dict[tuple[str, str], np.ndarray] = {}
        for trait in self.traits:
            if trait.id in HEARSAY:
                continue
            known = self.known(trait.id, stage)
            if known.sum() < 2:
                continue
            root = np.sqrt(self.distributions(trait.id, stage))
            alike = root.T @ root
            alike[~known] = 1.0
            alike[:, ~known] = 1.0
            own = by_group.setdefault(self.group(trait.id), np.ones((n, n)))
            absent = np.flatnonzero(~self._column(trait.id, stage).applies)
            if len(absent):
                other = by_group.setdefault(self.group(trait.id, absent[:1], stage), np.ones((n, n)))
                other[absent] = np.minimum(other[absent], alike[absent])
                other[:, absent] = np.minimum(other[:, absent], alike[:, absent])
                if other is not own:
                    alike[absent] = 1.0
                    alike[:, absent] = 1.0
            np.minimum(own, alike, out=own)
        found = np.ones((n, n))
        for alike in by_group.values():
            found *= alike
        # Only rounding differs between a, b and b, a.
        found = np.clip((found + found.T) / 2, 0.0, 1.0)
        np.fill_diagonal(found, 1.0)
        return found


def _checked(stage: str) -> str:
    if stage not in LIFE_STAGES:
        msg = f"stage: {stage!r}: {one_of(stage, LIFE_STAGES)}"
        raise IdkeyError(msg)
    return stage
