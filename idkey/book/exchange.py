"""A book in open forms: CSV files, and a Darwin Core Archive, which is read back.

Terms after the Darwin Core quick reference guide (https://dwc.tdwg.org/terms/), the archive after the Darwin
Core text guide (https://dwc.tdwg.org/text/): a core of occurrences, a row a fish, and an extension of
identifications, a row a look or a name given. `verbatimIdentification` is the label as written. What has no
term of its own stands as JSON in `dynamicProperties`; the tables that looks were judged by lie beside, in
``editions/``. Sellers, invoices, notes on boxes and buyers are left out, and of a picture its folder.
"""

from __future__ import annotations

import datetime as dt
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO
from xml.sax.saxutils import quoteattr

from sqlalchemy import select
from sqlalchemy.orm import Session, undefer

from idkey.book.labels import LOOKED_AT
from idkey.book.records import Bag, Box, Edition, Event, Fish, Look, Naming, Photo, Record
from idkey.book.store import HOLDS
from idkey.model.combine import COVERAGE
from idkey.table.csvfile import write_sheet
from idkey.table.onefile import write_whole
from idkey.table.schema import NONE
from idkey.table.table import TraitTable
from idkey.table.units import percent

TERMS, TEXT = "http://rs.tdwg.org/dwc/terms/", "http://rs.tdwg.org/dwc/text/"
OCCURRENCE, IDENTIFICATION = "Occurrence", "Identification"
EDITIONS = "editions/"
OURS = "idkey"
"""The key of what is ours in `dynamicProperties`."""
LOOK = ("answers", "unseen", "young", "label", "prior", "names", "edition_id", "package")
"""What of a look has no term of its own."""
_NAMED = ("taxonID", "scientificName", "vernacularName", "identificationQualifier") + (
    "dateIdentified",
    "identifiedBy",
    "identificationRemarks",
)
_OF_FISH = ("occurrenceID", "basisOfRecord", "occurrenceStatus", "catalogNumber", "otherCatalogNumbers") + (
    "individualCount",
    "eventDate",
    "associatedMedia",
    "verbatimIdentification",
)
_COLUMNS = {
    OCCURRENCE: (*_OF_FISH, *_NAMED, "dynamicProperties"),
    IDENTIFICATION: ("occurrenceID", "identificationID", *_NAMED, "dynamicProperties"),
}
_BLOCK = 500


# -- CSV -------------------------------------------------------------------------------------------------


def save_csv(session: Session, folder: Path, overwrite: bool) -> None:
    """Write each kind of record to a file of its own, and beside them what they hold."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind in (Box, Bag, Fish, Photo, Look, Naming, Event, Edition):
        columns = [column for column in kind.__table__.columns if column.name != "content"]
        query = select(*columns).select_from(kind)
        # People go by numbers.
        whose = Box if kind is Bag else Fish if "fish_id" in kind.__table__.columns else None
        if whose:
            columns.insert(0, whose.number.label(whose.__tablename__))
            query = select(*columns).select_from(kind).join(whose).order_by(whose.number)
        header, rows = [column.name for column in columns], session.execute(query)
        put = partial(_write, header=header, rows=rows)
        write_whole(folder / f"{kind.__tablename__}.csv", put, overwrite)
    write_whole(folder / "about.txt", lambda file: file.write(f"{HOLDS}\n".encode()), overwrite)


def _write(file: Any, *, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Write a sheet row by row; a cell that would run as a formula is guarded, as in the files of a table."""
    file.write(write_sheet(header, ()))
    for row in rows:
        file.write(write_sheet([_cell(value) for value in row], ()))


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, dict | list | bool):
        return _json(value)
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), default=_cell)


# -- Darwin Core -----------------------------------------------------------------------------------------


def save_darwin_core(
    session: Session, path: Path, table_of: Callable[[str], TraitTable], overwrite: bool
) -> None:
    """Write all fish as a Darwin Core Archive; `table_of` gives the table of an edition."""
    names = _Names(table_of)
    sheets = {OCCURRENCE: names.occurrence, IDENTIFICATION: names.identifications}

    def write(file: BinaryIO) -> None:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("meta.xml", _meta())
            for kind, rows_of in sheets.items():
                with archive.open(_file(kind), "w") as sheet:
                    rows = (row for fish in _all_fish(session) for row in rows_of(fish))
                    header = _COLUMNS[kind]
                    _write(sheet, header=header, rows=([row.get(term) for term in header] for row in rows))
            for edition in session.scalars(select(Edition).options(undefer(Edition.content))):
                described = _json(edition.as_dict())
                archive.writestr(f"{EDITIONS}{edition.id}.json", described)
                archive.writestr(f"{EDITIONS}{edition.id}.zip", edition.content, zipfile.ZIP_STORED)

    write_whole(path, write, overwrite)


def _file(kind: str) -> str:
    return f"{kind.lower()}.csv"


def _meta() -> str:
    parts = ['<?xml version="1.0" encoding="UTF-8"?>', f'<archive xmlns="{TEXT}">']
    for kind, columns in _COLUMNS.items():
        what, key = ("core", "id") if kind == OCCURRENCE else ("extension", "coreid")
        form = 'encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" fieldsEnclosedBy="&quot;"'
        parts += [
            f'  <{what} {form} ignoreHeaderLines="1" rowType={quoteattr(TERMS + kind)}>',
            f"    <files><location>{_file(kind)}</location></files>",
            f'    <{key} index="0"/>',
            *(f'    <field index="{i}" term="{TERMS}{column}"/>' for i, column in enumerate(columns)),
            f"  </{what}>",
        ]
    return "\n".join([*parts, "</archive>", ""])


def _all_fish(session: Session) -> Iterator[Fish]:
    last = 0
    while block := [
        *session.scalars(select(Fish).where(Fish.number > last).order_by(Fish.number).limit(_BLOCK)).unique()
    ]:
        yield from block
        last = block[-1].number
        session.expunge_all()


def local(record: Any) -> str:
    """Return the time of an act by the keeper's clock then."""
    return record.at.astimezone(dt.datetime.strptime(record.zone, "%z").tzinfo).isoformat()


class _Names:
    """Rows of an archive; the names of kinds are taken from the tables that they were judged by."""

    def __init__(self, table_of: Callable[[str], TraitTable]):
        self._table_of = table_of
        self._known: dict[tuple[str, str], dict[str, str]] = {}

    def occurrence(self, fish: Fish) -> Iterator[dict[str, Any]]:
        """Yield the row of a fish."""
        bag, box = fish.bag, fish.bag and fish.bag.box
        more = {
            "bag": bag and _columns(bag, "id", "number", "count", "tank"),
            "box": box and _columns(box, "id", "number", "date"),
            "photos": [
                {**_columns(photo, "id", "sha256", "points"), "place": Path(photo.place).name}
                for photo in fish.photos
            ],
            "events": [
                {
                    **_columns(e, "id", "what", "who", "at", "zone"),
                    "detail": "" if e.what == "sold" else e.detail,
                }
                for e in fish.events
            ],
        }
        latest = fish.naming or fish.look
        yield {
            "occurrenceID": fish.id.urn,
            "basisOfRecord": "LivingSpecimen",
            "occurrenceStatus": "present",
            "catalogNumber": fish.number,
            "otherCatalogNumbers": fish.tag,
            "individualCount": fish.count,
            "eventDate": fish.kept_at,
            "associatedMedia": " | ".join(photo["place"] for photo in more["photos"]),
            "verbatimIdentification": bag and bag.label,
            "dynamicProperties": {OURS: more},
        } | (self._named(fish, latest) if latest else {})

    def identifications(self, fish: Fish) -> Iterator[dict[str, Any]]:
        """Yield the rows of its looks and names."""
        for look in fish.looks:
            yield self._row(fish, look, {"look": _columns(look, *LOOK)})
        for naming in fish.namings:
            more = _columns(naming, "look_id", "name", "probability", "ground")
            yield self._row(fish, naming, {"naming": more})

    def _row(self, fish: Fish, act: Look | Naming, more: dict[str, Any]) -> dict[str, Any]:
        ids = {"occurrenceID": fish.id.urn, "identificationID": act.id.urn, "dynamicProperties": {OURS: more}}
        return ids | self._named(fish, act)

    def _named(self, fish: Fish, act: Look | Naming) -> dict[str, Any]:
        if isinstance(act, Naming):
            look = next((look for look in fish.looks if look.id == act.look_id), fish.look)
            taxon, probability, remark = act.taxon, act.probability, act.ground
            doubted = act.ground == LOOKED_AT
        else:
            look, doubted = act, True
            taxon, probability = max(act.names.items(), key=lambda item: item[1], default=("", None))
            remark = f"likeliest by table {act.edition.name} {act.edition.version}".rstrip()
            remark += f" and {OURS} {act.package}"
        named = {"scientificName": act.name} if isinstance(act, Naming) and taxon != NONE else {}
        if look and taxon not in ("", NONE):
            named |= self._of_kind(look.edition_id, taxon)
        doubt = ""
        if doubted and probability is not None and probability < COVERAGE:
            doubt = "probably" if probability >= 0.5 else "uncertain"
        qualifier = ", ".join(filter(None, (named.get("identificationQualifier"), doubt)))
        if probability is not None:
            remark += f"; probability {percent(probability)}"
        return {
            **named,
            "taxonID": taxon,
            "identificationQualifier": qualifier,
            "dateIdentified": local(act),
            "identifiedBy": act.who,
            "identificationRemarks": remark,
        }

    def _of_kind(self, edition: str, taxon: str) -> dict[str, str]:
        if (edition, taxon) not in self._known:
            taxa = self._table_of(edition).taxa
            row: Mapping[str, Any] = taxa.loc[taxon] if taxon in taxa.index else {}
            columns = {"scientificName": "scientificName", "tradeCode": "vernacularName"}
            columns["identificationQualifier"] = "identificationQualifier"
            # Several trade codes stand as the guide has lists.
            found = {t: str(row.get(c) or "").replace("|", " | ") for c, t in columns.items()}
            self._known[edition, taxon] = {term: text for term, text in found.items() if text}
        return self._known[edition, taxon]


def _columns(record: Record, *names: str) -> dict[str, Any]:
    return {name: getattr(record, name) for name in names}
