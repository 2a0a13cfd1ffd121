"""A fish of which something was answered."""

from idkey import Identification


def answered(table, answers, prior="commonness", **options):
    """Return an identification with these answers, None for what can't be seen."""
    fish = Identification(table, prior, **options)
    for trait, answer in answers.items():
        fish.answer(trait, answer)
    return fish
