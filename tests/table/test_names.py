"""Which kinds are meant by an id, a trade code or a name: every call, every way of writing."""

import pickle
import re

import numpy as np
import pandas as pd
import pytest
from shipped import TABLE

import idkey
from idkey.errors import UnknownName
from idkey.table import names
from idkey.table.claims import Claim
from idkey.table.schema import Trait
from idkey.table.table import TraitTable
from idkey.views.identify import bag_html

ZEBRA, L201 = "hypancistrus_zebra", "hypancistrus_l201"
L200 = ("baryancistrus_demantoides", "hemiancistrus_subviridis")

WAYS = (
    "L46; L 46; L046; l-046; L\u2011046; L\u2013046; l_46; L.46; #L46; \uff2c46; L\u221246; L098; L46/L98; "
    "L46/98; L-number 46; L no. 46; L-Nr. 46; L \u2116 46; hypancistrus  ZEBRA; H. zebra; H.zebra; "
    "\u201cZebra pleco\u201d; 'Hypancistrus zebra'; ZEBRA-PLECO; Hypancistrus Zebra Pleco; L46 zebra; "
    "Hypancistrus zebra (L046, L098); Hypancistrus zebra L 46; Hypancistrus cf. zebra; L 46 (wild); "
    "hypancistrus_zebra; Hypancistrus_Zebra; hypancistrus-zebra; Hypancistrus zebra L999"
)


@pytest.mark.parametrize("text", WAYS.split("; "))
def test_one_kind_in_every_way_people_write_it(text):
    assert TABLE.names.match(text) == (ZEBRA,)
    assert names.one(TABLE, text) == ZEBRA
    assert TABLE.position(text) == TABLE.position(ZEBRA)


def test_codes_letters_and_qualifiers_tell_kinds_apart():
    for kind, texts in {
        "baryancistrus_xanthellus": ("LDA60", "lda 060", "LDA-60", "L18/81/85"),
        "hypancistrus_l136": ("L136A", "l-136b", "L136a/b"),
        L201: ("L201", "Hypancistrus sp. L201", "Hypancistrus (L 201)", "H. sp. L201"),
        "hypancistrus_cf_inspector_l102": ("Hypancistrus cf. inspector", "L102"),
        "hypancistrus_inspector": ("Hypancistrus inspector",),
        "hypancistrus_contradens": ("L201a", "contradens"),
        "chaetostoma_spondylus": ("Mara\u00f1on Chaetostoma",),
        "hypancistrus_l340": ("Mega Clown L340",),
    }.items():
        assert [names.one(TABLE, text) for text in texts] == [kind] * len(texts)


def test_every_code_and_name_of_the_table_finds_its_kind():
    for column in ("scientificName", "vernacularName", "tradeCode"):
        for taxon, cell in TABLE.taxa[column].items():
            for name in filter(None, cell.split("|")):
                assert taxon in TABLE.names.match(name) or TABLE.taxa.at[taxon, "identificationQualifier"]
    assert [names.one(TABLE, TABLE.label(taxon)) for taxon in TABLE.ids] == list(TABLE.ids)


def test_several_kinds_go_by_one_name():
    assert TABLE.names.match("L200") == TABLE.names.match("l 200") == L200
    assert TABLE.names.match("L46, L201") == (L201, ZEBRA)
    # A name and a code that disagree: either may be what is meant.
    assert TABLE.names.match("Hypancistrus zebra L201") == (L201, ZEBRA)
    genus = {t for t in TABLE.ids if TABLE.taxa.at[t, "genus"] == "Hypancistrus"}
    assert set(TABLE.names.match("hypancistrus")) == genus
    assert 1 < len(TABLE.names.match("Hypancistrus sp.")) < len(genus)


def test_what_means_no_kind():
    for text in "L9999", "  ", "", "<b>", "L", "hypancistrus_zebra_2", None, 3, [ZEBRA], np.nan:
        assert TABLE.names.match(text) == ()
        with pytest.raises(UnknownName, match="is not in the table: use a taxon id"):
            TABLE.position(text)


def test_a_miss_names_the_nearest_on_one_line():
    for text, near in {
        "hypancistrus_zebr": ZEBRA,
        "Hypancistrus zebar": ZEBRA,
        "L172": "leporacanthicus_heterodon', called 'l172a",
        "Gold nuget": "baryancistrus_xanthellus', called 'gold nugget pleco",
    }.items():
        with pytest.raises(UnknownName, match=f"did you mean '{near}'") as caught:
            names.one(TABLE, text)
        assert "\n" not in str(caught.value)
        assert repr(text) in str(caught.value)


def test_what_stands_on_a_bag_is_found_inside_the_text():
    assert TABLE.names.inside("Zebra pleco, 4 cm") == (ZEBRA,)
    assert TABLE.names.inside("5 x Jari zebra pleco young") == ("hypancistrus_l316",)
    assert TABLE.names.inside("neon tetra") == TABLE.names.inside("Hypancistrus sp. new") == ()


def test_ids_count_as_they_stand():
    frame = pd.DataFrame({"kind": ["a", "A", "red fish", "L46", "L 46"], "tail": list("xyxyx")})
    table = TraitTable.from_frame(frame, taxon="kind")
    assert [table.position(taxon) for taxon in table.ids] == [0, 1, 2, 3, 4]
    assert table.names.match("Red_Fish") == ("red fish",)
    assert table.names.match("l046") == ("L46", "L 46")
    assert table.names is table.names
    assert pickle.loads(pickle.dumps(table)).position("red fish") == 2


# -- the calls that take one kind -------------------------------------------------------------------

FISH = idkey.Identification(TABLE).answer("pattern", "light_spots")
PATCH = Trait("patch", "nominal", question="A patch?", states=("yes", "no"))
ONE_KIND = {
    "position": TABLE.position,
    "cell": lambda kind: TABLE.cell(kind, "pattern"),
    "label": TABLE.label,
    "claims": lambda kind: TABLE.claims(kind, "adult_size").to_dict(),
    "without_taxon": lambda kind: TABLE.without_taxon(kind).ids,
    "with_cell": lambda kind: TABLE.with_cell(kind, "adult_size", 99).to_frame().to_dict(),
    "with_evidence": lambda kind: TABLE.with_evidence(kind, "adult_size", locator="p. 3").evidence.to_dict(),
    "with_trait": lambda kind: TABLE.with_trait(PATCH, {kind: "yes"}, {kind: Claim()}).to_frame().to_dict(),
    "why": lambda kind: FISH.why(kind).to_csv(),
    "nearest": lambda kind: TABLE.lookalikes().nearest(kind),
    "compare_view": lambda kind: idkey.compare_view(TABLE, kind).comparison.taxa,
}


@pytest.mark.parametrize("call", ONE_KIND.values(), ids=ONE_KIND)
def test_a_call_for_one_kind_takes_a_code_and_names_those_to_choose_from(call):
    known = call(ZEBRA)
    assert call("l-046") == known
    with pytest.raises(idkey.IdkeyError, match="choose one by its id: baryancistrus_demantoides, hemi"):
        call("L 200")
    with pytest.raises(idkey.IdkeyError, match="is not in the table.*did you mean 'hypancistrus_zebra'"):
        call("hypancistrus_zebr")


# -- the calls that take several --------------------------------------------------------------------

SEVERAL = {
    "only": lambda kinds: TABLE.only(kinds).ids,
    "care_for": lambda kinds: set(idkey.care_for(TABLE, *kinds).names),
    "care_view": lambda kinds: set(idkey.care_view(kinds).care.names),
    "compare": lambda kinds: set(idkey.compare(TABLE, *kinds).taxa),
    "Identification": lambda kinds: idkey.Identification(TABLE, prior=kinds).ranking().to_csv(),
    "NearestMatch": lambda kinds: idkey.NearestMatch(prior=kinds).fit(TABLE).rank({}).to_csv(),
    "a mapping": lambda kinds: idkey.Identification(TABLE, dict.fromkeys(kinds, 1.0)).ranking().to_csv(),
}


@pytest.mark.parametrize("call", SEVERAL.values(), ids=SEVERAL)
def test_a_call_for_several_kinds_takes_all_that_a_code_means(call):
    known = call([ZEBRA, *L200])
    assert call(["l 200", "Hypancistrus zebra", ZEBRA]) == known
    with pytest.raises(UnknownName, match="is not in the table.*did you mean 'hypancistrus_zebra'"):
        call([ZEBRA, "hypancistrus_zebr"])


def test_only_takes_a_single_text_and_a_key_and_a_prior_take_codes():
    assert TABLE.only("L46").ids == (ZEBRA,)
    few = TABLE.only(["L46", "L200", "L201"])
    assert idkey.build_key(few, prior=["L46"]).text() == idkey.build_key(few, prior=[ZEBRA]).text()
    # A weight for an id counts more than one for its code.
    one = idkey.Identification(TABLE, prior={L200[0]: 4.0, "L200": 1.0}).ranking()
    assert one.equals(idkey.Identification(TABLE, prior={L200[0]: 4.0, L200[1]: 1.0}).ranking())


def test_the_bag_says_where_the_name_stands_and_changes_nothing():
    fish = idkey.Identification(TABLE).answer("pattern", "plain")
    before = fish.ranking()
    ranked = [row.taxon for row in fish.ranked() if row.taxon != "none of these"]
    place = re.search(r"It comes as number (\d+) of 100\.", bag_html(fish, "L046"))[1]
    assert int(place) == ranked.index(ZEBRA) + 1
    assert "does not count as evidence" in bag_html(fish, "L046")
    assert fish.ranking().equals(before)
    assert "&lt;b&gt;" in bag_html(fish, "<b>x")
    assert bag_html(fish, " ") == ""


def test_names_are_compiled_once_and_ids_need_none(monkeypatch):
    made = []
    monkeypatch.setattr(names.Names, "__init__", lambda self, table: made.append(table))
    table = idkey.load_table().only([ZEBRA, L201]).with_cell(ZEBRA, "adult_size", 99)
    assert table.position(ZEBRA) == 1
    assert idkey.build_key(table)
    assert table.label(L201) == "Hypancistrus sp. (L201)"
    assert not made
