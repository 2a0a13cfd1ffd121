"""A care sheet, and tanks held against it, as documents: on the screen, in a console, on paper."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

from idkey.care.needs import Backing, Need, format_value, read_cell, sentences
from idkey.care.room import RoomCheck, TankCheck
from idkey.care.rules import Check
from idkey.care.sheet import CareSheet
from idkey.care.tank import Tank
from idkey.errors import IdkeyError
from idkey.model.combine import COVERAGE
from idkey.table.schema import EVERY_GROUP
from idkey.table.units import amount, number_of, percent
from idkey.views import doc
from idkey.views.charts import flow_svg, size_svg, temperature_svg
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Lines, On, Table
from idkey.views.sheet import drawn as sheet_drawn
from idkey.views.words import claim_words, cut, introduced, made_from, of_table, some

_WIDTH = 100
_OWN = "cautions"
_FOLD_WORDS = "Before you handle, move or sell it"
_DOUBT = 0.01
"""Share of "none of these" from which a sheet speaks of it."""
_FRONT = ("adult_length_mm", "diet_type", "flow", "temperature_c", "ph", "tank_volume_l", "tank_length_cm")
"""What stands in front on the screen; the rest is behind it."""
_FEW = 3
"""So many names stand in a title and are drawn on the screen."""
_GAUGES = (
    ("Temperature (°C, below it °F)", temperature_svg),
    ("Flow", flow_svg),
    ("Largest adult, seen from above", size_svg),
)
_SIGNS = {"fails": "✕", "names disagree": "≠", "not measured": "?"}
_SIGNS |= {"need not known": "–", "pass": "✓", "read": "→"}
"""A sign beside each word, the most urgent first."""
_STYLES = {"fails": "loud", "not measured": "open", "names disagree": "open"}


def care_document(sheet: CareSheet, *, full: bool = False, drawn: bool = True) -> Document:
    """Return a care sheet as a document, with the fish drawn for paper where `drawn`.

    In a console a need longer than a line is cut; with `full` each is whole, with its evidence and sources.
    """
    several = len(sheet.names) > 1
    own, needs, every = _in_reading_order(sheet)
    cited: dict[str, int] = {}
    names = "; ".join(introduced(sheet.table, name) for name in sheet.names)
    many = len(sheet.names) > _FEW
    title = f"{'Care that is right for all of' if several else 'Care'}: {names}"
    if many:
        title = f"Care that is right for all of {len(sheet.names)} kinds"
        if sheet.others:
            every_name = len(sheet.names) + sheet.others
            title = f"Care that is right for the {len(sheet.names)} likeliest of {every_name} kinds"
    if sheet.stranger_of:
        title = f"Care as for the genus {sheet.stranger_of}"
    cautions = tuple(
        doc.Group((Lines((doc.Strong(n.label), *n.text.splitlines())), *_why(n, cited)), frame=True)
        for n in own
    )
    rows = [(n.label, _right(n), _why(n, cited)) for n in needs if n.known]
    unknown = _not_known(needs)
    caption = f"What {'they need' if several else 'it needs'}"
    heads = ("Need", "What is right", "How we know")
    shares = (32.0, 98.0, 48.0)
    table = Table(heads, tuple(rows), "", "care-grid", shares)
    on_paper = [*rows, ("Not known", doc.Soft(unknown), "")] if unknown else rows
    for_all = [b for n in every for b in (doc.Heading(n.label, 2), _points(n), *_why(n, cited))]
    handling = (doc.Fold(_FOLD_WORDS, tuple(for_all)),) if for_all else ()
    drawings = ((words, draw(sheet)) for words, draw in _GAUGES)
    gauges = tuple(doc.Picture(svg, words, heading=words, tallest=40.0) for words, svg in drawings if svg)
    across = (doc.Group(gauges, across=True),) if gauges else ()
    named, standing = Lines((f"{names}.",) if many else ()), Lines(_standing(sheet))
    # A stranger looks like none of the kinds that lend it their care.
    portraits = sheet_drawn(sheet.table, sheet.names) if drawn and not sheet.stranger_of else ()
    rest = f"All that is known: {number_of(len(rows), 'need')}"
    first = [_front_row(n, sheet) for n in map(sheet.attributes.get, _FRONT) if n is not None and n.known]
    whose = (doc.Fold(f"Which {len(sheet.names)} kinds, and how likely", (named, standing)),)
    on_screen = (
        *(whose if many else (standing,)),
        *_meanwhile(sheet),
        *cautions,
        Table(("Need", "What is right", "Who says so"), tuple(first), caption, "care-grid idk-care-front"),
        *(portraits if len(sheet.names) <= _FEW else ()),
        doc.Fold(rest, (*across, table)),
        *handling,
        *((doc.Fold("Not known", (Lines((f"{unknown}.",)),)),) if unknown else ()),
    )
    blocks = (
        On(PRINT, (made_from(sheet.table),)),
        On((TEXT, PRINT), (named, standing, Lines(_conflicts(sheet), style="outcome"))),
        On(SCREEN, on_screen),
        On(PRINT, (*cautions, *portraits, *across)),
        On(PRINT, (Table(heads, tuple(on_paper), caption, "care-grid", shares), *handling)),
        On(PRINT, _sources(sheet, cited)),
        On(TEXT, _text_lines(sheet, full)),
    )
    return of_table(sheet.table, title, blocks, width=_WIDTH)


def _front_row(need: Need, sheet: CareSheet) -> tuple[doc.Content, ...]:
    """Return a need as it stands in front: what to do, and who says so."""
    what = sheet.safest.get(need.attribute) or need.text
    if need.conflict:
        right: doc.Content = (doc.Tag("nothing suits all"), "\n", f"until then: {what}")
    else:
        right = Lines(tuple(what.splitlines()))
    names = dict.fromkeys(b.source_label for b in need.evidence if b.followed and b.source_label)
    by = "; ".join((*some(names, 2), need.grounds))
    return need.label, right, doc.Fold(by, (_claims(need),)) if need.evidence else ""


def _meanwhile(sheet: CareSheet) -> tuple[Block, ...]:
    """Return the conflicts, each with who needs what behind it, and what settles them."""
    folds = tuple(
        doc.Fold(f"{need.label}: who needs what", (Lines(tuple(need.text.splitlines())),))
        for need in sheet.conflicts
    )
    settled = dict.fromkeys(s.text for s in sheet.settling)
    return (Lines(_conflicts(sheet), style="outcome"), Lines(tuple(settled)), *folds)


def _sources(sheet: CareSheet, cited: dict[str, int]) -> tuple[Block, ...]:
    full = {key: source.full for key, source in sheet.table.sources.items()}
    entries = tuple(f"{number}. {full.get(key, key)}" for key, number in cited.items())
    return (doc.Heading("Sources"), doc.Columns(entries, 2)) if entries else ()


def care_blocks(sheet: CareSheet, *, drawn: bool = False) -> tuple[Block, ...]:
    """Return a care sheet under its title, to stand inside another document on the screen."""
    document = care_document(sheet, drawn=drawn)
    return doc.Heading(document.title, 0), *document.blocks


def _in_reading_order(sheet: CareSheet) -> tuple[list[Need], list[Need], list[Need]]:
    """Return the cautions of these kinds, the needs, and what concerns every fish where that is on record."""
    needs = list(sheet.attributes.values())
    own = [n for n in needs if n.attribute == _OWN and n.known]
    every = [n for n in needs if n.column.every_fish and n.known]
    return own, [n for n in needs if not n.column.every_fish and n not in own], every


def _right(need: Need) -> doc.Content:
    lines = Lines(tuple(need.text.splitlines()))
    return (doc.Tag("conflict"), lines) if need.conflict else lines


def _points(need: Need) -> Lines:
    """Return a long text one sentence a point; where names differ in it one line, to keep who it is about."""
    lines = need.text.splitlines()
    points = lines if need.value is None else [point for line in lines for point in sentences(line)]
    return Lines(tuple(points), "bullets")


def _not_known(needs: Sequence[Need]) -> str:
    labels = (need.label.removesuffix(", at least") for need in needs if not need.known)
    return ", ".join(label if label == "pH" else label.lower() for label in labels)


def _standing(sheet: CareSheet) -> tuple[str, ...]:
    """Say how likely each name of a sheet is; nothing for a settled name, or if not made from a fish."""
    if sheet.stranger_of:
        return _stranger(sheet)
    if not sheet.shares or (len(sheet.names) == 1 and sheet.shares[sheet.names[0]] >= COVERAGE):
        return ()
    names = zip(sheet.names, sheet.short_labels, strict=True)
    line = f"Still possible: {'; '.join(f'{label} {percent(sheet.shares[name])}' for name, label in names)}."
    if sheet.others:
        others = f"{number_of(sheet.others, 'less likely name')} ({percent(sheet.others_share)})"
        line += f" Possible as well, and not on this sheet: {others}; answer more before you go by it."
    if sheet.none_share >= _DOUBT:
        line += f" None of the kinds in the table: {percent(sheet.none_share)}; then nothing here holds."
    return (line,)


def _stranger(sheet: CareSheet) -> tuple[str, ...]:
    """Say for whom the sheet of a stranger is: the kinds of its genus, and the names still possible."""
    table, genus = sheet.table, sheet.stranger_of
    kin = [name for name in sheet.names if table.genus[table.position(name)] == genus]
    kinds = "the one kind" if len(kin) == 1 else f"all {len(kin)} kinds"
    text = f"Probably none of the kinds in the table ({percent(sheet.none_share)}), most likely of the genus"
    text += f" {genus}. What suits {kinds} of {genus} here is right until it has a name"
    names = zip(sheet.names, sheet.short_labels, strict=True)
    rest = [f"{label} {percent(sheet.shares[name])}" for name, label in names if name not in kin]
    return (f"{text}; with it go the names still possible: {'; '.join(rest)}." if rest else f"{text}.",)


def _conflicts(sheet: CareSheet) -> tuple[str, ...]:
    what = ", ".join(need.label for need in sheet.conflicts)
    count = number_of(len(sheet.conflicts), "conflict")
    return (f"{count}: {what}. No one answer suits all these names there.",) if what else ()


def _why(need: Need, cited: dict[str, int]) -> tuple[doc.Inline | Block, ...]:
    """Return how we know: on the screen each claim behind a fold, on paper the classes and the sources.

    The sources are numbered, in `cited`, as they are first met.
    """
    if not need.evidence:
        return ()
    keys = dict.fromkeys(b.source for b in need.evidence if b.followed and b.source)
    numbers = sorted(cited.setdefault(key, len(cited) + 1) for key in keys)
    on_paper = Lines((f"{need.grounds} {numbers or ''}".rstrip(),), style="small")
    return On(SCREEN, (doc.Fold(need.grounds, (_claims(need),)),)), On(PRINT, (on_paper,))


def _claims(need: Need) -> Lines:
    return Lines(tuple(dict.fromkeys(_claim(backing, need) for backing in need.evidence)), "bullets")


def _claim(backing: Backing, need: Need) -> str:
    value = backing.value
    with suppress(IdkeyError):  # what no cell can hold, such as "high", stands as it is
        value = format_value(need.column, read_cell(need.column, value))
    words = f"{claim_words(backing.source_label, backing.locator, backing.evidence_class)}: {value}"
    if len(need.parts) > 1 and backing.care_group != EVERY_GROUP:
        label = {part.name: part.label for part in need.parts}.get(backing.taxon)
        words = f"{label or backing.care_group.replace('_', ' ').capitalize()}: {words}"
    return f"{words.removesuffix('.')}. {backing.note}" if backing.note else words


def _text_lines(sheet: CareSheet, full: bool) -> tuple[Block, ...]:
    own, needs, every = _in_reading_order(sheet)
    indent = max((len(need.label) for need in sheet.attributes.values()), default=0) + 2
    lines = []
    for need in (*own, *(n for n in needs if n.known), *(every if full else ())):
        words = ("conflict: " if need.conflict else "") + need.text
        why = f"\n[{need.basis}]" if full and need.evidence else ""
        line = f"{need.label:<{indent}}{words if full else ' / '.join(words.splitlines())}{why}"
        # What keeps a fish from harm is never cut short.
        lines.append(line if full or need.attribute == _OWN or need.conflict else cut(line, _WIDTH))
    lines += [f"{'Not known':<{indent}}{labels}"] if (labels := _not_known(needs)) else []
    labels = ", ".join(need.label.lower() for need in every)
    rest = (f"{_FOLD_WORDS}: {labels}; idkey.display.text(sheet, full=True) has it all",)
    return Lines(tuple(lines), indent=indent), Lines(rest if every and not full else ())


def tank_document(check: TankCheck) -> Document:
    """Return a tank check as a document: whose it is, the verdict, and one need a row, what fails first."""
    lines = [check.verdict, _measures(check.tank)]
    for c in _by_urgency(check):
        off = f", {c.short_by}" if c.short_by else ""
        words = f"{c.label}: {_SIGNS[c.verdict]} {c.answer}{off}; wanted: {c.wanted}; here: {c.found}"
        lines.append(f"{words}. {c.change}".rstrip())
    on_page = (Lines((check.verdict,), style="outcome"), tank_table(check))
    blocks = (On((SCREEN, PRINT), on_page), On(TEXT, (Lines(tuple(lines), indent=4),)))
    return Document(f"Tank {check.tank.name} for {'; '.join(check.labels)}", blocks, width=_WIDTH)


def tank_table(check: TankCheck) -> Table:
    """Return the rows of a tank check, what fails first; the verdict in words is left to who shows it."""
    heads, shares = ("Need", "Answer", "Wanted", "This tank", "What to do"), (26.0, 38.0, 42.0, 32.0, 40.0)
    rows = []
    for c in _by_urgency(check):
        answer = (_tag(c.verdict, c.answer), f"\n{c.short_by}" if c.short_by else "")
        # On paper the sources stand on the care sheet.
        source = On(SCREEN, (doc.Fold("Source", (Lines((c.basis,), style="soft"),)),) if c.basis else ())
        rows.append((c.label, answer, (c.wanted, source), c.found, c.change))
    return Table(heads, tuple(rows), _measures(check.tank), "tank-grid", shares)


def room_document(room: RoomCheck) -> Document:
    """Return a ranked room as a document, each tank with its rows behind a fold."""
    folds = tuple(
        doc.Fold(f"{c.tank.name}: {doc.plain(_answer(c))}", (tank_table(c),), "name") for c in room.checks
    )
    ranking = (f"{n}. {c.tank.name}: {c.verdict}" for n, c in enumerate(room.checks, start=1))
    lines = Lines((_room_line(room), *ranking), indent=4)
    blocks = (On((SCREEN, PRINT), (room_table(room), *folds)), On(TEXT, (lines,)))
    return Document(f"The fish room for {'; '.join(room.labels)}", blocks, width=_WIDTH)


def room_table(room: RoomCheck) -> Table:
    """Return the tanks of a room, the best for this fish first, with the verdict of each."""
    rows = tuple(
        (str(place), c.tank.name, (_answer(c),), c.verdict) for place, c in enumerate(room.checks, start=1)
    )
    heads = ("Rank", "Tank", "Answer", "Why")
    return Table(heads, rows, _room_line(room), "tank-grid idk-tank-room", (12.0, 30.0, 36.0, 100.0), False)


def _by_urgency(check: TankCheck) -> list[Check]:
    return sorted(check.checks, key=lambda c: list(_SIGNS).index(c.verdict))


def _tag(verdict: str, words: str = "") -> doc.Inline:
    text = f"{_SIGNS[verdict]} {words or verdict}"
    return doc.Tag(text, _STYLES[verdict]) if verdict in _STYLES else text


def _answer(check: TankCheck) -> doc.Inline:
    """Return the verdict on the whole tank."""
    if check.fails:
        return _tag("fails")
    return _tag("pass", "fits") if check.ok else _tag("not measured", "can't be said yet")


def _measures(tank: Tank) -> str:
    """Say what the tank is, metric first."""
    sides = (tank.length_cm, tank.width_cm, tank.height_cm)
    if tank.volume_l is None:
        full = f"{amount(tank.full_volume_l, unit='L')} when full; height of the water not measured"
    else:
        full = f"filled to {amount(tank.fill_cm, unit='cm')}: {amount(tank.volume_l, unit='L')}"
    over = "" if tank.turnover is None else f", turned over {tank.turnover:.1f} times an hour"
    return f"{tank.name}: {amount(*sides, unit='cm', between=' × ')}, {full}{over}"


def _room_line(room: RoomCheck) -> str:
    fitting = ", ".join(c.tank.name for c in room.fitting)
    words = f"fits: {fitting}" if fitting else "none can be said to fit as it is"
    return f"{number_of(len(room.checks), 'tank')}, the best first; {words}"
