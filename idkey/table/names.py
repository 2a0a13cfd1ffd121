"""Ids, and the one matcher: which kinds are meant by an id, a trade code or a name, however it is written.

An id counts as it stands. Else case, blanks, dashes, quotes, accents and leading noughts make no difference:
``L46``, ``L 046``, ``l-46`` and ``L-number 46`` are one code.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Collection, Iterable
from typing import Any

from idkey.arguments import shown
from idkey.errors import UnknownName, one_of
from idkey.table.layout import MOST_NAME

_ID = re.compile(r"[a-z][a-z0-9_]*\Z")
AN_ID = "an id is lower-case letters, digits and _, starting with a letter"
_NOT_IN_ID = re.compile(r"[^a-z0-9]+")
_ROOM = 10
"""Characters that are left for a number behind an id."""
_DASH = r"_\-\u00ad\u2010-\u2015\u2212\ufe63\uff0d"
_CODE = re.compile(
    rf"(?<![^\W_])(lda|ll|l)[\s.{_DASH}]*(?:num(?:ber|mer)s?|nos?|nr|n)?[\s.:#\u00b0{_DASH}]*"
    r"0*([0-9]{1,4})([a-z]?)((?:/(?:[0-9]{1,4}[a-z]?|[a-z]))*)(?![^\W_])",
    re.IGNORECASE,
)
"""A trade code; numbers and letters behind a stroke are more of them: L18/81, L136a/b."""
_IS_CODE = re.compile(r"(?:lda|ll|l)[0-9]{3,4}[a-z]?")
_MARKS = re.compile("[\"'`\u00b4\u2018-\u201f\u2032\u2033\u00ab\u00bb\u2039\u203a\u0300-\u036f]")
_BETWEEN = re.compile(rf"[\s,;:#|/&+(){_DASH}\[\]{{}}]+|(?<!\d)\.|\.(?!\d)")
_SP = {"spec": "sp", "species": "sp"}
_OPEN = frozenset(("sp", "cf", "aff"))
"""Words that say that a name is not settled."""
_FEWEST_LETTERS = 3
_MOST_LISTED = 12
_LONGEST = 500


# -- ids -------------------------------------------------------------------------------------------------


def is_id(text: str) -> bool:
    """Whether a text can be the id of a trait or of a taxon."""
    return len(text) <= MOST_NAME and _ID.match(text) is not None


def id_of(words: str) -> str:
    """Return words as an id: lower-case letters, digits and _.

    >>> id_of("Tail: rear edge"), id_of("2 stripes")
    ('tail_rear_edge', 'n2_stripes')
    """
    plain = unicodedata.normalize("NFKD", words.casefold()).encode("ascii", "ignore").decode()
    found = _NOT_IN_ID.sub("_", plain).strip("_")
    found = found if not found or found[0].isalpha() else f"n{found}"
    return found[: MOST_NAME - _ROOM].rstrip("_")


# -- codes and names -------------------------------------------------------------------------------------


def _codes(match: re.Match[str]) -> str:
    prefix, number, letter, more = match.groups()
    codes = [f"{prefix.upper()}{number:0>3}{letter.lower()}"]
    for digits, letter in re.findall(r"/0*([0-9]*)([a-z]?)", more, re.IGNORECASE):
        codes.append(f"{prefix.upper()}{digits or number:0>3}{letter.lower()}")
    return " | ".join(codes)


def trade_codes(cell: str) -> tuple[str, ...]:
    """Return the trade codes of a cell as the table writes them; what is no such code, as it stands.

    >>> trade_codes("l 46 | L-number 201A, lda33"), trade_codes("L18/81"), trade_codes("CW045")
    (('L046', 'L201a', 'LDA033'), ('L018', 'L081'), ('CW045',))
    """
    parts = re.split(r"[|,;/]", _CODE.sub(_codes, cell))
    return tuple(dict.fromkeys(" ".join(part.split()) for part in parts if part.strip()))


def without_codes(text: str) -> tuple[str, str]:
    """Return a text without the trade codes in it, and the codes as the cell of a table."""
    codes = " | ".join(_codes(match) for match in _CODE.finditer(text))
    return " ".join(re.sub(r"[()]", " ", _CODE.sub(" ", text)).split()), codes.replace(" ", "")


def folded(text: str) -> str:
    """Return a text in the one spelling in which names and words are compared."""
    plain = _CODE.sub(_codes, unicodedata.normalize("NFKC", text[:_LONGEST])).casefold()
    plain = _MARKS.sub("", unicodedata.normalize("NFKD", plain))
    return " ".join(_SP.get(word, word) for word in _BETWEEN.sub(" ", plain).split())


def _settled(name: str) -> str:
    """Return a folded name without sp., cf. and aff.; blank where a genus alone is left."""
    words = [word for word in name.split() if word not in _OPEN]
    return " ".join(words) if len(words) > 1 else ""


def new_id(taken: Collection[str], name: str, codes: str = "", qualifier: str = "") -> str:
    """Return an id for a new kind: its scientific name, or genus and trade codes where it has none yet.

    >>> new_id((), "Hypancistrus sp.", "L 999"), new_id(["hypancistrus_zebra"], "Hypancistrus zebra")
    ('hypancistrus_l999', 'hypancistrus_zebra_2')
    """
    words, coded = name.split(), trade_codes(codes)
    unnamed = len(words) < 2 or words[1:] in (["sp."], ["sp"])
    species = words[:1] if unnamed and coded else words
    parts = [*species[:1], qualifier, *species[1:], *(coded if unnamed or qualifier else ())]
    made = id_of(" ".join(parts)) or "kind"
    if made in taken and coded:
        made = id_of(" ".join((made, *coded)))
    free, number = made, 2
    while free in taken:
        free, number = f"{made}_{number}", number + 1
    return free


class Names:
    """What the kinds of a table are called; compiled once for a table, as `TraitTable.names`.

    `called` holds the kinds by whole name, folded: id, label, scientific name with its qualifier, common
    name, trade code.
    """

    def __init__(self, table: Any):
        self._at = {taxon: i for i, taxon in enumerate(table.ids)}
        self.called: dict[str, list[str]] = {}
        self._loosely: dict[str, list[str]] = {}
        self._words: dict[str, list[set[str]]] = {}
        columns = ["scientificName", "identificationQualifier", "vernacularName", "tradeCode"]
        rows = table.taxa.reindex(columns=columns).astype(object).fillna("").to_numpy()
        for taxon, (name, qualifier, common, codes) in zip(table.ids, rows, strict=True):
            genus, _, species = str(name).partition(" ")
            whole = [taxon, table.label(taxon), f"{genus} {qualifier} {species}", common]
            whole = [folded(str(text)) for text in (*whole, *trade_codes(str(codes)))]
            loose = (str(name), f"{genus[:1]} {species}", f"{genus} {common}" if common else "")
            loose = [folded(str(name)), *(_settled(folded(text)) for text in loose)]
            for names, texts in ((self.called, whole), (self._loosely, loose)):
                for text in dict.fromkeys(filter(None, texts)):
                    names.setdefault(text, []).append(taxon)
            self._words[taxon] = [set(text.split()) for text in (*whole, *loose) if text]

    def match(self, text: Any) -> tuple[str, ...]:
        """Return the ids of the kinds that are meant, in the order of the table; none where there are none.

        An id, one trade code or several, a scientific or a common name, with or without "sp." or "cf.", the
        genus in full or as its first letter, a code beside a name. Where no kind has just this name, those
        count that have its words in one of their names ("zebra").
        """
        if not isinstance(text, str) or text in self._at:
            return (text,) if isinstance(text, str) else ()
        name = folded(text)
        whole = self.whole(name)
        if whole or len(name) < _FEWEST_LETTERS or "_" in text:
            # What was written as an id is no search for words.
            return self._in_order(whole)
        words = name.split()
        codes = [word for word in words if _IS_CODE.fullmatch(word)]
        if not codes:
            return tuple(t for t, names in self._words.items() if any(set(words) <= n for n in names))
        rest = [word for word in words if word not in codes]
        coded = {taxon for code in codes for taxon in self.called.get(code, ())}
        named = set(self.whole(_settled(" ".join(rest))))
        wanted = set(rest) - _OPEN
        alike = {taxon for taxon in coded if any(wanted <= names for names in self._words[taxon])}
        # A name and a code that disagree: either may be what is meant.
        return self._in_order((coded & named) or alike or coded | named)

    def whole(self, name: str) -> Collection[str]:
        """Return the kinds that go by this folded name; where none do, those that differ in sp. or cf."""
        return self.called.get(name) or self._loosely.get(name) or self._loosely.get(_settled(name)) or ()

    def coded(self, cell: str) -> list[str]:
        """Return the kinds that have one of the trade codes in a cell."""
        kinds = (taxon for code in trade_codes(cell) for taxon in self.called.get(folded(code), ()))
        return list(dict.fromkeys(kinds))

    def _in_order(self, kinds: Iterable[str]) -> tuple[str, ...]:
        return tuple(sorted(set(kinds), key=self._at.__getitem__))

    def inside(self, text: str) -> tuple[str, ...]:
        """Return the kinds that a longer text names, such as what stands on a bag ("Zebra pleco, 4 cm")."""
        kinds = self.match(text)
        if kinds or not isinstance(text, str):
            return kinds
        words = f" {folded(text)} "
        names = [n for n in self.called if len(n) >= _FEWEST_LETTERS and f" {n} " in words]
        longest = [n for n in names if not n.endswith(" sp") and sum(f" {n} " in f" {m} " for m in names) < 2]
        return self._in_order(taxon for name in longest for taxon in self.called[name])


def one(table: Any, text: Any) -> str:
    """Return the id of the one kind that is meant. Raises UnknownName for none and for several."""
    kinds = _known(table, text)
    if len(kinds) == 1:
        return kinds[0]
    more = f" and {len(kinds) - _MOST_LISTED} more" if len(kinds) > _MOST_LISTED else ""
    listed = ", ".join(kinds[:_MOST_LISTED])
    msg = f"taxon {text!r}: {len(kinds)} kinds are called so; choose one by its id: {listed}{more}"
    raise UnknownName(msg)


def every(table: Any, texts: str | Iterable[Any]) -> tuple[str, ...]:
    """Return the ids of all kinds that are meant, each once. Raises UnknownName where one means none."""
    texts = (texts,) if isinstance(texts, str) else texts
    return tuple(dict.fromkeys(taxon for text in texts for taxon in _known(table, text)))


def _known(table: Any, text: Any) -> tuple[str, ...]:
    """Return the kinds that are meant, at least one; for an id no names are compiled."""
    if isinstance(text, str) and text in table.taxa.index:
        return (text,)
    if kinds := table.names.match(text):
        return kinds
    is_text, called = isinstance(text, str), table.names.called
    near = difflib.get_close_matches(folded(text) if is_text else "", called, n=1, cutoff=0.6)
    what = "a taxon id, a trade code or a name" if "scientificName" in table.taxa.columns else "a taxon id"
    taxon = called[near[0]][0] if near else text if is_text else ""
    right = one_of(taxon, table.ids, what if is_text else f"{what}, as a text of its own")
    if near and near[0] != folded(taxon):
        right = f"{right.removesuffix('?')}, called {near[0]!r}?"
    raise UnknownName(f"taxon {shown(text)} is not in the table: {right}")
