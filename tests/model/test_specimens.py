"""Real fish and printed diagnoses, by what their authors state and nothing else.

data/specimens.csv holds one fish or diagnosis a row, coded in plain words from the paper in ``source_ref``
and ``source_doi_or_page``: Tan & Armbruster 2016 (ZooKeys 552:123-135), Armbruster, Lujan & Taphorn 2007
(Copeia 2007(1):62-79), Armbruster 2002 (Copeia 2002(1):86-92) and Chaves et al. 2023 (Neotrop. Ichthyol.
21(3):e230038); data/words.csv what each word means in the table. An empty cell is not stated, so the trait is
not answered. The trait table rests on the same papers among others, so this checks the way from what is seen
to a name, against all the other kinds, and not the papers themselves.
"""

import pandas as pd
import pytest

from .tables import DATA, SHIPPED, answered

FISH, WORDS = (
    pd.read_csv(DATA / name, dtype=str, keep_default_na=False) for name in ("specimens.csv", "words.csv")
)


def stated(fish):
    """Return what is stated of a fish, as answers; a number is taken as it stands."""
    answer = {(w.column, w.stated): w.answer for w in WORDS.itertuples()}
    said = {}
    for column, trait in dict(zip(WORDS["column"], WORDS["trait"], strict=True)).items():
        words = [word.split(":")[0] for word in fish[column].split("|") if word]
        found = [answer[column, word] if (column, "") not in answer else word for word in words]
        if found:
            said[trait] = "|".join(dict.fromkeys(found))
    return said


def test_every_stated_word_is_used():
    about = "case_id source_taxon scope source_ref source_doi_or_page source_kind specimen other_stated"
    assert set(FISH.columns) == {*WORDS["column"], "size_type", "eye_reference", *about.split()}
    assert len(FISH) == 7
    assert FISH["source_doi_or_page"].str.startswith("10.").all()
    assert set(FISH.loc[FISH["size_mm"] != "", "size_type"]) == {"SL"}
    assert set(FISH.loc[FISH["spot_size_vs_eye"] != "", "eye_reference"]) == {"pupil"}


@pytest.mark.parametrize("case", FISH.index, ids=FISH["case_id"])
def test_the_right_name_comes_first_and_is_among_the_candidates(case):
    name = FISH.loc[case, "source_taxon"].lower().replace(" ", "_")
    fish = answered(SHIPPED, stated(FISH.loc[case]))
    ranking = fish.ranking().set_index("taxon")["probability"]
    before = ranking[ranking > ranking[name] * (1 + 1e-9)]
    assert before.empty, f"{name} ({ranking[name]:.3f}): {before.to_string()}"
    assert name in fish.candidates()
    if name == "hypancistrus_phantasma":
        # Tan & Armbruster 2016, doi 10.3897/zookeys.552.5956, p. 124-127: dark spots on tan
        spotted = ("light_spots",)
        light = [t for t in SHIPPED.ids if getattr(SHIPPED.cell(t, "pattern"), "names", ()) == spotted]
        assert ranking.index[0] == name, ranking.head(5)
        assert ranking[light].sum() < 0.05
        assert not set(light) & set(fish.candidates())
