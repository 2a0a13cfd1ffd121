"""What is shown of a spreadsheet that was read. The keeper and the fish are invented."""

from __future__ import annotations

from pathlib import Path

from shipped import TABLE

from idkey.table.spreadsheet import read_spreadsheet
from idkey.views.edit import report_html

EVIL = "<script>alert(1)</script><img src=x onerror=y>"
SHEET = (
    "L number;Name;Length;Tail fin edge;Notes\nL46;Zebra pleco;61 mm;forked / straight;kept\n"
    ";Ancistrus novus;7 in;zigzag;\nL200;;10;;\nL174;;;;\n"
)


def read(tmp_path: Path, text: str):
    file = tmp_path / "fish.csv"
    file.write_text(text, encoding="utf-8")
    return read_spreadsheet(file, TABLE)


def test_counts_come_first_then_what_became_of_each_row(tmp_path):
    found = read(tmp_path, SHEET)
    text = repr(found)
    assert text.splitlines()[0] == "fish.csv: 4 rows: 1 new kind, 1 changed, 1 as it is, 1 not taken"
    told = (
        "Columns that were not taken (1)\n  - Notes: use a column",
        "\u2715 Rows that were not taken (1)\nrow 4, L200\n  - not taken: L number 'L200': several kinds",
        "+ New kinds (1)\nrow 3, Ancistrus novus\n",
        "not taken: Tail fin edge 'zigzag'",
        "\u2260 Changed (1)\nrow 2, Hypancistrus zebra (L046, L098)\n",
        "adult_size: 100 \u2192 61",
        "Length: '61 mm' read as 61 mm",
        "'forked / straight' read as straight|forked",
    )
    places = [text.index(part) for part in told]
    assert places == sorted(places)
    assert "row 5" not in text
    assert 'role="status">4 rows: 1 new kind' in report_html(found)
    html = found._repr_html_()
    assert html.index("1 new kind, 1 changed") < html.index("Notes") < html.index("zigzag")
    for part in ("100 \u2192 61", "7 in", "several kinds are called so", "Hypancistrus yudja"):
        assert part in html


def test_nothing_of_a_sheet_becomes_markup(tmp_path):
    text = f"Name;Common name;{EVIL};Pattern;Source\nAncistrus novus;{EVIL};x;{EVIL};{EVIL}\n{EVIL};;;;\n"
    found = read(tmp_path, text)
    html = found._repr_html_()
    assert not any(mark in html for mark in ("<script", "<img"))
    assert html.count("&lt;script&gt;") >= 5
    assert EVIL in repr(found).replace("\n      ", " ").replace("\n  ", " ")


def test_a_sheet_of_a_thousand_kinds_stays_readable(tmp_path):
    names = (f"{'abcdefghij'[i % 10]}{chr(97 + i // 10 % 26)}{'x' * (i // 100)}" for i in range(1_000))
    found = read(tmp_path, SHEET.splitlines()[0] + "".join(f"\n;Ancistrus {name};;;" for name in names))
    assert len(repr(found).splitlines()) < 400
    assert repr(found).endswith("more rows; .to_frame() lists them all")
    html = found._repr_html_()
    shown, _, folded = html.partition("<summary>and 988 more</summary>")
    assert ".to_frame() lists them all" in folded
    assert shown.count("<p>row ") == 12
    assert len(html) < 300_000
    assert found._repr_html_() == html
    # A value of any length is cut.
    found = read(tmp_path, f"Name;Pattern\nAncistrus novus;{'y' * 9_000}\n")
    assert len(repr(found)) < 4_000
    assert len(found._repr_html_()) < len(read(tmp_path, "Name\n")._repr_html_()) + 6_000
