"""Every public call with a wrong value in place of each argument: one plain error, and nothing is changed.

By default one call in ten; IDKEY_LONG_TESTS=1 makes them all.
"""

import inspect
import os
import pickle
import random
import traceback
from collections import Counter
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from itertools import count
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from plain_fish import POINTS, png
from table.small_folder import small_files, source, table_of

import idkey
from idkey import arguments
from idkey.book.book import Book
from idkey.care import room, water
from idkey.care.tank import Companion, Tank
from idkey.errors import IdkeyError
from idkey.photo import finding, measures, picture
from idkey.photo.points import Points
from idkey.photo.spots import Spots
from idkey.table import folder, spreadsheet
from idkey.table.claims import Claim
from idkey.table.draft import Draft
from idkey.table.schema import Trait

LONG = bool(os.environ.get("IDKEY_LONG_TESTS"))
NUMBERS = count()
ONE_IN = 1 if LONG else 10
WRONG = {
    "none": None,
    "number": 3,
    "negative": -1,
    "fraction": 2.5,
    "nan": float("nan"),
    "infinite": float("inf"),
    "huge": 10**5000,
    "truth": True,
    "bytes": b"alpha",
    "list": ["alpha"],
    "nested": [["alpha"], {}],
    "tuple": (),
    "dict": {"alpha": 1},
    "odd dict": {3: object()},
    "set": {"alpha"},
    "object": object(),
    "type": int,
    "array": np.ones((2, 2)),
    "frame": pd.DataFrame({"alpha": [1]}),
    "blank": "",
    "word": "no such thing",
    "nul": "al\0pha",
    "half": "al\ud800pha",
    "escape": "\x1b[31m",
    "long": "x" * 20_000,
}
SMALL = table_of(small_files())
CARE = idkey.care_for(SMALL, "alpha")
TANK = {"name": "rack", "length_cm": 80, "width_cm": 35, "height_cm": 40}
PICTURE = picture.read_picture(png())
CORNERS = [(380, 310), (390, 310), (390, 330)]
FLAT = Trait("flat", "nominal", label="Flat", question="Is it flat?", states=("yes", "no"))
RIGHT = {
    "a": "alpha",
    "answers": {"tail": "forked"},
    "attribute": "tail",
    "b": "beta",
    "bibtex": source("NEW"),
    "care": CARE,
    "column": "tail",
    "conflict": "x",
    "data": png(),
    "df": pd.DataFrame({"kind": ["a", "b"], "tail": ["x", "y"]}),
    "fish": idkey.Identification(SMALL),
    "folder": "tables",
    "keep": "own",
    "number": 1,
    "old": SMALL,
    "outline": CORNERS,
    "path": "no_such.pdf",
    "picture": PICTURE,
    "points": Points(POINTS),
    "rows": {"alpha": {"size": 100}},
    "spots": Spots((CORNERS,)),
    "table": SMALL,
    "tank": TANK,
    "tanks": [TANK],
    "taxa": ("alpha", "beta"),
    "taxon": "alpha",
    "text": "straight",
    "trait": "tail",
    "trait_id": "tail",
    "value": "forked",
    "version": "x",
    "who": "alpha",
    "X": SMALL,
    "frame": pd.DataFrame({"tail": ["forked"]}),
}
RIGHT |= {
    "Editable.with_trait.trait": FLAT,
    "Draft.add_trait.trait": FLAT,
    "TraitTable.from_frame.taxon": "kind",
    "pocket.path": "pocket.html",
}
RIGHT |= {"Editable.with_taxon.taxon": "new_kind", "Draft.add.taxon": "new_kind", "Draft.claim.claim": None}
RIGHT |= {"Draft.take.claims": {}, "care_for.taxa": "alpha", "Companion.of.text": "tetra:30:12"}
RIGHT |= {"Tank.of.measures": TANK, "Companion.name": "tetra", "Trait.id": "flat", "Trait.kind": "measure"}
RIGHT |= {f"Tank.{name}": value for name, value in TANK.items()}
RIGHT |= {f"TraitTable.{f.name}": getattr(SMALL, f.name) for f in fields(SMALL)}
RIGHT |= {"Points.at": POINTS, "Points.name": "snout", "Points.moved.name": "snout", "place": (5.0, 5.0)}
RIGHT |= {
    "x": 385.0,
    "y": 315.0,
    "kept": [0],
    "index": 0,
    "Spots.from_json.text": Spots((CORNERS,)).to_json(),
}
RIGHT |= {
    "Points.from_json.text": Points(POINTS).to_json(),
    "Points.sd.name": "snout",
    "names": "snout",
    "photo": "fish.png",
}
RIGHT |= {"seller": "IB", "label": "alpha", "box": 1, "what": "moved", "name": "alpha", "ground": "looks"}
RIGHT |= {
    "one": 1,
    "other": 1,
    "person": "IB",
    "numbers": [1],
    "edition": "x",
    "identification": RIGHT["fish"],
}
RIGHT |= {"start_table.folder": "started", "TraitTable.from_frame.name": "frame"}
WATER = {"temperature_c": 25.0, "altitude_m": 100.0, "ph": 7.0, "tan_mg_l": 1.0, "ca_mg_l": 10.0}
RIGHT |= WATER | {"mg_mg_l": 5.0, "hco3_mg_l": 50.0}

FUNCTIONS = [getattr(idkey, name) for name in idkey.__all__ if inspect.isfunction(getattr(idkey, name))]


def public(module):
    """The public functions of a module."""
    named = vars(module).items()
    return [f for n, f in named if inspect.isfunction(f) and f.__module__ == module.__name__ and n[0] != "_"]


for module in (finding, folder, measures, picture, room, spreadsheet, water):
    FUNCTIONS += [f for f in public(module) if f not in FUNCTIONS]
CLASSES = [idkey.TraitTable, idkey.Identification, idkey.NearestMatch, Trait, Claim, Tank, Companion]
CLASSES += [Points, Spots]


def a_book():
    """A book with one fish and one box, in a file of its own."""
    book = idkey.open_book(f"book_{next(NUMBERS)}.sqlite")
    book.keep(idkey.Identification(SMALL).answer("tail", "forked"))
    book.add_bag(book.add_box("seller"), "alpha")
    return book


@cache
def made():
    """Objects that the calls give, by what makes each afresh."""
    fish = {"tail": "forked"}
    return {
        "TraitTable": lambda: SMALL,
        "Identification": lambda: idkey.Identification(SMALL).answer("tail", "forked"),
        "NearestMatch": lambda: idkey.NearestMatch().fit(SMALL),
        "Key": lambda: idkey.build_key(SMALL),
        "CareSheet": lambda: idkey.care_for(SMALL, "alpha", "beta"),
        "Comparison": lambda: idkey.compare(SMALL, "alpha", "beta"),
        "Change": lambda: SMALL.with_cell("alpha", "size", 90).changes(SMALL, past=[fish]),
        "Review": SMALL.review,
        "Lookalikes": SMALL.lookalikes,
        "TankCheck": lambda: room.check_tank(CARE, TANK),
        "RoomCheck": lambda: room.check_room(CARE, [TANK]),
        "Draft": lambda: Draft(SMALL),
        "Outcome": lambda: idkey.Identification(SMALL).outcome(),
        "Book": a_book,
        "Points": lambda: Points(POINTS),
        "Spots": lambda: Spots((CORNERS,)),
        "Picture": lambda: PICTURE,
        "Measures": lambda: measures.measure(PICTURE, POINTS),
        "Question": lambda: idkey.Identification(SMALL).next_question(),
    }


def calls():
    """Yield every public call: a name, what gives the callable and the object it belongs to."""
    for function in FUNCTIONS:
        yield function.__name__, lambda f=function: (f, None), function
    for kind in CLASSES:
        yield kind.__name__, lambda k=kind: (k, None), kind
        for name in ("of", "from_frame", "from_json"):
            if name in vars(kind):
                yield (
                    f"{kind.__name__}.{name}",
                    lambda k=kind, n=name: (getattr(k, n), None),
                    getattr(kind, name),
                )
    for make in made().values():
        thing = make()
        for kind in type(thing).__mro__:
            for method, held in vars(kind).items():
                if kind.__module__.startswith("idkey") and method[0] != "_" and inspect.isfunction(held):

                    def bound(make=make, method=method):
                        thing = make()
                        return getattr(thing, method), thing

                    yield f"{kind.__name__}.{method}", bound, held


def arguments_of(name, function):
    """The arguments that a call needs, each with a right value, and the kinds of all its parameters."""
    right, kinds = {}, {}
    for parameter in inspect.signature(function).parameters.values():
        if parameter.name == "self":
            continue
        kinds[parameter.name] = parameter.kind
        known = RIGHT.get(f"{name}.{parameter.name}", RIGHT.get(parameter.name, parameter.empty))
        needed = parameter.kind not in (parameter.VAR_POSITIONAL, parameter.VAR_KEYWORD)
        if parameter.default is parameter.empty and (needed or known is not parameter.empty):
            right[parameter.name] = known
    return right, kinds


def called(call, kinds, given):
    """Call with these arguments, those that have no name of their own by their place."""
    places, named = [], {}
    for name, value in given.items():
        if kinds[name] in (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.VAR_POSITIONAL):
            places.append(value)
        elif kinds[name] is inspect.Parameter.VAR_KEYWORD:
            named["column"] = value
        elif inspect.Parameter.VAR_POSITIONAL in kinds.values():
            places.append(value)
        else:
            named[name] = value
    return call(*places, **named)


def state(thing):
    """What an object holds; what it has worked out for itself is left out."""
    if isinstance(thing, idkey.Identification):
        return dict(thing.answers), thing.unseen, len(thing._history)
    if isinstance(thing, Book):
        return str(thing), len(thing.fish(1).photos), len(thing.events())
    if isinstance(thing, Draft):
        return pickle.dumps((thing.new, thing.removed, thing.changed, thing.claims, thing.saved, thing.wide))
    parts = [getattr(thing, f.name) for f in fields(thing)] if is_dataclass(thing) else [repr(vars(thing))]
    return pickle.dumps([dict(part) if isinstance(part, Mapping) else part for part in parts])


def fault(error):
    """Say what is wrong with an error; blank for one that the package raised on purpose."""
    if isinstance(error, IdkeyError):
        return "" if str(error).strip() and "object at 0x" not in str(error) else "says nothing to a person"
    last = traceback.extract_tb(error.__traceback__)[-1].filename
    if isinstance(error, TypeError) and last in (arguments.__file__, __file__):
        return ""
    return f"{type(error).__name__}: {str(error)[:80]} ({Path(last).name})"


@pytest.mark.filterwarnings("ignore")
def test_a_wrong_value_is_refused_in_plain_words_and_changes_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    pick = random.Random(1)
    counts, faults = Counter(), []
    for name, bind, function in calls():
        right, kinds = arguments_of(name, function)
        unknown = [argument for argument, value in right.items() if value is inspect.Parameter.empty]
        assert not unknown, f"{name}: say what is right for {unknown}"
        for argument in kinds:
            for what, value in WRONG.items():
                if pick.randrange(ONE_IN):
                    continue
                call, thing = bind()
                before = None if thing is None else state(thing)
                counts["calls"] += 1
                try:
                    called(call, kinds, {**right, argument: value})
                    counts["taken"] += 1
                except Exception as error:  # noqa: BLE001 - whatever it is, it is told
                    if wrong := fault(error):
                        faults.append(f"{name}({argument}={what}): {wrong}")
                    if thing is not None and state(thing) != before:
                        faults.append(f"{name}({argument}={what}): changed what it belongs to")
    print(dict(counts), len(faults))
    assert not faults, "\n".join([f"{len(faults)} of {counts['calls']}", *faults[:60]])
