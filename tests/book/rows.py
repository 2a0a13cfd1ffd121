"""Looks, names and events as a book returns them, without a book."""

import datetime as dt
from types import SimpleNamespace

from answered import answered

START = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)


def look_at(
    table, number, answers, *, day=0, prior="commonness", edition="then", package="0.1.0", names=None
):
    """A look at fish `number`, judged by this table, on a day."""
    fish = answered(table, answers, prior)
    judged = {row.taxon: row.probability for row in fish.ranked() if row.probability >= 1e-4}
    stage = fish.answers.get("life_stage")
    return SimpleNamespace(
        number=number,
        tag="",
        answers=dict(fish.answers),
        young=None if stage is None else stage == "young",
        label=prior[0] if isinstance(prior, list) else None,
        prior={"prior": prior, "none_prior": 0.05, "coverage": 0.95},
        names=names or judged,
        at=START + dt.timedelta(days=day),
        edition_id=edition,
        package=package,
    )


def named(number, taxon, ground="bred", *, day=100):
    """A name given to a fish."""
    return SimpleNamespace(
        number=number, taxon=taxon, name=taxon.title(), ground=ground, at=START + dt.timedelta(days=day)
    )


def became(number, what, detail=""):
    """What became of a fish."""
    return SimpleNamespace(number=number, what=what, detail=detail)
