"""Printed documents: a key, a care sheet, a comparison, a review, as HTML or PDF; and how they are saved.

The same input gives the same bytes: no clock is read, and the date in a PDF is that of the table.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib

from idkey import display
from idkey.care.sheet import CareSheet
from idkey.display import Shown
from idkey.errors import IdkeyError, one_of
from idkey.model.compare import Comparison
from idkey.model.key import Key
from idkey.model.review import Review
from idkey.views import html
from idkey.views.draw_taxon import DRAWN_NOTE, can_draw, scale_svg, taxon_svg
from idkey.views.print import pdf as pdf_of
from idkey.views.report_care import write_care
from idkey.views.report_html import care_document
from idkey.views.report_pdf import PAPERS, Paper
from idkey.views.report_words import care_title, stamp, text_date

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = [
    "care_page",
    "care_pdf",
    "printed",
    "save",
]


def printed(
    thing: Key | CareSheet | Comparison | Review,
    path: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    overwrite: bool = False,
    *,
    title: str = "",
) -> str | bytes:
    """Print a key, a care sheet, a comparison or a review as HTML or PDF.

    Parameters
    ----------
    thing : Key, CareSheet, Comparison or Review
    path : str or path, optional
        File to write; its ending, ``.html`` or ``.pdf``, decides the kind. Without it the HTML is returned.
    paper : {"A4", "Letter"}
        A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI Y14.1).
    overwrite : bool
        Write over a file that is there.
    title : str
        For a key: a title of your own.

    Returns
    -------
    str or bytes
        The document: text for HTML, bytes for PDF. With `path` it is written there as well.

    Raises
    ------
    IdkeyError
        A thing that cannot be printed, an unknown ending or paper, a file that is there already or cannot be
        written.
    """
    _check_paper(paper)
    ending = ".html" if path is None else _ending(path)
    if path is not None:
        _check_free(Path(path), overwrite)
    pdf = ending == ".pdf"
    document: str | bytes
    if isinstance(thing, CareSheet):
        document = care_pdf(thing, paper=paper) if pdf else care_page(thing, paper)
    elif isinstance(thing, Shown):
        made = display.document(thing)
        document = pdf_of(made, paper) if pdf else html.printed(made, paper)
    else:
        right = "give a Key, a CareSheet or a Comparison, or a Review"
        msg = f"printed: {type(thing).__name__} cannot be printed; {right}"
        raise IdkeyError(msg)
    if path is not None:
        save(document, path, overwrite=overwrite)
    return document


# -- the documents ----------------------------------------------------------------------------------


def care_page(sheet: CareSheet, paper: str = "A4") -> str:
    """Return a care sheet as a self-contained HTML document."""
    return care_document(sheet, _check_paper(paper), sheet.table, *_picture(sheet.table, sheet.names))


def care_pdf(sheet: CareSheet, path: str | os.PathLike[str] | None = None, paper: str = "A4") -> bytes:
    """Return a care sheet as a PDF file, and write it where a path is given."""
    made = _paper(paper, care_title(sheet), sheet.table)
    write_care(made, sheet, sheet.table, *_picture(sheet.table, sheet.names))
    return _done(made, path)


def _paper(paper: str, title: str, table: TraitTable | None) -> Paper:
    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return Paper(_check_paper(paper), title, stamp(table), fonts, text_date(table))


def _done(paper: Paper, path: str | os.PathLike[str] | None) -> bytes:
    made = paper.finish()
    if path is not None:
        save(made, path)
    return made


def _picture(table: TraitTable | None, taxa: tuple[str, ...]) -> tuple[str, str]:
    """Return the drawing of whole fish and the line below it; blank where there is nothing to draw from."""
    if table is None or not can_draw(table):
        return "", ""
    if len(taxa) == 1:  # the sheet itself says what is dotted
        return taxon_svg(table, taxa[0]), DRAWN_NOTE
    return scale_svg(table, taxa), f"{DRAWN_NOTE} What is not known is dotted."


# -- files ------------------------------------------------------------------------------------------


def save(document: str | bytes, path: str | os.PathLike[str], overwrite: bool = False) -> Path:
    """Write a document whole or not at all: beside its place first, then moved there.

    Parameters
    ----------
    document : str or bytes
        HTML as text, PDF as bytes.
    path : str or path
        Ends in ``.html`` for text and in ``.pdf`` for bytes.
    overwrite : bool

    Returns
    -------
    pathlib.Path
        Where it stands.

    Raises
    ------
    IdkeyError
        A wrong ending, a file that is there already, or a place that cannot be written to.
    """
    wanted = ".pdf" if isinstance(document, bytes) else ".html"
    if _ending(path) != wanted:
        msg = (
            f"{os.fspath(path)!r}: this document is {wanted[1:].upper()}; let the file's name end in {wanted}"
        )
        raise IdkeyError(msg)
    place = Path(path)
    _check_free(place, overwrite)
    data = document if isinstance(document, bytes) else document.encode("utf-8")
    beside = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=place.parent, prefix=".idkey-", suffix=wanted, delete=False
        ) as file:
            beside = Path(file.name)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.chmod(0o644)
        _move(beside, place, overwrite)
    except OSError as error:
        why = error.strerror or error
        msg = f"{str(place)!r}: cannot be written here ({why}); choose a folder that you may write to"
        raise IdkeyError(msg) from error
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)
    return place


def _move(beside: Path, place: Path, overwrite: bool) -> None:
    """Move a file to its place; a file that has come there meanwhile is not lost."""
    if overwrite:
        beside.replace(place)
        return
    try:
        os.link(beside, place)
    except FileExistsError:
        _check_free(place, overwrite)
        raise
    except OSError:  # a disk that knows no second name for a file
        _check_free(place, overwrite)
        beside.replace(place)


def _ending(path: Any) -> str:
    try:
        ending = Path(path).suffix.lower()
    except TypeError:
        ending = ""
    if ending not in (".html", ".pdf"):
        msg = f"printed: {path!r}: let the file's name end in .html or .pdf"
        raise IdkeyError(msg)
    return ending


def _check_paper(paper: str) -> str:
    if not isinstance(paper, str) or paper not in PAPERS:
        msg = f"paper {paper!r}: {one_of(paper, tuple(PAPERS), 'one of')}"
        raise IdkeyError(msg)
    return paper


def _check_free(path: Path, overwrite: bool) -> None:
    if path.exists() and not (overwrite and path.is_file()):
        right = (
            "say overwrite=True to write over it" if path.is_file() else "this is no file; add a file's name"
        )
        msg = f"{str(path)!r} is there already; {right}, or choose another name"
        raise IdkeyError(msg)
