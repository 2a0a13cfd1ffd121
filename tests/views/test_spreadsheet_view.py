"""What is shown of a spreadsheet that was read. The keeper and the fish are invented."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

from idkey import load_table
from idkey.table.spreadsheet import read_spreadsheet
from idkey.views.spreadsheet import import_html, import_text

TABLE = load_table()
EVIL = "<script>alert(1)</script><img src=x onerror=y>"
SHEET = (
    "L number;Name;Length;Tail fin edge;Notes\n"
    "L46;Zebra pleco;61 mm;forked / straight;kept\n"
    ";Ancistrus novus;7 in;zigzag;\n"
    "L200;;10;;\n"
    "L174;;;;\n"
)


class Tags(HTMLParser):
    """Which elements a piece of HTML opens, and which it leaves open."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: set[str] = set()
        self.ids = 0

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)
        self.ids += "id" in dict(attrs)
        if tag not in ("br", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def read(tmp_path: Path, text: str):
    file = tmp_path / "fish.csv"
    file.write_text(text, encoding="utf-8")
    return read_spreadsheet(file, TABLE)


def test_counts_come_first_then_what_became_of_each_row(tmp_path):
    found = read(tmp_path, SHEET)
    text = import_text(found)
    assert text.splitlines()[0] == "fish.csv: 4 rows: 1 new kind, 1 changed, 1 as it is, 1 not taken"
    assert repr(found) == text
    told = (
        "column 'Notes' not taken",
        "row 2, Hypancistrus zebra (L046, L098): changed",
        "adult_size: 100 \u2192 61",
        "Length: '61 mm' read as 61 mm",
        "'forked / straight' read as straight|forked",
        "row 3, Ancistrus novus: new",
        "not taken: Tail fin edge 'zigzag'",
        "row 4, L200: not taken",
    )
    places = [text.index(part) for part in told]
    assert places == sorted(places)
    assert "row 5" not in text
    html = import_html(found)
    assert html.index("1 new kind, 1 changed") < html.index("Notes") < html.index("zigzag")
    for part in ("100 \u2192 61", "7 in", "several kinds have this trade code", "Hypancistrus yudja"):
        assert part in html


def test_nothing_of_a_sheet_becomes_markup(tmp_path):
    text = f"Name;Common name;{EVIL};Pattern;Source\nAncistrus novus;{EVIL};x;{EVIL};{EVIL}\n{EVIL};;;;\n"
    found = read(tmp_path, text)
    tags = Tags()
    tags.feed(found._repr_html_())
    assert not tags.open
    assert not {"script", "img"} & tags.seen
    assert not tags.ids
    assert EVIL in repr(found).replace("\n      ", " ").replace("\n  ", " ")


def test_long_lists_are_folded(tmp_path):
    rows = "".join(f";Ancistrus number{chr(97 + i)};{i + 20};;\n" for i in range(26))
    found = read(tmp_path, SHEET.splitlines(keepends=True)[0] + rows)
    html = import_html(found)
    shown, _, folded = html.partition("<summary>and 14 more</summary>")
    assert "numberl" in shown
    assert "numberm" not in shown
    assert "numberz" in folded
    assert found.count("new") == 26


def test_a_sheet_of_a_thousand_kinds_stays_readable(tmp_path):
    rows = "".join(
        f";Ancistrus {'abcdefghij'[i % 10]}{chr(97 + i // 10 % 26)}{'x' * (i // 100)};;;\n"
        for i in range(1_000)
    )
    found = read(tmp_path, SHEET.splitlines(keepends=True)[0] + rows)
    assert len(repr(found).splitlines()) < 400
    assert repr(found).endswith("more rows; .to_frame() lists them all")
    html = import_html(found)
    assert ".to_frame() lists them all" in html
    assert len(html) < 300_000


def test_a_value_of_any_length_is_cut(tmp_path):
    found = read(tmp_path, f"Name;Pattern\nAncistrus novus;{'y' * 9_000}\n")
    assert len(repr(found)) < 4_000
    assert len(import_html(found)) < 6_000


def test_the_same_import_gives_the_same_bytes(tmp_path):
    assert read(tmp_path, SHEET)._repr_html_() == read(tmp_path, SHEET)._repr_html_()
