"""What is said of where an identification stands: each sentence once, with places for names and figures."""

from __future__ import annotations

from typing import Any

SAYINGS = {
    "no answers": "Nothing answered yet: every kind in the table is possible.",
    "one name": "{name} ({share}).",
    "poor fit": " But it fits poorly: fish of this kind hardly give such answers. Check them.",
    "several names": "{count} still possible, likeliest {name} ({share}).",
    "no question left": "{name} ({share}); the table has no question left to make it surer.",
    "not told apart": "These can't be told apart by this table with what can be seen: {name} and {other}.",
    "also possible": " Also possible: {names}.",
    "stranger": "Probably none of the kinds in this table ({share}).",
    "of a genus": " By its looks it is most likely of the genus {name} ({share}):"
    " until it has a name, care for it as for that genus.",
    "of no genus": " Its genus can't be told from these answers.",
    "nearest": " Of the kinds here {name} comes nearest ({share}).",
    "several left": "{count} names still possible. ",
    "none left": "No name to go by yet. ",
    "little known": "{name} comes first ({share}), but too little is known of it"
    " to go by: {checked} answers can be checked against it.",
    "checked": "only {count} of your {of}",
    "none checked": "none of your",
    "better known": " Likeliest of those better known: {name} ({share}).",
    "none first": " That it is none of the kinds in this table is likelier ({share}).",
    "doubt": " But there is {strength} a kind that this table does not hold: look again, it may be another.",
    "reason": "{trait}: you said {said}; {row} ({strength})",
    "reason alone": "{trait}: you said {said} ({strength})",
    "age": "Age: {said} ({strength})",
    "you said": "you said {said}",
    "row": "the table has {row}",
    "row not known": "the table does not know",
    "row does not apply": "this does not apply to it",
    "outdone": "not counted: another answer says as much or more of the same",
    "by kin": "judged by its genus and the whole table",
    "probably": "Probably {name}.",
    "perhaps": "Perhaps {name}.",
    "no name yet": "No name to go by yet",
    "surely": "{genus}, almost surely ({share}).",
    "likely": "Probably {genus} ({share}).",
    "can stop": " What is left to look at settles little: you can stop here.",
    "likeliest": "Likeliest of {count}:",
    "settles most": "What would settle most: {traits}. Nothing else would settle as much.",
    "nothing settles": "Nothing that is left to look at would settle much.",
    "turned": "Without '{trait}: {said}' this would be {genus} ({share}): look again.",
    "could be": "Could be ",
    "look at": ": look at the {trait}.",
    "nothing tells": ": nothing that is left to look at tells them apart.",
    "until then": "Until then: {needs}.",
    "until then, likeliest": "Until then, for the {count} likeliest: {needs}.",
    "known of": "{need}, known of {known} of {of}",
    "flow": "{flow} flow",
    "go on": "No question is left; another feature can still be answered.",
    "asked back": "{said}? {why}",
    "very small": "That is very small.",
    "too long": "Hardly any name still possible grows so long.",
    "table has": "This table has {amount}.",
    "it is": "It is {said}",
    "care of genus": "Care until it has a name, as for the genus {name}",
    "care for all": "Care that is right until the name is settled, for all {count} names",
    "need not known": "not known",
    "names disagree": "the names disagree, see the care sheet",
    "known so": "{need} ({known})",
    "grows": "grows to {length}",
    "length not known": "adult length not known",
    "avoid": "; avoid: {foods}",
}
"""By what it is said of; a name, a share and the like stand in braces."""


def say(what: str, **words: Any) -> str:
    """Return a sentence with its names and figures."""
    return SAYINGS[what].format(**words)
