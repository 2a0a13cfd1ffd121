"""Until the name is settled: the safest choice in each respect, and the question that settles a conflict."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from idkey.care.needs import Part, Value, format_value, names_in_words, overlap, sentences, state_words
from idkey.model.answers import code_answers
from idkey.model.ask import MIN_GAIN, asker_of
from idkey.model.combine import model_of
from idkey.model.evidence import NONE
from idkey.model.identify import Identification
from idkey.table.schema import CareColumn


@dataclass(frozen=True, slots=True)
class Settling:
    """Which question settles the conflict over one need.

    `trait` is None where no question that is left would tell; `settles` is the expected drop, in bits, of the
    uncertainty about which need it is.
    """

    attribute: str
    label: str
    trait: str | None = None
    question: str = ""
    settles: float = 0.0

    @property
    def text(self) -> str:
        """The same in words."""
        if self.trait is None:
            return "No question left in this table settles it."
        return f"To settle it, look next: {self.question}"


def safest_choice(column: CareColumn, parts: Sequence[Part]) -> str:
    """Return the safest choice for several names of which one is right; blank where there is none to make."""
    known = [p for p in parts if p.cells]
    rule = _SAFEST.get(column.id) or _SAFEST.get(column.combine)
    if rule is None or not known:
        return ""
    text = rule(column, known)
    unknown = [p for p in parts if not p.cells]
    return f"{text}; not known for {names_in_words(unknown)}" if text and unknown else text


def _safe_range(column: CareColumn, known: Sequence[Part]) -> str:
    """Return the overlap, which harms none; if there is none, the gap between the two likeliest.

    Between two ranges that do not meet, the gap takes each kind least far from what it needs. It is right for
    neither, so it is called a stopgap and says for whom it is not right. Without shares all names count.
    """
    span = overlap([p.value for p in known])
    if span[0] <= span[1]:
        return format_value(column, span)
    if all(p.share is not None for p in known):
        span = overlap([p.value for p in sorted(known, key=lambda p: -p.share)[:2]])
    span = min(span), max(span)
    # Who is served by the whole stopgap is not among those it is not right for.
    wrong = [p for p in known if span[0] < p.value[0] or p.value[1] < span[1]]
    return f"{format_value(column, span)} as a stopgap, not right for {names_in_words(wrong, shares=True)}"


def _food(column: CareColumn, known: Sequence[Part]) -> str:
    """Return the food that all share; without one that of each, since a grazer can leave meat."""
    foods = "; ".join(dict.fromkeys(state_words(column, p.value) for p in known))
    each = f"keep the food of each on offer ({foods}), and nothing that one of them should avoid"
    return _shared(column, known) or each


def _shared(column: CareColumn, known: Sequence[Part]) -> str:
    return state_words(column, frozenset.intersection(*(p.value for p in known)))


_ENDS = "oxygen first; aerate strongly and give the tank a brisk end and a slack end"
_SAFEST: dict[str, Callable[[CareColumn, Sequence[Part]], str]] = {
    "overlap": _safe_range,
    # A fall or rise of pH or hardness harms by its speed before it harms by its height.
    "ph": lambda column, known: f"{_safe_range(column, known)}; change it slowly",
    "gh_dgh": lambda column, known: f"{_safe_range(column, known)}; change it slowly",
    # More room or oxygen than one kind asks for harms none, and a tank too large harms none.
    "largest": lambda column, known: f"at least {format_value(column, max(p.value for p in known))}",
    "span": lambda column, known: f"plan for {format_value(column, max(p.value[1] for p in known))}",
    # Without a flow that all share, a tank with both ends lets the fish choose.
    "flow": lambda column, known: _shared(column, known) or _ENDS,
    "diet_type": _food,
    # Going without what any of them should avoid harms none.
    "diet_avoid": lambda _, known: " ".join(
        dict.fromkeys(s for p in known for c in p.cells for s in sentences(c))
    ),
}
"""By column, else by how several kinds are brought together."""


def settle(fish: Identification, conflicts: Mapping[CareColumn, Mapping[str, Value]]) -> tuple[Settling, ...]:
    """Return, for each conflict, the question that settles most of it for the least trouble.

    The kinds still possible are put into classes of equal need, those of which it is not known into a class
    of their own. A question settles as many bits as the entropy over the classes is expected to drop by its
    answer, ``H(class) - sum_x P(x) H(class | x)``, with the distributions of answers by which
    `Identification.questions` ranks its questions; "none of these" has no care and is left out. The best has
    most bits per second of effort.

    `conflicts` holds the need of each kind still possible, by column and taxon id. No question that settles
    less than `MIN_GAIN` bits counts.
    """
    if not conflicts:
        return ()
    model, asker = model_of(fish.table), asker_of(fish.table)
    coded = code_answers(fish.table, fish.answers)
    adult, said = model.stage_weights(coded)[0], model.said_in_group(coded)
    ids = [*fish.table.ids, NONE]
    share = {row.taxon: row.probability for row in fish.ranked()}
    asked = {question.trait.id for question in fish.questions()}
    settlings = []
    for column, needs in conflicts.items():
        posterior = np.array([share[t] if t in needs else 0.0 for t in ids])
        places = {value: i for i, value in enumerate(dict.fromkeys(needs.values()))}
        classes = np.array([places[needs[t]] if t in needs else -1 for t in ids])
        gains = asker.gains(
            model.to_canonical_order(posterior), adult, said, model.to_canonical_order(classes)
        )
        useful = [
            (float(gain) / trait.effort, trait, float(gain))
            for trait, gain in zip(asker.traits, gains, strict=True)
            if gain >= MIN_GAIN and trait.id in asked
        ]
        _, trait, gain = max(useful, key=lambda entry: (entry[0], entry[2]), default=(0.0, None, 0.0))
        best = (trait.id, trait.question or trait.name, gain) if trait else ()
        settlings.append(Settling(column.id, column.label, *best))
    return tuple(settlings)
