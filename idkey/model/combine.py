"""The prior, and the evidence of many answers: log-likelihoods of all specimens against all taxa.

Answers to different traits are independent given the taxon and the age of the fish, so their log-likelihoods
add up. Traits of one group repeat one another (tooth form and tooth counts, say): of the answers in a group
only the one that says most about a taxon counts for that taxon. What an answer says is its log-likelihood
ratio against a stranger of no genus of the table; an answer that says nothing about a taxon takes nothing
away from one that does, and a trait copied leaves every score as it was.

Everything is computed with the taxa sorted by id and the traits sorted by id, so that the order of the
table changes no bit of a result.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from functools import reduce, wraps
from numbers import Real
from typing import Any, Literal, TypeVar

import numpy as np
from scipy.sparse import csr_array
from scipy.special import expit

from idkey.arguments import shown
from idkey.errors import IdkeyError, UnknownName, one_of
from idkey.model.answers import Coded
from idkey.model.evidence import STAGE_ERROR, TraitModel, record_edges
from idkey.table.fields import MOST
from idkey.table.names import every
from idkey.table.schema import NONE
from idkey.table.table import Column, TraitTable

_T = TypeVar("_T")

_SAID = np.array([[1.0, 1.0], [1 - STAGE_ERROR, STAGE_ERROR], [STAGE_ERROR, 1 - STAGE_ERROR]])
"""P(what was said of the age | adult, young): nothing, adult, young."""

OF_A_GENUS = 0.95
"""Share of strangers that belong to a genus of the table, each as likely as any other: chosen by holding back
each kind and each genus in turn (`tests/benchmarks/strangers.py`)."""

_BLOCK = 512
"""Specimens at a time: the arrays of a block stay in the processor's cache."""

Prior = Literal["commonness", "uniform"] | Mapping[Any, Any] | Collection[Any] | None

COMMONNESS_WEIGHT = {"common": 3.0, "occasional": 1.0, "rare": 1.0 / 3.0}
"""Common to rare is 9 : 1, less than one clear answer (judgement: two clear answers must overturn it)."""
NAMED_WEIGHT = 9.0
"""What a name on the invoice counts more: labels are often wrong (judgement)."""
NONE_PRIOR = 0.05
"""Share of fish that are none of the kinds in the table, unless told otherwise (judgement)."""
COVERAGE = 0.95
"""Posterior that the names still possible hold together, unless told otherwise; a name with it is settled."""
LEAST_SHARE = 1e-3
"""Least weight, as a share of the largest: two clear answers are worth about 30 : 1 each."""
_NOT_STATED = 1.0


def kept(make: Callable[[TraitTable], _T]) -> Callable[[TraitTable], _T]:
    """Have a function of a table work out its result once for each table.

    A table never changes. What is worked out is kept on the table itself, so it goes when the table goes; a
    copy or a pickle does not take it along.
    """
    name = f"{make.__module__}.{make.__qualname__}"

    @wraps(make, updated=())
    def kept_result(table: TraitTable) -> _T:
        memory = vars(table)
        if name not in memory:
            memory[name] = make(table)
        return memory[name]

    return kept_result


def stronger(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Return, element by element, what says more for or against; `one` where they are equal."""
    return np.where(np.abs(other) > np.abs(one), other, one)


def answered_in_group(table: TraitTable, coded: Coded) -> dict[str, dict[str, np.ndarray]]:
    """Return who answered it, by group and trait (sorted), of groups with more than one trait answered."""
    groups: dict[str, dict[str, np.ndarray]] = {}
    for trait_id in sorted(coded.codes):
        group = table.trait(trait_id).group
        if group:
            groups.setdefault(group, {})[trait_id] = coded.codes[trait_id] > 0
    return {group: members for group, members in groups.items() if len(members) > 1}


class TableModel:
    """A compiled table: log-likelihoods of many specimens against every name at once.

    The names are the taxa, sorted by id, a stranger of each of the `genera`, and a stranger of none of them;
    `width` of them. All strangers together are "none of these". It has `models` by trait, sorted by id;
    `order` are the places of the taxa in the table, (n_taxa,).
    """

    def __init__(self, table: TraitTable):
        self.table = table
        self.n_taxa = len(table)
        self.order = np.array(sorted(range(len(table)), key=lambda i: table.ids[i]), dtype=np.intp)
        self._back = np.argsort(self.order)
        genus = np.array(table.genus, dtype=str)[self.order]
        self.genera = tuple(sorted(set(genus) - {""}))
        self._kin = (genus[:, None] == np.array(self.genera, dtype=str)).astype(float)
        self.width = self.n_taxa + len(self.genera) + 1
        of_genera = OF_A_GENUS if self.genera else 0.0
        shares = [of_genera / len(self.genera) for _ in self.genera]
        self._log_shares = np.log([*np.ones(self.n_taxa), *shares, 1 - of_genera])
        self.models = {}
        for trait_id in sorted(table.trait_ids):
            trait = table.trait(trait_id)
            adult = self._sorted(table.column(trait_id))
            differs = table.differs_when_young(trait_id)
            young = self._sorted(table.column(trait_id, young=True)) if differs else adult
            edge = record_edges(table, trait_id)[self.order] if trait.kind == "ceiling" else None
            self.models[trait_id] = TraitModel.of(trait, adult, young, self._kin, edge)

    def _sorted(self, column: Column) -> Column:
        o = self.order
        return Column(column.known[o], column.applies[o], column.shares[o], column.low[o], column.high[o])

    def to_table_order(self, values: np.ndarray) -> np.ndarray:
        """Reorder the taxa of the last axis from canonical order to the order of the table."""
        return np.concatenate([values[..., self._back], values[..., self.n_taxa :]], axis=-1)

    def to_canonical_order(self, values: np.ndarray) -> np.ndarray:
        """Spread the last axis, (n_taxa + 1,) in the order of the table, over the names, strangers alike."""
        last = np.full(self.width - self.n_taxa, self.n_taxa)
        return values[..., np.concatenate([self.order, last])]

    def by_genus(self, of_names: np.ndarray) -> np.ndarray:
        """Put the names of each of the `genera` together, its stranger among them: (..., n_genera)."""
        return of_names[..., : self.n_taxa] @ self._kin + of_names[..., self.n_taxa : -1]

    def log_prior(self, prior: np.ndarray) -> np.ndarray:
        """Log of the prior of every name, (..., n_names), by `prior_vector`."""
        with np.errstate(divide="ignore"):
            return np.log(self.to_canonical_order(prior)) + self._log_shares

    def gathered(self, shares: np.ndarray) -> np.ndarray:
        """Put the shares of all strangers together, (..., n_taxa + 1), in the order of the table."""
        taxa, strangers = shares[..., : self.n_taxa], shares[..., self.n_taxa :]
        return np.concatenate([taxa[..., self._back], strangers.sum(axis=-1, keepdims=True)], axis=-1)

    def log_likelihoods(self, coded: Coded) -> np.ndarray:
        """Log P(all answers | taxon), (n_specimens, n_names), in canonical order; always finite."""
        out = np.empty((coded.n, self.width))
        for rows, cases in self.log_cases(coded):
            out[rows] = np.logaddexp.reduce(cases, axis=1)
        return out

    def log_cases(
        self, coded: Coded, log_prior: np.ndarray | float = 0.0
    ) -> Iterator[tuple[slice, np.ndarray]]:
        """Log P(all answers, and how old the fish is | taxon), taxa in canonical order, block by block.

        With a log prior, (n_names,), that is added.

        The specimens of each block, and (n_in_block, n_cases, n_names): two cases, the fish is adult and
        the fish is young; or one, where its age makes no difference to any answer. The likelihood of a taxon
        is the sum over the cases.
        """
        by_age = coded.stage.any() or any(self.models[t].depends_on_stage for t in coded.codes)
        look_up = _LookUp(self, coded, log_prior, by_age=bool(by_age))
        for start in range(0, coded.n, _BLOCK):
            rows = slice(start, min(start + _BLOCK, coded.n))
            yield rows, look_up.cases(rows)

    def stage_weights(self, coded: Coded) -> np.ndarray:
        """P(adult | answers, taxon), shape (n_specimens, n_names), in canonical order."""
        cases = _LookUp(self, coded, by_age=True).cases(slice(0, coded.n))
        return expit(cases[:, 0] - cases[:, 1])

    def contributions(self, coded: Coded) -> tuple[dict[str, np.ndarray], np.ndarray]:
        """Split the log-likelihood of one specimen into one term an answer.

        Where the life stage matters, an answer is taken at the stage that is likelier for the taxon, and
        what this leaves over stands in `rest`, so that the terms add up exactly. An answer that another of
        its group outdoes for a taxon has the term 0 there. The terms and the rest are of shape (n_taxa + 1,),
        in the order of the table; the last is the stranger that the answers make likeliest.
        """
        total = self.log_likelihoods(coded)[0]
        stranger = self.n_taxa + np.argmax((total + self._log_shares)[self.n_taxa :])
        names = np.append(self._back, stranger)
        terms = self._terms(coded)
        for members in answered_in_group(self.table, coded).values():
            strongest = self._strongest(terms, members)
            counted = np.zeros(self.width, dtype=bool)
            for trait_id in members:
                says = terms[trait_id] - terms[trait_id][-1]
                counts = (says == strongest) & ~counted
                counted |= counts
                terms[trait_id] = np.where(counts, says, 0.0)
        rest = total - sum(terms.values(), np.zeros_like(total))
        return {t: term[names] for t, term in terms.items()}, rest[names]

    def said_in_group(self, coded: Coded) -> dict[str, np.ndarray]:
        """Return, for one specimen, the traits not answered whose group has answers, with what those say.

        Log-likelihood ratios against a stranger of no genus, (n_names,), in canonical order.
        """
        terms = self._terms(coded)
        found = {}
        for trait_id, model in self.models.items():
            group = model.trait.group
            members = [t for t in terms if group and self.models[t].trait.group == group]
            if members and trait_id not in terms:
                found[trait_id] = self._strongest(terms, members)
        return found

    def _terms(self, coded: Coded) -> dict[str, np.ndarray]:
        """Log-likelihood of each answer of one specimen, at the stage that is likelier for the taxon."""
        adult_first = self.stage_weights(coded)[0] >= 0.5
        terms = {}
        for trait_id, model in self.models.items():
            if trait_id not in coded.codes:
                continue
            if model.trait.kind == "ceiling":
                terms[trait_id] = np.log(model.record(coded.distinct[trait_id])[0][0])
            else:
                adult, young = model.likelihoods(coded.distinct[trait_id])
                terms[trait_id] = np.log(np.where(adult_first, adult[0], young[0]))
        return terms

    @staticmethod
    def _strongest(terms: dict[str, np.ndarray], members: Iterable[str]) -> np.ndarray:
        return reduce(stronger, (terms[t] - terms[t][-1] for t in members))


model_of = kept(TableModel)
"""The one compiled model of a table."""


class _LookUp:
    """The log-likelihoods of all distinct answers, and which of them each specimen gave."""

    def __init__(self, model: TableModel, coded: Coded, log_prior: np.ndarray | float = 0.0, *, by_age: bool):
        self._by_age = by_age
        alike, by_stage, ripe = {}, {}, {}
        for trait_id, trait_model in model.models.items():
            if trait_id not in coded.codes:
                continue
            answers = coded.distinct[trait_id]
            if trait_model.trait.kind == "ceiling":
                within, mature = trait_model.record(answers)
                alike[trait_id] = np.log(within)
                if by_age:
                    ripe[trait_id] = np.log(np.stack([mature, 1 - mature], axis=1))
                continue
            adult, young = trait_model.likelihoods(answers)
            if trait_model.depends_on_stage:
                by_stage[trait_id] = np.log(np.stack([adult, young], axis=1))
            else:
                alike[trait_id] = np.log(adult)
        codes = dict(coded.codes)
        for group, members in answered_in_group(model.table, coded).items():
            tables = {t: by_stage.pop(t) if t in by_stage else alike.pop(t)[:, None] for t in members}
            # No trait can be called this, whatever the group is called.
            together = f"\0{group}"
            codes[together], rows = _strongest_of_each(codes, tables)
            if rows.shape[1] == 1:
                alike[together] = rows[:, 0]
            else:
                by_stage[together] = rows
        # What holds for every fish, by what was said of its age and by how many lengths it has.
        lengths = sum(((codes[t] > 0).astype(np.intp) for t in ripe), np.zeros(coded.n, dtype=np.intp))
        before = "\0before"
        codes[before] = 1 + (lengths.clip(max=1) * len(_SAID) + coded.stage if by_age else 0 * lengths)
        if by_age:
            # Adult and young add up to 1 by a length, and stand at 1 each without one.
            either = np.log(_SAID) - np.log([[[2.0]], [[1.0]]])
            by_stage[before] = either.reshape(-1, 2, 1) + np.broadcast_to(log_prior, model.width)
        else:
            alike[before] = np.broadcast_to(log_prior, (1, model.width))
        self._alike = _Rows(alike, codes, np.empty((0, model.width)))
        self._by_stage = _Rows(ripe | by_stage, codes, np.empty((0, 2, model.width)))
        # Several lengths of a fish are put in proportion together.
        self._ripe = _Rows(ripe if len(ripe) > 1 else {}, codes, np.empty((0, 2, model.width)))
        self._lengths = lengths

    def cases(self, specimens: slice) -> np.ndarray:
        """Return `TableModel.log_cases` of some specimens."""
        alike = self._alike.added(specimens)[:, None]
        if not self._by_age:
            return alike
        cases = self._by_stage.added(specimens)
        cases += alike
        if (self._lengths[specimens] > 1).any():
            both = np.logaddexp.reduce(self._ripe.added(specimens), axis=1, keepdims=True)
            cases -= np.where(self._lengths[specimens, None, None] > 1, both, 0.0)
        return cases


def _strongest_of_each(
    codes: dict[str, np.ndarray], tables: dict[str, np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """Put the answers of a group together: each combination that was given becomes one answer.

    Tables are log-likelihoods of the distinct answers by trait, (n_distinct, n_cases or 1, n_names).
    Returned are the codes (n_specimens,), 0 where none of the group is answered, and the rows: what says most
    for each taxon, as a log-likelihood ratio against a stranger of no genus.
    """
    sizes = [len(table) + 1 for table in tables.values()]
    flat = np.ravel_multi_index([codes[t] for t in tables], sizes)
    given, of_specimen = np.unique(flat, return_inverse=True)
    # The first combination is "nothing answered", if any specimen has it.
    silent = int(len(given) > 0 and given[0] == 0)
    says = [
        np.concatenate([np.zeros((1, *table.shape[1:])), table - table[..., -1:]])
        for table in tables.values()
    ]
    answers = np.stack(np.unravel_index(given[silent:], sizes))
    rows = np.empty((answers.shape[1], max(len(t[0]) for t in says), says[0].shape[-1]))
    # Some at a time, which stay in the processor's cache.
    for start in range(0, len(rows), _BLOCK // 2):
        some = slice(start, start + _BLOCK // 2)
        first, *rest = (t[answer] for t, answer in zip(says, answers[:, some], strict=True))
        rows[some] = reduce(stronger, rest, first)
    return of_specimen + 1 - silent, rows


class _Rows:
    """Rows of logs, shape (n_distinct, ...), that belong to the distinct answers of some traits."""

    def __init__(self, tables: dict[str, np.ndarray], codes: dict[str, np.ndarray], silence: np.ndarray):
        self._rows = np.concatenate([silence, *tables.values()])
        if not tables:
            return
        before = np.cumsum([0, *(len(table) for table in tables.values())], dtype=np.int32)[:-1]
        given = np.stack([codes[trait_id] for trait_id in tables], axis=1).astype(np.int32)
        answered = given > 0
        self._columns = (given - 1 + before)[answered]
        self._ends = np.append(0, np.cumsum(answered.sum(axis=1)))

    def added(self, specimens: slice) -> np.ndarray:
        """Add up, for each specimen, the rows of its answers, (n_specimens, ...); no answer adds nothing.

        This is a matrix of ones and zeros, specimens x distinct answers, times the rows. It is sparse, so
        that each sum runs over the answers given, in the order of the traits, whatever the others gave.
        """
        n = specimens.stop - specimens.start
        if not len(self._rows):
            return np.zeros((n, *self._rows.shape[1:]))
        ends = self._ends[specimens.start : specimens.stop + 1]
        columns = self._columns[ends[0] : ends[-1]]
        gave = csr_array((np.ones(len(columns)), columns, ends - ends[0]), shape=(n, len(self._rows)))
        sums = gave @ self._rows.reshape(len(self._rows), -1)
        return sums.reshape(n, *self._rows.shape[1:])


# -- before anyone looks -------------------------------------------------------------------------------


def weights(table: TraitTable, prior: Prior = "commonness") -> np.ndarray:
    """Weights of the taxa, summing to 1, in the order of the table.

    Beside "commonness" (or None) and "uniform" a prior may be a mapping of kind to a weight of 0 or more, or
    a sequence of kinds, the names on an invoice: each gets `NAMED_WEIGHT` times its weight by commonness.
    Kinds may be ids, trade codes or names; a code that means several kinds counts for all of them. No taxon
    gets less than `LEAST_SHARE` of the weight of the largest, so that two clear answers can overturn any
    prior. Raises IdkeyError for an unknown word or taxon, a negative weight, or weights that are all 0.
    """
    if isinstance(prior, Mapping):
        return _floored(_from_mapping(table, prior))
    if isinstance(prior, (list, tuple, set, frozenset)):
        found = weights(table, "commonness")
        found[_positions(table, prior)] *= NAMED_WEIGHT
        return _floored(found)
    word = "commonness" if prior is None else prior if isinstance(prior, str) else None
    found = np.ones(len(table))
    if word == "commonness" and "commonness" in table.taxa.columns:
        found = np.array([COMMONNESS_WEIGHT.get(str(c), _NOT_STATED) for c in table.taxa["commonness"]])
    elif word not in ("commonness", "uniform"):
        right = one_of(word, ["commonness", "uniform"], "a mapping of taxon to weight, or one of")
        raise IdkeyError(f"prior: {type(prior).__name__ if word is None else repr(word)}: {right}")
    return found / found.sum()


def _floored(found: np.ndarray) -> np.ndarray:
    found = np.maximum(found, LEAST_SHARE * found.max())
    return found / found.sum()


def _positions(table: TraitTable, names: Collection[Any]) -> list[int]:
    try:
        return [table.position(taxon) for taxon in every(table, names)]
    except UnknownName as error:
        raise UnknownName(f"prior: {error}") from None


def _from_mapping(table: TraitTable, prior: Mapping[str, Any]) -> np.ndarray:
    found = np.zeros(len(table))
    # What is said of an id counts more than what is said of a code that several kinds have.
    for taxon, weight in sorted(prior.items(), key=lambda item: item[0] in table.ids):
        positions = _positions(table, (taxon,))
        try:
            value = float(weight)
        except (TypeError, ValueError, OverflowError):
            value = float("nan")
        if not 0 <= value <= MOST:
            raise IdkeyError(
                f"prior: {taxon}: {shown(weight)}: a weight is a number, 0 or more, at most {MOST:g}"
            )
        found[positions] = value
    if not found.sum() > 0:
        raise IdkeyError("prior: every weight is 0; at least one taxon must be possible")
    return found / found.sum()


def prior_vector(table: TraitTable, prior: Prior, none_prior: float) -> np.ndarray:
    """Prior of the taxa and, last, of "none of these", shape (n_taxa + 1,); sums to 1."""
    if not (isinstance(none_prior, Real) and 0 <= none_prior < 1):
        right = f"the share of fish that are {NONE!r} is 0 or more and less than 1"
        raise IdkeyError(f"none_prior: {shown(none_prior)}: {right}")
    return np.append(weights(table, prior) * (1 - none_prior), none_prior)


def check_table(table: Any) -> None:
    """Raise IdkeyError unless this is a trait table."""
    if not isinstance(table, TraitTable):
        right = "give a trait table, from load_table() or TraitTable.from_frame(df, ...)"
        raise IdkeyError(f"{type(table).__name__}: {right}")


def check_coverage(coverage: Any) -> None:
    """Raise IdkeyError unless the posterior that a set of names is to hold makes sense."""
    if not (isinstance(coverage, Real) and 0 < coverage <= 1):
        msg = f"coverage: {shown(coverage)}: the share of the posterior to hold is more than 0 and at most 1"
        raise IdkeyError(msg)
