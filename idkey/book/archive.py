"""A Darwin Core Archive read into a book: one of ours without loss, another's as far as the terms go."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
import uuid
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException, ElementTree
from sqlalchemy.orm import Session

from idkey.book.editions import table_of
from idkey.book.entries import count_of, find_by, own_words, text_of, time_of
from idkey.book.exchange import EDITIONS, IDENTIFICATION, LOOK, OCCURRENCE, OURS, TERMS, TEXT
from idkey.book.labels import GROUNDS, LOOKED_AT
from idkey.book.records import EVENTS, Bag, Box, Edition, Event, Fish, Look, Naming, Photo
from idkey.book.store import next_number
from idkey.errors import IdkeyError, refusal
from idkey.table.csvfile import plain_cell

_MOST_BYTES = 1_000_000_000
_MOST_CELL = 10_000_000
_ZONED = re.compile(r"[+-]\d\d:\d\d\Z")


def read_darwin_core(session: Session, path: Path) -> int:
    """Add the fish of an archive that are not in the book yet, and return how many. Raises IdkeyError.

    A fish keeps its number where that is not given away yet.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            return _Reader(session, path, archive).read()
    except (OSError, zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        msg = f"{path}: is no Darwin Core Archive ({refusal(error)}); nothing was read"
        raise IdkeyError(msg) from error


class _Reader:
    def __init__(self, session: Session, path: Path, archive: zipfile.ZipFile):
        self._session, self._path, self._archive = session, path, archive
        self._boxes: dict[uuid.UUID | None, Box] = {}
        self._bags: dict[uuid.UUID | str, Bag] = {}
        self._fish: dict[str, Fish] = {}
        self._found_by: dict[Fish, dict[str, list[str]]] = {}

    def read(self) -> int:
        """Read the whole archive."""
        sheets = self._sheets()
        if OCCURRENCE not in sheets:
            raise self._wrong("meta.xml", "", "the core of the archive must have rows of the type Occurrence")
        self._read_editions()
        count = 0
        # What is found again is asked with half of a fish made: nothing is to be written then.
        self._session.autoflush = False
        for kind, take in ((OCCURRENCE, self._take_fish), (IDENTIFICATION, self._take_identification)):
            for number, row in self._rows(sheets[kind]) if kind in sheets else ():
                try:
                    count += take(row)
                except (KeyError, TypeError, ValueError, AttributeError) as error:
                    why = str(error) if isinstance(error, IdkeyError) else f"{type(error).__name__}: {error}"
                    raise self._wrong(sheets[kind].findtext(f".//{{{TEXT}}}location"), number, why) from error
        self._session.flush()
        for fish, texts in self._found_by.items():
            find_by(self._session, fish, **texts)
        return count

    def _wrong(self, file: Any, row: Any, why: str) -> IdkeyError:
        place = f"{self._path}, {file}, row {row}" if row else f"{self._path}, {file}"
        return IdkeyError(" ".join(f"{place}: {why[:200]}; nothing was read".split()))

    # -- files ----------------------------------------------------------------------------------

    def _sheets(self) -> dict[str, Element]:
        try:
            root = ElementTree.fromstring(self._content("meta.xml"), forbid_dtd=True)
        except (ParseError, DefusedXmlException) as error:
            raise self._wrong("meta.xml", "", f"is no XML ({error})") from error
        found = {part.get("rowType", "").removeprefix(TERMS): part for part in root}
        core = root.find(f"{{{TEXT}}}core")
        return {kind: part for kind, part in found.items() if (part is core) == (kind == OCCURRENCE)}

    def _content(self, name: str) -> bytes:
        try:
            if self._archive.getinfo(name).file_size > _MOST_BYTES:
                raise self._wrong(name, "", f"is larger than {_MOST_BYTES} bytes")
            return self._archive.read(name)
        except KeyError:
            raise self._wrong(name, "", "the file is missing from the archive") from None

    def _rows(self, sheet: Element) -> Iterator[tuple[int, dict[str, str]]]:
        """Yield the rows of a sheet by term, with their numbers; the key of the core as ``id``."""
        name = sheet.findtext(f".//{{{TEXT}}}location") or ""
        columns: dict[str, int] = {}
        fixed: dict[str, str] = {}
        for field in sheet:
            tag, index = field.tag.removeprefix(f"{{{TEXT}}}"), field.get("index", "")
            term = "id" if tag in ("id", "coreid") else field.get("term", "").removeprefix(TERMS)
            if index.isdigit():
                columns[term] = int(index)
            elif field.get("default") is not None:
                fixed[term] = field.get("default", "")
        quote = sheet.get("fieldsEnclosedBy", '"')
        form: dict[str, Any] = {"delimiter": sheet.get("fieldsTerminatedBy", ",").replace("\\t", "\t")}
        form |= {"quotechar": quote} if quote else {"quoting": csv.QUOTE_NONE}
        skipped = int(sheet.get("ignoreHeaderLines") or 0)
        number, limit = 0, csv.field_size_limit(_MOST_CELL)
        try:
            text = self._content(name).decode(sheet.get("encoding") or "utf-8")
            for number, cells in enumerate(csv.reader(io.StringIO(text, newline=""), **form), start=1):
                if number > skipped and any(cells):
                    there = ((term, cells[at].strip()) for term, at in columns.items() if at < len(cells))
                    yield number, fixed | {term: plain_cell(cell) for term, cell in there}
        except (csv.Error, UnicodeDecodeError, LookupError, TypeError) as error:
            raise self._wrong(name, number + 1, str(error)) from error
        finally:
            csv.field_size_limit(limit)

    def _read_editions(self) -> None:
        for name in self._archive.namelist():
            if not (name.startswith(EDITIONS) and name.endswith(".json")):
                continue
            try:
                told = json.loads(self._content(name))
                columns = {key: str(told[key]) for key in ("id", "name", "version", "date")}
            except (ValueError, KeyError, TypeError) as error:
                raise self._wrong(name, "", f"{type(error).__name__}: {error}") from error
            if self._session.get(Edition, columns["id"]) is None:
                edition = Edition(**columns, content=self._content(f"{EDITIONS}{columns['id']}.zip"))
                # Read once, so that a damaged one does not enter the book.
                table_of(edition)
                self._session.add(edition)
        self._session.flush()

    # -- rows -----------------------------------------------------------------------------------

    def _take_fish(self, row: Mapping[str, str]) -> int:
        key = row.get("id") or row["occurrenceID"]
        fish_id, more, session = _id(key), _ours(row), self._session
        if key in self._fish or session.get(Fish, fish_id) is not None:
            return 0
        at, _ = _moment(row.get("eventDate"))
        fish = Fish(
            id=fish_id,
            tag=text_of("otherCatalogNumbers", row.get("otherCatalogNumbers")),
            count=count_of(int(row.get("individualCount") or 1)),
            kept_at=at,
            bag=self._bag(text_of("verbatimIdentification", row.get("verbatimIdentification")), more),
            looks=[],
            namings=[],
        )
        number = row.get("catalogNumber", "")
        fish.number = next_number(session, Fish, int(number) if number.isdigit() and len(number) < 10 else 0)
        fish.photos = [
            Photo(id=_id(p["id"]), place=str(p["place"]), sha256=str(p["sha256"]), points=dict(p["points"]))
            for p in more.get("photos", ())
        ]
        fish.events = [_event(event) for event in more.get("events", ())]
        session.add(fish)
        self._fish[key] = fish
        self._found_by[fish] = {**own_words(fish), "name": []}
        return 1

    def _bag(self, label: str, more: Mapping[str, Any]) -> Bag | None:
        told, box = more.get("bag"), more.get("box")
        if not (label or told):
            return None
        # Labels of another's archive, which tells of no bags, stand in one box.
        key: uuid.UUID | str = _id(told["id"]) if told else label
        if key in self._bags:
            return self._bags[key]
        found = self._session.get(Bag, key) if told else None
        if found is None:
            found = Bag(label=label, box=self._box(box))
            if told:
                found.id, found.number, found.count = key, int(told["number"]), count_of(told["count"])
                found.tank = text_of("tank", told["tank"])
            else:
                found.number = len(found.box.bags)
            self._session.add(found)
        self._bags[key] = found
        return found

    def _box(self, told: Mapping[str, Any] | None) -> Box:
        key = _id(told["id"]) if told else None
        found = self._boxes.get(key) or (self._session.get(Box, key) if told else None)
        if found is None:
            found = Box(seller="", date=dt.date.today(), note=f"read from {self._path.name}", bags=[])
            if told:
                found.id, found.date, found.note = key, dt.date.fromisoformat(told["date"]), ""
            found.number = next_number(self._session, Box, int(told["number"]) if told else 0)
            self._session.add(found)
        self._boxes[key] = found
        return found

    def _take_identification(self, row: Mapping[str, str]) -> int:
        fish = self._fish.get(row.get("id") or row["occurrenceID"])
        if fish is None:  # It was in the book before, with its looks.
            return 0
        at, zone = _moment(row.get("dateIdentified"))
        act = {"who": text_of("identifiedBy", row.get("identifiedBy")), "at": at, "zone": zone}
        if row.get("identificationID"):
            act["id"] = _id(row["identificationID"])
        more = _ours(row)
        if told := more.get("look"):
            columns = {name: told[name] for name in LOOK}
            look = Look(**act, **columns)
            if self._session.get(Edition, look.edition_id) is None:
                raise IdkeyError(f"the table {str(look.edition_id)[:12]} is missing from the archive")
            fish.looks.append(look)
            names = [row.get("scientificName", ""), row.get("vernacularName", "")]
        else:
            told = more.get("naming", {})
            names = [text_of("scientificName", told.get("name") or row.get("scientificName"))]
            ground = told.get("ground", LOOKED_AT)
            if ground not in GROUNDS:
                raise IdkeyError(f"ground {ground!r} is none of {', '.join(GROUNDS)}")
            naming = Naming(**act, taxon=row.get("taxonID", ""), name=names[0], ground=ground)
            naming.probability = None if told.get("probability") is None else float(told["probability"])
            naming.look_id = _id(told["look_id"]) if told.get("look_id") else None
            fish.namings.append(naming)
        self._found_by[fish]["name"] += names
        return 0


def _ours(row: Mapping[str, str]) -> dict[str, Any]:
    try:
        told = json.loads(row.get("dynamicProperties") or "{}")
    except ValueError:  # Another's, who wrote free words.
        return {}
    return told.get(OURS, {}) if isinstance(told, dict) else {}


def _id(text: str) -> uuid.UUID:
    """Return a UUID; of another's key one that is always the same."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return uuid.uuid5(uuid.NAMESPACE_URL, text)


def _moment(text: str | None) -> tuple[dt.datetime, str]:
    """Return a time and the clock it was read from; of an interval its beginning."""
    if not text:
        return time_of()
    at = dt.datetime.fromisoformat(text.split("/")[0])
    zone = _ZONED.search(at.isoformat())
    return (at if zone else at.replace(tzinfo=dt.UTC)), zone.group() if zone else "+00:00"


def _event(told: Mapping[str, Any]) -> Event:
    if told["what"] not in EVENTS:
        raise IdkeyError(f"event {told['what']!r} is none of {', '.join(EVENTS)}")
    at = dt.datetime.fromisoformat(told["at"])
    texts = {name: text_of(name, told[name]) for name in ("detail", "who", "zone")}
    return Event(id=_id(told["id"]), what=told["what"], at=at, **texts)
