"""The drawings of invented fish: the committed files are what the script gives, and agree with the table."""

import pytest
from answered import answered
from draw_demo import FOLDER, TRUTH, drawings


def test_the_files_are_what_the_script_gives():
    there = {file.name: file.read_text(encoding="utf-8") for file in FOLDER.iterdir() if file.is_file()}
    assert len(there.pop("truth.json")) > 100
    assert there == drawings()
    assert len(there) == 6


@pytest.mark.parametrize("fish", TRUTH["fish"], ids=lambda f: f["file"])
def test_an_invented_fish_is_no_stranger_to_its_kind(shipped, fish):
    identification = answered(shipped, fish["answers"])
    ranking = identification.ranking().set_index("taxon")
    assert ranking.loc[fish["kind"], "agreement"] == 1.0
    assert fish["kind"] in identification.candidates()
