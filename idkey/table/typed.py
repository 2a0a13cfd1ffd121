"""What is typed or pressed in a form -> the text of a cell, an id, a trait; and back."""

from __future__ import annotations

from collections.abc import Collection

from idkey.errors import Problem, TableError
from idkey.table.ids import free_id, id_of
from idkey.table.schema import States, Trait, cell_text, parse_cell
from idkey.table.table import TraitTable

__all__ = ["joined", "new_trait", "parted", "proposed_id", "states_in", "text_in", "toggled"]

_GUESSED = "judgement"


def text_in(table: TraitTable, taxon: str, column: str) -> str:
    """Return the text of a cell of a table; blank for a kind or a column that it does not have."""
    if taxon not in table.taxa.index:
        return ""
    if column in table.taxa.columns:
        return str(table.taxa.at[taxon, column])
    if column not in table.cells:
        return ""
    return cell_text(table.trait_of(column), table.cell(taxon, column))


def states_in(trait: Trait, text: str) -> tuple[str, ...]:
    """Return the states that a cell names; none where it can't be read."""
    try:
        cell = parse_cell(trait, text)
    except ValueError:
        return ()
    return cell.names if isinstance(cell, States) else ()


def toggled(trait: Trait, text: str, state: str) -> str:
    """Return the text of a cell with one state more, or with that state taken away.

    Examples
    --------
    >>> tail = Trait("tail", "ordinal", states=("straight", "concave", "forked"))
    >>> toggled(tail, "forked", "straight"), toggled(tail, "straight|forked", "forked")
    ('straight|forked', 'straight')
    """
    chosen = set(states_in(trait, text)) ^ {state}
    return "|".join(name for name in trait.states if name in chosen)


def parted(trait: Trait, text: str) -> tuple[str, str]:
    """Return the two ends of a number cell as texts; what can't be parted stands in the first.

    Examples
    --------
    >>> rays = Trait("rays", "measure", unit="count")
    >>> parted(rays, "7..9"), parted(rays, "-"), parted(rays, "about 7")
    (('7', '9'), ('', ''), ('about 7', ''))
    """
    text = text.strip()
    if text == "-":
        return "", ""
    if trait.kind == "ceiling":
        return text, ""
    low, _, high = text.partition("..")
    return low.strip(), high.strip()


def joined(low: str, high: str) -> str:
    """Return the text of a number cell from its two ends; with one end, that number alone."""
    ends = [end.strip() for end in (low, high) if end.strip()]
    return "..".join(ends)


def proposed_id(taken: Collection[str], name: str, code: str = "") -> str:
    """Return an id for a new kind: its scientific name, or genus and trade code where it has none yet.

    Parameters
    ----------
    taken : collection of str
        Ids that are in use.
    name : str
        Scientific name.
    code : str
        Trade code; of several joined by ``|`` the first counts.

    Examples
    --------
    >>> proposed_id((), "Hypancistrus sp.", "L999"), proposed_id(["hypancistrus_zebra"], "Hypancistrus zebra")
    ('hypancistrus_l999', 'hypancistrus_zebra_2')
    """
    species = [word for word in name.split() if word not in ("sp.", "sp")]
    first_code = code.partition("|")[0]
    if len(species) < 2:
        species.append(first_code)
    made = id_of(" ".join(species)) or "kind"
    if made in taken and first_code:
        made = id_of(f"{made} {first_code}")
    return free_id(made, taken)


def new_trait(
    label: str,
    kind: str,
    *,
    trait_id: str = "",
    states: str = "",
    unit: str = "",
    question: str = "",
    needs_adult: bool = False,
) -> Trait:
    r"""Return a trait as a person describes it in a form.

    Parameters
    ----------
    label : str
        Short name; the id is made of it where none is given.
    kind : {"nominal", "ordinal", "measure", "ceiling"}
    states : str
        In plain words, one a line; their ids are made of the words.
    unit : str
        Of a measure or a ceiling.

    Raises
    ------
    TableError
        With everything that is missing.

    Examples
    --------
    >>> new_trait("Eye ring", "nominal", states="no ring\npale ring", question="A ring?").states
    ('no_ring', 'pale_ring')
    """
    made = trait_id.strip() or id_of(label)
    words = tuple(" ".join(line.split()) for line in states.splitlines() if line.strip())
    has_states = kind in ("nominal", "ordinal")
    names = tuple(id_of(line) for line in words)
    wrong = [
        ("label", label, "name the trait in a word or two", bool(label.strip())),
        (
            "id",
            made,
            "an id is lower-case letters, digits and _, starting with a letter",
            made == id_of(made),
        ),
        ("question", question, "write the question in plain words", bool(question.strip())),
        ("unit", unit, "a number needs its unit", has_states or bool(unit)),
        ("states", states, "write at least two states, one a line", not has_states or len(words) > 1),
        ("states", states, "write states that differ in letters or digits", len({*names}) == len(names)),
        (
            "states",
            states,
            "write each state in letters; | is kept for several",
            all(names) and "|" not in states,
        ),
    ]
    problems = [
        Problem("new trait", made, column, value, right) for column, value, right, ok in wrong if not ok
    ]
    if problems:
        raise TableError(problems, "changed")
    return Trait(
        id=made,
        kind=kind,  # type: ignore[arg-type]
        label=label.strip(),
        question=question.strip(),
        unit="" if has_states else unit,
        states=names if has_states else (),
        words=words if has_states else (),
        error=0.1,
        error_basis=_GUESSED,
        needs_adult=needs_adult,
    )
