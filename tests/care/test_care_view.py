"""The care sheet as HTML and as text."""

from __future__ import annotations

import re
import subprocess
import sys
from html.parser import HTMLParser

import pytest
from care_tables import make_table, room

from idkey import care_for
from idkey.table.table import Source
from idkey.views.care import care_html, care_text

EVIL = "<script>alert(1)</script><img src=x onerror=\"alert('2')\">&amp;"


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.open.append(tag)
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


def read(html: str) -> Tags:
    tags = Tags()
    tags.feed(html)
    tags.close()
    assert not tags.open
    return tags


def test_the_table_is_semantic_and_has_no_ids_or_scripts():
    tags = read(care_html(care_for(room(), "zebra", "stripe")))
    names = [name for name, _ in tags.seen]
    assert names.count("caption") == 1
    headers = [attrs.get("scope") for name, attrs in tags.seen if name == "th"]
    assert headers.count("col") == 3
    assert headers.count("row") == len(headers) - 3
    assert "script" not in names
    assert not any("id" in attrs or any(a.startswith("on") for a in attrs) for _, attrs in tags.seen)


def test_conflict_unknown_and_evidence_are_words_not_colours():
    words = " ".join(read(care_html(care_for(room(), "worm", "stripe", "ghost"))).words)
    assert "conflict" in words
    assert "not known for Ghost" in words
    assert "common practice, no source" in words
    assert "Not followed: colder than the river" in words
    assert "not known" in " ".join(read(care_html(care_for(room(), "ghost"))).words)


def test_colours_come_from_the_theme_alone():
    style = re.search(r"<style>(.*?)</style>", care_html(care_for(room(), "zebra")), re.DOTALL)[1]
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b|rgb|hsl", style)
    for colour in re.findall(r"color: ([^;]+);", style):
        assert colour.startswith("var(--jp-") or colour == "inherit"


def test_the_same_sheet_gives_the_same_bytes_in_any_process():
    code = (
        "import sys; sys.path.insert(0, 'tests/care')\n"
        "from care_tables import room; from idkey import care_for\n"
        "s = care_for(room(), 'zebra', 'stripe')\n"
        "sys.stdout.buffer.write((s._repr_html_() + repr(s)).encode())"
    )
    root = __file__.rsplit("tests", 1)[0]
    runs = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=root,
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": root},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    sheet = care_for(room(), "zebra", "stripe")
    assert runs == {(sheet._repr_html_() + repr(sheet)).encode()}


def test_nothing_from_the_data_reaches_html_unescaped():
    cells = {"diet_offer": EVIL, "cautions": EVIL, "temperature_c": "1..2"}
    claims = tuple(
        {"care_group": g, "attribute": a, "value": EVIL, "source": EVIL, "locator": EVIL, "class": EVIL,
         "scope": EVIL, "note": EVIL}
        for g in ("g", "all")
        for a in ("diet_offer", "cautions", "temperature_c")
    )  # fmt: skip
    fish = make_table(
        {"all": {"cautions": EVIL}, "g": cells},
        {"a": ("g", {}), "b": ("g", {"diet_offer": EVIL + "2"})},
        evidence=claims,
        sources={EVIL: Source(EVIL, EVIL, EVIL)},
        names={"a": EVIL, "b": EVIL + "b"},
    )
    for names in (("a",), ("a", "b")):
        html = care_html(care_for(fish, *names))
        tags = {name for name, _ in read(html).seen}
        assert not tags & {"script", "img"}
        assert "<script" not in html
        assert "<img" not in html


def test_the_plain_text_is_one_screen():
    sheet = care_for(room(), "zebra", "stripe")
    lines = repr(sheet).splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 100
    assert any("conflict" in line for line in lines)
    full = care_text(sheet, full=True)
    assert "Trade needs papers." in full
    assert "PAGE2" in full


def test_importing_care_brings_in_no_view():
    code = (
        "import sys, idkey.care.sheet; print(sorted(m for m in sys.modules if m.startswith('idkey.views')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("method", ["__repr__", "_repr_html_"])
def test_the_sheet_shows_itself(method):
    assert "Zebra" in getattr(care_for(room(), "zebra"), method)()
