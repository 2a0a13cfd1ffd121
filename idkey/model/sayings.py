"""What is said of where an identification stands: each sentence once, with places for names and figures."""

from __future__ import annotations

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
}
"""By what it is said of; a name, a share and the like stand in braces."""
