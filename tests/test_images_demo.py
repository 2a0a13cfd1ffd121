"""The drawings of invented fish: the committed files are what the script gives, and agree with the table."""

import json
from pathlib import Path

import draw_demo
import pytest

from idkey import Identification, load_table

ROOT = Path(__file__).parents[1]
TRUTH = json.loads((ROOT / "images_demo" / "truth.json").read_text(encoding="utf-8"))


def test_the_files_are_what_the_script_gives():
    there = {p.name: p.read_text(encoding="utf-8") for p in (ROOT / "images_demo").iterdir()}
    assert there == draw_demo.files()


@pytest.mark.parametrize("fish", TRUTH["fish"], ids=lambda f: f["file"])
def test_an_invented_fish_is_no_stranger_to_its_kind(fish):
    identification = Identification(load_table())
    for trait, state in fish["answers"].items():
        identification.answer(trait, state)
    ranking = identification.ranking().set_index("taxon")
    assert ranking.loc[fish["kind"], "agreement"] == 1.0
    assert fish["kind"] in identification.candidates()
