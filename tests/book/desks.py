"""What desks do in the tests of the book."""

import os
import signal
import uuid
from pathlib import Path

from shipped import TABLE

from idkey.book.book import open_book
from idkey.book.editions import edition_id
from idkey.model.identify import Identification

edition_id(TABLE)  # worked out once, before desks are forked


def seen(n, table=TABLE):
    """Return an identification whose answers tell fish of different numbers apart."""
    fish = Identification(table)
    fish.answer("pattern", "light_spots").answer("adult_size", 40 + n % 400).answer("tail_fork", None)
    return fish


def of_id(fish_id):
    """Return what was seen of the fish of this id, whoever asks."""
    return seen(uuid.UUID(fish_id).int % 400)


def desk(what, *arguments):
    """Do one of the things below."""
    {"keep for ever": keep_for_ever, "keep some": keep_some, "try": try_to_keep}[what](*arguments)


def keep_for_ever(address, noted, unsaid):
    """Keep fish, and note each before and after; those of which it is not known are sent again first.

    With `unsaid` not 0 it kills itself once so many fish are written, before it can say so of the last.
    """
    left = int(unsaid)
    lines = [line.split() for line in Path(noted).read_text().splitlines()]
    done = {fish_id for what, fish_id, *_ in lines if what == "done"}
    unsure = [
        *dict.fromkeys(fish_id for what, fish_id, *_ in lines if what == "begun" and fish_id not in done)
    ]
    handle = os.open(noted, os.O_WRONLY | os.O_APPEND)
    with open_book(address) as book:
        while True:
            fish_id = unsure.pop(0) if unsure else str(uuid.uuid4())
            fish = of_id(fish_id)
            os.write(handle, f"begun {fish_id}\n".encode())
            kept = book.keep(fish, tag=fish_id[:8], fish_id=fish_id)
            left -= 1
            if left == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            os.write(handle, f"done {fish_id} {kept.number}\n".encode())


def keep_some(address, tag, count):
    """Keep some fish, look at the first of all of them again, and move it."""
    with open_book(address) as book:
        for n in range(int(count)):
            book.keep(seen(n), tag=f"{tag} {n}", who=tag)
            book.look(1, seen(n), who=tag)
            book.tell(1, "moved", f"{tag} {n}", who=tag)


def try_to_keep(address, report, without):
    """Keep a fish without a right, or with no more room for a file than there is; report what came of it."""
    handle = os.open(report, os.O_WRONLY)
    if without == "room":
        import resource  # which Windows has not

        resource.setrlimit(resource.RLIMIT_FSIZE, (os.stat(address).st_size,) * 2)
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    elif os.geteuid() == 0:
        # Who is root may write anywhere.
        os.setgroups([])
        os.setgid(65534)
        os.setuid(65534)
    try:
        with open_book(address) as book:
            os.write(handle, f"{len(book.looks())} looks\n".encode())
            for n in range(100):
                book.keep(seen(n))
    except Exception as error:
        os.write(handle, f"{type(error).__name__}: {error}\n".encode())
