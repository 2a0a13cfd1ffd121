"""Real fish and printed diagnoses, by what their authors state and nothing else.

data/specimens.csv holds one fish or diagnosis a row, coded in plain words from the paper in ``source_ref``
and ``source_doi_or_page``: Tan & Armbruster 2016 (ZooKeys 552:123-135), Armbruster, Lujan & Taphorn 2007
(Copeia 2007(1):62-79), Armbruster 2002 (Copeia 2002(1):86-92) and Chaves et al. 2023 (Neotrop. Ichthyol.
21(3):e230038). An empty cell is not stated, so the trait is not answered. The trait table rests on the same
papers among others, so this checks the way from what is seen to a name, against all the other kinds, and not
the papers themselves.
"""

import pandas as pd
import pytest

from idkey import load_table

from .tables import DATA, answered

TABLE = load_table()
FISH = pd.read_csv(DATA / "specimens.csv", dtype=str, keep_default_na=False).set_index("case_id")

# The plain words of the papers, and the trait and state of the table that they mean.
WORDS = {
    "caudal_fin": ("tail_fork", {"emarginate": "concave"}),
    "fin_edging": ("fin_edging", {"dark": "dark", "yellow_orange": "orange"}),
    "spot_size_vs_nostril": ("spot_vs_nostril", {"smaller": "smaller", "equal": "equal", "larger": "larger"}),
    "spot_colour": ("spot_colour", {"white": "white", "yellow": "yellow"}),
    "spot_density": ("spot_density", {"dense": "dense", "sparse": "sparse"}),
    "head_vs_body_spots": ("head_spots", {"same size": "same", "smaller on head": "smaller"}),
    "base_colour": ("ground_colour", {"tan": "pale", "dark": "dark", "dark brown": "dark", "black": "dark"}),
    # "to preadipose plate": the state reads "reaches the small fin or the plate before it"
    "dorsal_reaches_adipose": (
        "dorsal_reach",
        {"yes": "reaches", "to preadipose plate": "reaches", "no": "gap"},
    ),
    "body_keels": ("body_keels", {"no": "none"}),
    "belly_spotted": ("belly_spots", {"no": "no"}),
    "belly_plated": ("belly_plates", {"no": "naked", "partly": "partly"}),
}
RIVERS = {
    "Rio Branco / Rio Negro": "negro",  # the Branco counts as Negro in the table
    "Rio Negro": "negro",
    "Orinoco": "orinoco",
    "Orinoco / Rio Negro": "orinoco|negro",
    "Xingu": "xingu",
}
NUMBERS = {"teeth_premaxilla_per_ramus": "teeth_upper", "teeth_dentary_per_ramus": "teeth_lower"}


def stated(fish):
    """Return what is stated of a fish, as answers."""
    said = {}
    for column, (trait, words) in WORDS.items():
        if fish[column]:
            said[trait] = "|".join(dict.fromkeys(words[w] for w in fish[column].split("|")))
    for column, trait in NUMBERS.items():
        if fish[column]:
            said[trait] = fish[column].replace("-", "..")
    if fish["size_mm"]:
        assert fish["size_type"] == "SL"
        said["adult_size"] = fish["size_mm"].replace("-", "..")
    if fish["spot_size_vs_eye"]:
        assert fish["eye_reference"] == "pupil"
        said["spot_vs_pupil"] = fish["spot_size_vs_eye"]
    if fish["basin"]:
        said["basin"] = RIVERS[fish["basin"]]
    if fish["trap"].startswith("inverted pattern"):
        said["pattern"] = "dark_spots"
    return said


def test_every_stated_word_is_used():
    used = {*WORDS, *NUMBERS, "size_mm", "size_type", "spot_size_vs_eye", "eye_reference", "basin", "trap"}
    about = "source_taxon scope source_ref source_doi_or_page source_kind specimen other_stated"
    assert set(FISH.columns) == used | set(about.split())
    assert len(FISH) == 7
    assert (FISH["source_doi_or_page"].str.startswith("10.")).all()


@pytest.mark.parametrize("case", FISH.index)
def test_the_right_name_comes_first_and_is_among_the_candidates(case):
    name = FISH.loc[case, "source_taxon"].lower().replace(" ", "_")
    fish = answered(TABLE, stated(FISH.loc[case]))
    ranking = fish.ranking().set_index("taxon")["probability"]
    before = ranking[ranking > ranking[name] * (1 + 1e-9)]
    assert before.empty, f"{case} {name} ({ranking[name]:.3f}): {before.to_string()}"
    assert name in fish.candidates()
    if name == "hypancistrus_phantasma":
        # Tan & Armbruster 2016, doi 10.3897/zookeys.552.5956, p. 124-127: dark spots on tan
        light = [t for t in TABLE.ids if getattr(TABLE.cell(t, "pattern"), "names", ()) == ("light_spots",)]
        assert ranking.index[0] == name, ranking.head(5)
        assert ranking[light].sum() < 0.05
        assert not set(light) & set(fish.candidates())
