"""Desks that are killed, 25 times (IDKEY_LONG_TESTS=1: 200), and two that write at once: nothing is lost."""

import os
import random
import signal
import time
from collections import Counter

import pytest
from killed import begin, end

import idkey

from .desks import keep_some, of_id, seen

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows has neither fork nor SIGKILL")
LONG = bool(os.environ.get("IDKEY_LONG_TESTS"))
KILLS = 200 if LONG else 25


def wait_for(noted, word, count):
    until = time.monotonic() + 50
    while noted.read_text().count(word) < count:
        assert time.monotonic() < until
        time.sleep(0.002)


def test_killed_at_any_moment_every_confirmed_look_is_there_and_none_twice(desks, address, tmp_path):
    noted, chance = tmp_path / "noted", random.Random(1)
    noted.touch()
    idkey.open_book(address).close()
    done, cut_short, written = {}, 0, 0
    for turn in range(KILLS):
        # Every fifth dies when a fish is in the book and nobody knows: that moment is too short to be hit.
        unsaid = chance.choice((1, 2, 3)) if turn % 5 == 4 else 0
        child = begin(desks, "keep for ever", address, noted, unsaid)
        if not unsaid:
            # By what it has done, not by the clock: a machine may be slow. Every fifth dies early.
            wait_for(noted, "done", len(done) + turn % 5)
            time.sleep(chance.uniform(0, 0.06))
            os.kill(child, signal.SIGKILL)
        assert end(desks) == -signal.SIGKILL
        lines = [line.split() for line in noted.read_text().splitlines()]
        done = {fish_id: int(number) for what, fish_id, *rest in lines if what == "done" for number in rest}
        unsure = {line[1] for line in lines if line[0] == "begun"} - done.keys()
        with idkey.open_book(address) as book:
            looks = book.looks()
        assert set(Counter(str(look.fish_id) for look in looks).values()) <= {1}
        found = {str(look.fish_id): look for look in looks}
        assert done.keys() <= found.keys() <= done.keys() | unsure
        assert all(found[fish_id].number == number for fish_id, number in done.items())
        assert sorted(look.number for look in looks) == [*range(1, len(looks) + 1)]
        assert all(look.answers == dict(of_id(fish_id).answers) for fish_id, look in found.items())
        cut_short += bool(unsure)
        unknown = bool(unsure & found.keys())
        assert unknown or not unsaid
        written += unknown
    assert len(done) > KILLS
    # The kills did hit fish on their way, before they were written and after.
    assert KILLS // 5 <= written < cut_short


def test_two_desks_write_to_one_book_at_once_and_neither_loses_anything(desks, address):
    with idkey.open_book(address) as book:
        book.keep(seen(0))
        begin(desks, "keep some", address, "second", 15)
        keep_some(address, "first", 15)
        assert end(desks) == 0
        looks, events = book.looks(), book.events()
        assert sorted({look.number for look in looks}) == [*range(1, 32)]
        tags = {look.tag for look in looks}
        assert tags == {"", *(f"{tag} {n}" for tag in ("first", "second") for n in range(15))}
        again = [(look.who, look.answers["adult_size"]) for look in looks if look.number == 1 and look.who]
        assert sorted(again) == sorted((tag, str(40 + n)) for tag in ("first", "second") for n in range(15))
        # Both did write while the other was at it, and it lies where the last of the two put it.
        moved = [event for event in events if event.what == "moved"]
        assert len(moved) == 30
        assert len([a for a, b in zip(moved, moved[1:], strict=False) if a.who != b.who]) > 1
        assert book.fish(1).tank == moved[-1].detail
        assert [fish.number for fish in book.find(moved[-1].detail)][-1] == 1
