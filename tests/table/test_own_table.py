"""The keeper's own table on every screen, once it was said which."""

import pytest

import idkey
from idkey.errors import IdkeyError


def test_the_table_that_was_named_is_opened_until_another_is(tmp_path, monkeypatch, shipped):
    monkeypatch.setenv("IDKEY_SETTINGS", str(tmp_path / "settings"))
    assert idkey.identify().identification.table.ids == shipped.ids
    mine = idkey.start_table(tmp_path / "mine").with_taxon(
        "lamplight", scientificName="Hypancistrus sp. 'lamplight'", pattern="light_spots"
    )
    mine.save()
    monkeypatch.chdir(tmp_path)
    assert "lamplight" in idkey.use_table("mine").ids
    # From another folder as well, on each screen.
    monkeypatch.chdir("/")
    for screen in (idkey.care_view(), idkey.compare_view(), idkey.identify().identification):
        assert "lamplight" in screen.table.ids
    assert "lamplight" not in idkey.load_table().ids
    # What can't be loaded leaves it as it was.
    with pytest.raises(IdkeyError):
        idkey.use_table(tmp_path / "missing")
    assert "lamplight" in idkey.identify().identification.table.ids
    (tmp_path / "mine").rename(tmp_path / "moved")
    with pytest.raises(IdkeyError, match="is not there; put it back") as caught:
        idkey.identify()
    assert "\n" not in str(caught.value)
    idkey.use_table(None)
    assert idkey.identify().identification.table.ids == shipped.ids
