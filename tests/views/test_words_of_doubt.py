"""What a keeper is told of what is not sure: codes from memory, a kind hardly known, a stranger."""

import re
from dataclasses import replace

import pandas as pd
import pytest
from answered import answered
from markup import words
from shipped import TABLE

from idkey import Identification, TraitTable, build_key, care_for, compare, display
from idkey.views import html
from idkey.views.care import care_document
from idkey.views.compare import compare_document
from idkey.views.identify import names_html, outcome_html, together_html
from idkey.views.key import index
from idkey.views.words import introduced

LUNAORUM, ZEBRA = "hypancistrus_lunaorum", "hypancistrus_zebra"
FROM_MEMORY = "Hypancistrus lunaorum (L339, code from memory)"
KINDS = [
    ["one", "dark", "dark", "dark", "pale"],
    ["two", "dark", "pale", "pale", "dark"],
    ["blank", "pale", None, None, None],
]


def fish_of(**answers):
    table = TraitTable.from_frame(pd.DataFrame(KINDS, columns=["kind", *"pqrs"]), taxon="kind")
    return answered(table, answers)


def test_a_trade_code_from_memory_says_so_where_a_kind_is_introduced_and_not_in_a_short_label():
    claims = TABLE.claims(LUNAORUM, "tradeCode")
    assert set(claims["class"]) == {"memory"}
    assert introduced(TABLE, LUNAORUM) == FROM_MEMORY
    assert introduced(TABLE, ZEBRA) == TABLE.label(ZEBRA)
    assert "memory" not in TABLE.label(LUNAORUM)
    # One code of this kind has a source, the other has none.
    assert introduced(TABLE, "pterygoplichthys_gibbiceps").endswith(" (L083; L165, code from memory)")
    care, both = care_for(TABLE, LUNAORUM), compare(TABLE, LUNAORUM, ZEBRA)
    assert repr(care).splitlines()[0] == f"Care: {FROM_MEMORY}"
    for document in (care_document(care), compare_document(both)):
        for page in (html.render(document), html.printed(document)):
            assert FROM_MEMORY in words(page)
    key = build_key(TABLE.only([LUNAORUM, ZEBRA, "pseudacanthicus_major"]))
    assert FROM_MEMORY in [name for name, _ in index(key)]
    fish = Identification(TABLE, prior=[LUNAORUM]).answer("pattern", "light_spots")
    opened = words(names_html(fish))
    assert "L339: a trade code from memory; no source read ties it to this name." in opened


def test_a_trade_code_that_has_a_source_says_nothing_of_memory():
    claim = dict.fromkeys(TABLE.evidence.columns, "") | {"taxon": LUNAORUM, "attribute": "tradeCode"}
    claim |= {"value": "L339", "class": "secondary", "scope": "species", "source": next(iter(TABLE.sources))}
    told = pd.concat([TABLE.evidence, pd.DataFrame([claim])], ignore_index=True)
    assert introduced(replace(TABLE, evidence=told), LUNAORUM) == TABLE.label(LUNAORUM)


def test_a_need_of_common_practice_says_so_on_the_screen_and_on_paper():
    care = care_for(TABLE, "panaqolus_maccus")
    need = care.attributes["flow"]
    assert need.classes == ("common practice",)
    for page in (display.html(care), html.printed(care_document(care))):
        row = re.search(r"<tr><th[^>]*>Flow</th>.*?</tr>", page, re.DOTALL)[0]
        assert "common practice, no source" in words(row)


def test_a_kind_that_is_hardly_known_is_not_named_and_what_is_not_known_stands_apart():
    fish = fish_of(p="pale", q="dark", r="pale", s="pale")
    outcome = fish.outcome()
    assert outcome.kind == "little known"
    for page in (str(outcome), " ".join(repr(fish).split()), words(outcome_html(fish))):
        assert "blank comes first" in page
        assert "too little is known of it to go by: only 1 of your 4 answers can be checked" in page
        assert "Likeliest of those better known: one" in page
    opened = names_html(fish).partition("blank")[2]
    told = dict(re.findall(r"<h4>([^<]*)</h4>\s*<ul>(.*?)</ul>", opened, re.DOTALL)[:2])
    assert list(told) == ["Speaks for it", "The table does not know"]
    assert told["Speaks for it"].count("<li>") == 1
    for page in (told["The table does not know"], *(reason.text for reason in fish.reasons("blank")[1:])):
        assert "judged by its genus and the whole table" in page
        assert "evidence for" not in page
    assert not fish_of(p="pale").outcome().text.startswith("No name")


@pytest.mark.parametrize("told_genus", [True, False])
def test_a_stranger_is_told_its_genus_and_whose_care_it_gets_meanwhile(told_genus):
    fish = Identification(TABLE, none_prior=0.9).answer("snout_tentacles", "present")
    if told_genus:
        fish.answer("tooth_form", "fangs").answer("body_keels", "strong").answer("pattern", "dark_spots")
    genus, outcome = fish.stranger()[0], fish.outcome()
    assert outcome.kind == "none of these"
    told = f"most likely of the genus {genus}" if genus else "Its genus can't be told from these answers."
    assert bool(genus) == told_genus
    for page in (str(outcome), " ".join(repr(fish).split()), words(outcome_html(fish))):
        assert told in page
    if genus:
        page = words(together_html(fish))
        assert f"Care until it has a name, as for the genus {genus}" in page
        count = sum(name == genus for name in TABLE.genus)
        assert f"What suits all {count} kinds of {genus} here" in " ".join(page.split())
        assert f"Care as for the genus {genus}" in words(html.printed(care_document(care_for(fish))))
