"""How fast a book of 100,000 invented fish is: ``python tests/benchmarks/book.py [address]``.

Nothing here is collected by pytest and no time is asserted. By default the book is a new file in a temporary
folder, which is taken away again; the address of an empty place on a server may be given.
"""

import sys
import tempfile
import uuid
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from time import perf_counter

from specimens import draw
from speed import measure, show
from sqlalchemy import insert, update

from idkey import Identification, load_table, open_book
from idkey.book.editions import edition_of
from idkey.book.entries import look_of, starts_of
from idkey.book.records import Bag, Box, Counter, Edition, Event, Fish, Look, Naming, Word

FISH, BAGS_A_BOX, FISH_A_BAG, LOOKS = 100_000, 5, 10, 200
BLOCK, SEED, REPEATS = 5_000, 20240, 15


def some_looks(table):
    """Return looks at fish drawn from the table, as columns."""
    drawn = draw(table, LOOKS, SEED)
    for at in range(LOOKS):
        fish = Identification(table)
        for trait, answer in drawn.fish(at).items():
            fish.answer(trait, answer)
        columns = look_of(fish, "K").as_dict().items()
        yield {name: value for name, value in columns if name not in ("id", "fish_id", "at", "zone")}


def fill(book, table):
    """Write the book in blocks, as no desk does."""
    looks, names = [*some_looks(table)], [table.label(taxon) for taxon in table.ids]
    began = datetime.now(UTC) - timedelta(days=365)
    edition = edition_of(table)
    boxes, bags = [], []
    for number in range(1, FISH // (BAGS_A_BOX * FISH_A_BAG) + 1):
        box = {"id": uuid.uuid4(), "number": number, "date": date(2026, 1, 1), "seller": f"S{number % 40}"}
        boxes.append(box)
        for at in range(1, BAGS_A_BOX + 1):
            label = f"L{(number * BAGS_A_BOX + at) % 500}"
            where = {"tank": f"rack {number % 90} tank {at}", "count": FISH_A_BAG}
            bags.append({"id": uuid.uuid4(), "box_id": box["id"], "number": at, "label": label, **where})
    with book._store.writing() as session:
        session.execute(insert(Edition), [edition.as_dict() | {"content": edition.content}])
        session.execute(insert(Box), boxes)
        session.execute(insert(Bag), bags)
        session.execute(update(Counter).where(Counter.name == "box").values(value=len(boxes)))
        session.execute(update(Counter).where(Counter.name == "fish").values(value=FISH))
    for start in range(0, FISH, BLOCK):
        rows = {kind: [] for kind in (Fish, Look, Naming, Event, Word)}
        for n in range(start, start + BLOCK):
            bag, fish_id, at = bags[n // FISH_A_BAG], uuid.uuid4(), began + timedelta(minutes=n)
            act = {"fish_id": fish_id, "at": at, "zone": "+00:00"}
            name, tag = names[n % len(names)], f"t{n}"
            known = {"id": fish_id, "number": n + 1, "bag_id": bag["id"], "tag": tag, "kept_at": at}
            rows[Fish].append(known)
            rows[Look].append(act | looks[n % LOOKS])
            given = {"taxon": table.ids[n % len(names)], "name": name, "probability": 0.5}
            rows[Naming].append(act | given | {"ground": "looked at"})
            rows[Event].append(act | {"what": "kept", "detail": bag["tank"]})
            texts = {"tag": tag, "tank": bag["tank"], "label": bag["label"], "name": name}
            words = [(what, word) for what, text in texts.items() for word in starts_of(text)]
            rows[Word] += [{"number": n + 1, "what": what, "text": word} for what, word in words]
        with book._store.writing() as session:
            for kind, found in rows.items():
                session.execute(insert(kind), found)


def main():
    with tempfile.TemporaryDirectory() as folder:
        table = load_table()
        address = sys.argv[1] if len(sys.argv) > 1 else Path(folder) / "book.sqlite"
        start = perf_counter()
        with open_book(address) as book:
            fill(book, table)
            print(f"{book}; filled in {perf_counter() - start:.0f} s", flush=True)
            if isinstance(address, Path):
                print(f"{address.stat().st_size / 1e6:.0f} MB")
        show("open the book", measure(lambda: open_book(address).close(), repeats=REPEATS)[0])
        with open_book(address) as book:
            fish = Identification(table).answer("pattern", "light_spots")
            fish.ranked()
            tasks = {
                "a box with its bags and 50 fish": partial(book.box, 1234),
                "a fish by its number": partial(book.fish, 77_777),
                "find a tag": partial(book.find, "t4711"),
                "find a label (200 fish, 50 shown)": partial(book.find, "L 123"),
                "find a tank (many fish, 50 shown)": partial(book.find, "rack 7"),
                "find a name (1,000 fish, 50 shown)": partial(book.find, "zebra"),
                "the last twenty": book.last,
                "keep a fish": partial(book.keep, fish, tag="new"),
                "how much it holds": partial(str, book),
            }
            for what, task in tasks.items():
                show(what, measure(task, repeats=REPEATS)[0])
            show(f"all {FISH:,} looks as rows", measure(book.looks, repeats=3)[0])


if __name__ == "__main__":
    main()
