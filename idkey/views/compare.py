"""Kinds side by side, as HTML and as text; and who is mistaken for whom. Pure functions."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from html import escape
from typing import TYPE_CHECKING

from idkey.table.schema import YOUNG, States, Trait
from idkey.views.compare_words import (
    TELLS_NOTHING,
    at_any_age,
    care_line,
    chance_words,
    listed,
    look_words,
    mix_up_words,
    share_of_the_way,
)
from idkey.views.html import page
from idkey.views.icons import icon_svg

if TYPE_CHECKING:
    import pandas as pd

    from idkey.model.compare import Comparison, Contrast
    from idkey.model.lookalikes import Lookalikes
    from idkey.table.table import TraitTable

__all__ = ["compare_html", "compare_text", "lookalikes_html", "lookalikes_text"]

_MOST_PAIRS = 20
_MOST_SHOWN = 10
_MAP_LEAST = 0.15
_MOST_ON_MAP = 100
_MOST_ICONS = 3
_WIDTH = 78
_NOT_KNOWN = "not known"
_RECKONED = "Reckoned with all these names equally likely and with the observer errors of the table."
_HEARSAY = "no look at the fish"


# -- kinds side by side -----------------------------------------------------------------------------


def compare_html(comparison: Comparison, *, young: bool = False) -> str:
    """Return kinds side by side: drawn on one scale, then what differs, is shared and is not known.

    Parameters
    ----------
    comparison : Comparison
    young : bool
        Draw and order for young fish.
    """
    other = "" if at_any_age(comparison) else mix_up_words(comparison, young=not young)
    mix_up = (
        f'<p class="idk-outcome">{escape(mix_up_words(comparison, young=young))}</p>\n'
        f'<p class="idk-soft">{escape(other)} {_RECKONED}</p>'
    )
    care = care_line(comparison)
    care = f"<p>{escape(care)}</p>" if care else ""
    return page(
        f"<h3>{escape(listed(comparison.labels))}</h3>\n{_fish_html(comparison, young)}\n{mix_up}\n{care}\n"
        f"{_differ_html(comparison, young)}\n{_shared_html(comparison)}\n{_unknown_html(comparison)}\n"
        f"{_sources_html(comparison)}"
    )


def _fish_html(comparison: Comparison, young: bool) -> str:
    from idkey.views.draw_look import STATES

    if not set(STATES) & set(comparison.table.trait_ids):
        return ""
    from idkey.views.draw_taxon import scale_svg

    return f'<div class="idk-cmp-fish">{scale_svg(comparison.table, comparison.taxa, young=young)}</div>'


def _differ_html(comparison: Comparison, young: bool) -> str:
    if not comparison.differ:
        return "<p><strong>No trait of which the table knows all of them differs.</strong></p>"
    guess = f'<span class="idk-soft">(a guess is right {chance_words(1 / len(comparison.taxa))})</span>'
    rows = "".join(_row_html(comparison, c, young) for c in _ordered(comparison, young))
    head = "".join(f'<th scope="col">{escape(label)}</th>' for label in comparison.labels)
    return (
        '<div class="idk-scroll"><table class="idk-grid idk-cmp">'
        f"<caption>What differs, strongest first {guess}</caption>"
        f'<thead><tr><th scope="col">Look at</th>{head}<th scope="col">One look tells adults apart</th>'
        f'<th scope="col">Young fish</th></tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _ordered(comparison: Comparison, young: bool) -> Sequence[Contrast]:
    if not young:
        return comparison.differ
    return sorted(comparison.differ, key=lambda c: -round(c.right_young or 0.0, 12))


def _row_html(comparison: Comparison, contrast: Contrast, young: bool) -> str:
    trait, table, k = contrast.trait, comparison.table, len(comparison.taxa)
    marks = []
    looks = comparison.looks_young if young else comparison.looks
    if trait in looks:
        marks.append(
            f"<strong>best look {looks.index(trait) + 1}</strong>" if len(looks) > 1 else "best look"
        )
    if contrast.hearsay:
        marks.append(escape(_HEARSAY))
    mark = f'<div class="idk-soft">{"; ".join(marks)}</div>' if marks else ""
    cells = "".join(
        f"<td>{_icons(table, taxon, trait, young)}{_cell_html(words)}</td>"
        for taxon, words in zip(comparison.taxa, contrast.cells, strict=True)
    )
    return (
        f'<tr><th scope="row">{escape(trait.name)}{mark}</th>{cells}'
        f'<td class="idk-cmp-right">{_right_html(contrast.right, k)}</td>'
        f'<td class="idk-cmp-right">{_young_html(contrast, k)}</td></tr>'
    )


def _right_html(right: float | None, k: int) -> str:
    if right is None:
        return f'<span class="idk-soft">{TELLS_NOTHING}</span>'
    filled = f'<span style="width:{share_of_the_way(right, k) * 100:.0f}%"></span>'
    return f'{escape(look_words(right, k))}<span class="idk-bar" aria-hidden="true">{filled}</span>'


def _same_at_any_age(contrast: Contrast) -> bool:
    return contrast.right_young is not None and abs(contrast.right_young - contrast.right) < 1e-9


def _young_html(contrast: Contrast, k: int) -> str:
    return "the same" if _same_at_any_age(contrast) else _right_html(contrast.right_young, k)


def _cell_html(words: str) -> str:
    return f'<span class="idk-soft"><em>{_NOT_KNOWN}</em></span>' if words == _NOT_KNOWN else escape(words)


def _icons(table: TraitTable, taxon: str, trait: Trait, young: bool) -> str:
    """Return the drawings of the states of a cell, the young fish's where asked for and filled."""
    row = table.position(taxon)
    cell = table.cells[trait.id + YOUNG][row] if young and trait.id + YOUNG in table.cells else None
    cell = table.cells[trait.id][row] if cell is None else cell
    if not isinstance(cell, States):
        return ""
    drawn = (icon_svg(trait.id, state, trait.word(state)) for state in cell.names[:_MOST_ICONS])
    icons = "".join(svg for svg in drawn if svg)
    return f'<div class="idk-cmp-icons">{icons}</div>' if icons else ""


def _shared_html(comparison: Comparison) -> str:
    if not comparison.shared:
        return ""
    rows = "".join(
        f'<tr><th scope="row">{escape(c.trait.name)}</th><td>{escape(c.cells[0])}</td></tr>'
        for c in comparison.shared
    )
    title = f"What they share: {_counted(len(comparison.shared))}"
    return (
        f'<details><summary>{title}</summary><table class="idk-grid"><tbody>{rows}</tbody></table></details>'
    )


def _counted(count: int) -> str:
    return "1 trait" if count == 1 else f"{count} traits"


def _unknown_html(comparison: Comparison) -> str:
    if not comparison.unknown:
        return ""
    some, nowhere = _half_known(comparison)
    parts = []
    if some:
        head = "".join(f'<th scope="col">{escape(label)}</th>' for label in comparison.labels)
        rows = "".join(
            f'<tr><th scope="row">{escape(c.trait.name)}</th>'
            f"{''.join(f'<td>{_cell_html(words)}</td>' for words in c.cells)}</tr>"
            for c in some
        )
        parts.append(
            '<div class="idk-scroll"><table class="idk-grid">'
            f'<thead><tr><th scope="col">Trait</th>{head}</tr></thead><tbody>{rows}</tbody></table></div>'
        )
    if nowhere:
        parts.append(f"<p>Not known for any of them: {escape(_names(nowhere))}.</p>")
    title = f"What can't be compared, being unknown: {_counted(len(comparison.unknown))}"
    if some:
        title += f" ({len(some)} known for one but not for all)"
    return f"<details><summary>{title}</summary>{''.join(parts)}</details>"


def _half_known(comparison: Comparison) -> tuple[list[Contrast], list[Contrast]]:
    """Part what is known for some of the kinds from what is known for none."""
    nowhere = [c for c in comparison.unknown if all(words == _NOT_KNOWN for words in c.cells)]
    return [c for c in comparison.unknown if c not in nowhere], nowhere


def _names(contrasts: Iterable[Contrast]) -> str:
    return ", ".join(c.trait.name.lower() for c in contrasts)


def _sources_html(comparison: Comparison) -> str:
    """Return where the cells that differ are written, behind a fold; nothing for a table without sources."""
    items = []
    for contrast in comparison.differ:
        for taxon, label in zip(comparison.taxa, comparison.labels, strict=True):
            written = [
                text
                for column in (contrast.trait.id, contrast.trait.id + YOUNG)
                for text in _claims(comparison.table, taxon, column)
            ]
            if written:
                text = f"{contrast.trait.name}, {label}: {'; '.join(written)}"
                items.append(f"<li>{escape(text)}</li>")
    if not items:
        return ""
    return f"<details><summary>Where it is written</summary><ul>{''.join(items)}</ul></details>"


def _claims(table: TraitTable, taxon: str, column: str) -> list[str]:
    found = []
    for row in table.claims(taxon, column).to_dict("records"):
        source = table.sources.get(row["source"])
        where = ", ".join(filter(None, (source.short if source else row["source"], row["locator"])))
        found.append(f"{where} ({row['class']})" if where else row["class"])
    return list(dict.fromkeys(found))


def compare_text(comparison: Comparison) -> str:
    """Return kinds side by side as plain text."""
    k = len(comparison.taxa)
    lines = textwrap.wrap(listed(comparison.labels), _WIDTH)
    ages = (False,) if at_any_age(comparison) else (False, True)
    for sentence in (*(mix_up_words(comparison, young=y) for y in ages), care_line(comparison)):
        lines += textwrap.wrap(sentence, _WIDTH)
    for contrast in comparison.differ:
        young = (
            "" if _same_at_any_age(contrast) else f"; of young fish: {look_words(contrast.right_young, k)}"
        )
        said = f" ({_HEARSAY})" if contrast.hearsay else ""
        lines += textwrap.wrap(f"{contrast.trait.name}{said}: {look_words(contrast.right, k)}{young}", _WIDTH)
        for label, words in zip(comparison.labels, contrast.cells, strict=True):
            lines += textwrap.wrap(
                f"{label}: {words}", _WIDTH, initial_indent="    ", subsequent_indent=" " * 8
            )
    some, nowhere = _half_known(comparison)
    for title, contrasts in (
        ("Shared", comparison.shared),
        ("Not known for one of them", some),
        ("Not known for any of them", nowhere),
    ):
        if contrasts:
            lines += textwrap.wrap(f"{title}: {_names(contrasts)}", _WIDTH, subsequent_indent="    ")
    return "\n".join(lines)


# -- who is mistaken for whom -----------------------------------------------------------------------


def lookalikes_html(found: Lookalikes) -> str:
    """Return the map of lookalikes and the pairs most alike."""
    from idkey.views.draw_map import map_svg, on_map

    shown = on_map(found, _MAP_LEAST, _MOST_ON_MAP)
    picture = f'<div class="idk-scroll">{map_svg(found, shown)}</div>' if len(shown) > 1 else ""
    left = len(found.ids) - len(shown)
    note = (
        f"{_counted_kinds(left)} without a lookalike of {_MAP_LEAST:.0%} or more left out. " if left else ""
    )
    frame = found.frame
    alike, hardly = frame[~frame["hardly_compared"]], frame[frame["hardly_compared"]]
    return page(
        f"<h3>Who is mistaken for whom ({'young fish' if found.stage == 'young' else 'adults'})</h3>\n"
        f'<p>{_HOW_READ}</p>\n{picture}\n<p class="idk-soft">{note}{_HARDLY_NOTE}</p>\n'
        f"{_pairs_html(found, alike.head(_MOST_PAIRS), 'Most alike')}{_rest(len(alike))}\n"
        f"{_hardly_html(found, hardly)}"
    )


_HOW_READ = (
    "The larger the mark, the oftener the two are mixed up by looks alone. The figure is the most it can be "
    "if the best look of each group of traits is taken (half the Bhattacharyya coefficient); 50 % is a guess."
)
_HARDLY_NOTE = (
    "Hollow: fewer than three traits are known of both, so they look alike because little is known."
)


def _counted_kinds(count: int) -> str:
    return "1 kind" if count == 1 else f"{count} kinds"


def _rest(count: int) -> str:
    more = count - _MOST_PAIRS
    return f'<p class="idk-soft">and {more} more pairs, in <code>.frame</code></p>' if more > 0 else ""


def _hardly_html(found: Lookalikes, hardly: pd.DataFrame) -> str:
    if not len(hardly):
        return ""
    grid = _pairs_html(found, hardly.head(_MOST_PAIRS), "Hardly compared")
    title = f"{len(hardly)} pairs are hardly compared: too little is known of them"
    return f"<details><summary>{title}</summary>{grid}{_rest(len(hardly))}</details>"


def _pairs_html(found: Lookalikes, pairs: pd.DataFrame, caption: str) -> str:
    if not len(pairs):
        return "<p>No two kinds are this much alike.</p>"
    table = found.table
    rows = "".join(
        f'<tr><th scope="row">{escape(table.label(r.a))}<br>{escape(table.label(r.b))}</th>'
        f"<td>{_share_html(r.mix_up_at_most)}</td><td>{_share_html(r.mix_up_young_at_most)}</td>"
        f"<td>{escape(_best_words(table, r.best_trait))}"
        f"{'<br><em>adults only</em>' if r.adults_only else ''}</td><td>{r.compared}</td></tr>"
        for r in pairs.itertuples()
    )
    return (
        f'<div class="idk-scroll"><table class="idk-grid"><caption>{caption}</caption><thead><tr>'
        f'<th scope="col">Kinds</th><th scope="col">Mixed up, at most</th>'
        f'<th scope="col">Young fish</th><th scope="col">Best told by</th>'
        f'<th scope="col">Traits known of both</th></tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _share_html(share: float) -> str:
    words = f"{share * 100:.0f} %"
    return f"{words} (a guess)" if round(share * 100) == 50 else words


def _best_words(table: TraitTable, trait_id: str) -> str:
    return table.trait(trait_id).name if trait_id else "nothing in the table"


def lookalikes_text(found: Lookalikes) -> str:
    """Return the pairs most alike as plain text."""
    frame = found.frame[~found.frame["hardly_compared"]]
    hardly = len(found.frame) - len(frame)
    fish = "young fish" if found.stage == "young" else "adults"
    lines = [f"Lookalikes among {_counted_kinds(len(found.ids))}, {fish}; mixed up at most:"]
    for r in frame.head(_MOST_SHOWN).itertuples():
        names = f"{found.table.label(r.a)} / {found.table.label(r.b)}"
        lines.append(f"  {r.mix_up_at_most * 100:3.0f} %  {names}")
        lines.append(f"         best told by: {_best_words(found.table, r.best_trait)}")
    if len(frame) > _MOST_SHOWN:
        lines.append(f"  and {len(frame) - _MOST_SHOWN} more")
    if hardly:
        lines.append(f"  {hardly} pairs hardly compared: fewer than three traits known of both")
    return "\n".join(lines)
