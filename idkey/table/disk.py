"""A folder of files on disk: read whole, saved whole, old versions kept. Knows bytes and names, and no table.

A save is written beside the files, in ``.idkey/next-...``, and counts from the moment at which that folder is
renamed to ``.idkey/commit``. Killed before, nothing was saved; killed after, whoever opens the folder next
finishes the save. Every step of finishing can be done twice. What is damaged there is set aside and told,
what leads out of the folder is left alone, and a folder without the right to write is only read.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import re
import secrets
import shutil
import stat
import time
import warnings
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import chain, count
from pathlib import Path
from typing import Any, TypeVar

from idkey.errors import NO_RIGHT, IdkeyError, Problem, TableError, UnknownName, one_of, refusal
from idkey.table.layout import MOST_BYTES, OURS

MOST_VERSIONS = 10  # old versions kept

_OWN = ".idkey"  # in a table's folder: the lock, the old versions, and a save on its way
_COMMIT, _VERSIONS = "commit", "versions"
_NOTE, _MANIFEST = "note.json", "manifest.json"
_WAIT_S, _POLL_S, _MOST_TRIES = 10.0, 0.02, 25
_VERSION = re.compile(r"\d{6,12}-\d{8}T\d{6}Z")
_JUNCTION = 0xA0000003  # what Windows calls a folder that stands for another one
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Version:
    """The files of a folder as they stood before a save; `when` that save came, and its `note`."""

    name: str
    when: str
    note: str

    def __repr__(self) -> str:
        return f"{self.name}: as it was before {self.when} ({self.note})"


def digests(files: Mapping[str, bytes]) -> dict[str, str]:
    """Return the SHA-256 of each file by name."""
    return {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}


def read_files(folder: str | Path, names: Collection[str]) -> dict[str, bytes]:
    """Read the files of a folder as one save left them, never half of one save and half of another.

    A name that is not there is left out of what is returned. Of a file past the limit of size no more is read
    than shows that it is too long. Raises IdkeyError where the folder or a file can't be read, or is locked.
    """
    return _whole(folder, lambda place: _read(place, names))


def commit(
    folder: str | Path,
    new: Mapping[str, bytes | None],
    expected: Mapping[str, str],
    note: str = "",
) -> dict[str, str]:
    """Save files to a folder: all of them or none, and only over what the caller knows to be there.

    `new` is the content by name, None to take a file away; files not named stay. `expected` is the digest of
    each file as the caller last saw it; a name that is absent must have no file. The `note` says what this
    save is. Returns the digests of the files as they stand now. Raises IdkeyError, and saves nothing, when
    a file was changed meanwhile (each is named), or the disk, a right or the lock is in the way.
    """
    names = sorted({*new, *expected})
    with _plainly(Path(folder), "nothing was saved"):
        place = Path(folder).resolve()
        place.mkdir(parents=True, exist_ok=True)
        if why := _not_ours(place):
            raise IdkeyError(
                f"{why}; nothing was saved; move {_OWN} out of the folder, or save to another one"
            )
        # Asked once without the lock, so that a refusal leaves no trace in a folder that was never saved to.
        if not (place / _OWN).is_dir() and not _changed(place, names, new, expected)[1]:
            return dict(expected)
        with _locked(place):
            before, changed = _changed(place, names, new, expected)
            if changed:
                _write_next(place, before, changed, note)
                with _plainly(place, "the save is kept; it is put in place when the folder is next loaded"):
                    _sync_folder(place / _OWN, place.parent)
                    _finish(place)
    return digests({name: data for name, data in {**before, **changed}.items() if data is not None})


def versions(folder: str | Path) -> tuple[Version, ...]:
    """Return the old versions that are kept of a folder, newest first."""
    return _whole(folder, lambda place: tuple(map(_version, _version_folders(place))))


def version_files(folder: str | Path, name: str) -> dict[str, bytes]:
    """Return the files of an old version by its name. Raises UnknownName where no such version is kept."""
    return _whole(folder, lambda place: _files_of_version(place, name))


def _whole(folder: str | Path, read: Callable[[Path], _T]) -> _T:
    """Read while nobody saves: under the lock, or where that can't be had, again until nothing moved."""
    with _plainly(Path(folder), "nothing was read"):
        place = Path(folder).resolve()
        if not place.is_dir():
            raise IdkeyError(f"{folder}: no such folder")
        if why := _not_ours(place):
            warnings.warn(f"{why}; it was left alone, and the files are read as they stand", stacklevel=3)
        elif (place / _OWN).exists() and all(os.access(at, os.W_OK) for at in (place, place / _OWN)):
            try:
                with _locked(place):
                    return read(place)
            except OSError as error:
                if error.errno not in NO_RIGHT:
                    raise
        # Made by hand, or not ours to write to, so that no lock can be left in it.
        for _ in range(_MOST_TRIES):
            found = read(place)
            # No save is on its way at this moment: what is the same before and after it stood there then.
            if (why or not _waiting(place)) and found == read(place):
                return found
            time.sleep(_POLL_S)
        raise IdkeyError(
            f"{place}: a save to this folder is not finished; load it once with the right to write there"
        )


def _not_ours(folder: Path) -> str:
    """Say what in .idkey no save can have put there; blank where all is well.

    A folder that came from somebody else may hold links or names that lead out of it, so that finishing a
    save or clearing up would overwrite or delete files elsewhere.
    """
    own = folder / _OWN
    within = (Path(at, name) for at, folders, files in os.walk(own) for name in (*folders, *files))
    try:
        away = next(filter(_leads_away, chain([own], within)), None)
    except RecursionError:
        return f"{folder}: {_OWN} holds folders within folders, too deep to look through"
    if away:
        return f"{folder}: {away.relative_to(folder)} stands for something outside this folder"
    try:
        version, files = _manifest(own / _COMMIT / _MANIFEST)
    except IdkeyError:  # None is waiting, or it is damaged, which whoever has the lock says.
        return ""
    names = [name for name in files if name not in OURS]
    names += [] if version is None or _VERSION.fullmatch(version) else [version]
    shown = ", ".join(repr(name[:60]) for name in names[:5])
    return f"{folder}: an unfinished save names what is no file of a table: {shown}" if names else ""


def _leads_away(path: Path) -> bool:
    try:
        state = path.lstat()
    except OSError as error:
        return not isinstance(error, FileNotFoundError)
    if stat.S_ISLNK(state.st_mode) or getattr(state, "st_reparse_tag", 0) == _JUNCTION:
        return True
    # The lock is opened for writing, and the same file may have a second name elsewhere.
    regular, folder = stat.S_ISREG(state.st_mode), stat.S_ISDIR(state.st_mode)
    return path.name == "lock" and not folder and (not regular or state.st_nlink > 1)


def _read(folder: Path, names: Collection[str]) -> dict[str, bytes]:
    found, problems = {}, []
    for name in names:
        try:
            data = _bytes_of(folder / name)
        except OSError as error:
            problems.append(Problem(name, "", "", folder.name, f"the file cannot be read ({refusal(error)})"))
        else:
            found |= {} if data is None else {name: data}
    if problems:
        raise TableError(problems, "read or saved")
    return found


def _bytes_of(path: Path) -> bytes | None:
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(mode):  # A pipe would be waited on for ever.
        raise OSError(errno.EINVAL, "it is no plain file; move it out of the folder")
    with path.open("rb") as file:
        return file.read(MOST_BYTES + 1)


def _version_folders(folder: Path) -> list[Path]:
    """Newest first."""
    kept = [path for path in (folder / _OWN / _VERSIONS).glob("*-*") if _VERSION.fullmatch(path.name)]
    return sorted(kept, key=_number, reverse=True)


def _number(version: Path) -> int:
    return int(version.name.partition("-")[0])


def _version(path: Path) -> Version:
    try:
        note = json.loads(_bytes_of(path / _NOTE) or b"")
        return Version(path.name, str(note["when"]), str(note["note"]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return Version(path.name, "", "")


def _files_of_version(folder: Path, name: str) -> dict[str, bytes]:
    kept = {path.name: path for path in _version_folders(folder)}
    if name in kept:
        return _read(kept[name], OURS)
    right = one_of(name, tuple(kept), "the name of a version") if kept else "no version is kept yet"
    raise UnknownName(f"{folder}: version {name!r} is not kept here: {right}")


def _changed(
    folder: Path, names: Collection[str], new: Mapping[str, bytes | None], expected: Mapping[str, str]
) -> tuple[dict[str, bytes], dict[str, bytes | None]]:
    """What is on disk, and the part of `new` that differs; an error if the disk is not as expected."""
    before = _read(folder, names)
    found = digests(before)
    if other := [name for name in names if found.get(name) != expected.get(name)]:
        raise IdkeyError(
            f"{folder}: changed since it was loaded: {', '.join(other)}; nothing was saved; "
            "load the folder again, or save to another one"
        )
    return before, {name: data for name, data in new.items() if data != before.get(name)}


def _write_next(
    folder: Path, before: Mapping[str, bytes], changed: Mapping[str, bytes | None], note: str
) -> None:
    """Write all that a save needs beside the files; the rename at the end makes it count."""
    for name in changed:
        # A file that is write-protected or held by another program is found out before anything moves.
        if name in before:
            with (folder / name).open("r+b"):
                pass
    now = datetime.now(UTC)
    number = max(map(_number, _version_folders(folder)), default=0) + 1
    written = {name: data for name, data in changed.items() if data is not None}
    old, new = digests(before), digests(written)
    manifest = {
        "version": f"{number:06d}-{now:%Y%m%dT%H%M%SZ}" if before else None,
        "files": {name: {"old": old.get(name), "new": new.get(name)} for name in changed},
    }
    coming = folder / _OWN / f"next-{secrets.token_hex(8)}"
    try:
        (coming / "new").mkdir(parents=True)
        (coming / "before").mkdir()
        for name, data in before.items():
            _write(coming / "before" / name, data)
        _write(coming / "before" / _NOTE, {"when": now.isoformat(timespec="seconds"), "note": note})
        for name, data in written.items():
            _write(coming / "new" / name, data)
        _write(coming / _MANIFEST, manifest)
        _sync_folder(coming / "new", coming / "before", coming)
        os.rename(coming, folder / _OWN / _COMMIT)
    except BaseException:
        shutil.rmtree(coming, ignore_errors=True)
        raise


def _finish(folder: Path) -> None:
    """Finish a save that counts, then clear what a killed one left behind. Only under the lock."""
    own = folder / _OWN
    pending = own / _COMMIT
    for path in (pending, own / _VERSIONS):
        if path.is_file():
            _set_aside(path)
    if _damage(pending):
        _set_aside(pending)
    if pending.is_dir():
        version, files = _manifest(pending / _MANIFEST)
        if version and (pending / "before").is_dir():
            (own / _VERSIONS).mkdir(exist_ok=True)
            os.rename(pending / "before", own / _VERSIONS / version)
            _sync_folder(own / _VERSIONS)
        for name, digest in files.items():
            _put(folder / name, pending / "new" / name, digest["old"], digest["new"])
        _sync_folder(folder)
        _discard(pending)
    for version_folder in _version_folders(folder)[MOST_VERSIONS:]:
        _discard(version_folder)
    for left in (*own.glob("next-*"), *own.glob("gone-*")):
        shutil.rmtree(left, ignore_errors=True)


def _manifest(path: Path) -> tuple[str | None, dict[str, dict[str, str | None]]]:
    """Return the version that a save replaces, and the digests of each file before and after it."""
    try:
        found = json.loads(_bytes_of(path) or b"")
        files = {name: {"old": both["old"], "new": both["new"]} for name, both in found["files"].items()}
        texts = [found["version"], *(text for both in files.values() for text in both.values())]
        if not all(text is None or isinstance(text, str) for text in texts):
            raise TypeError
        return found["version"], files
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise IdkeyError(f"{path}: can't be read") from error


def _damage(pending: Path) -> bool:
    """Whether a save that counts is there and can't be finished."""
    if not pending.is_dir():
        return False
    try:
        version, files = _manifest(pending / _MANIFEST)
        if (pending / "before").exists() and version and (pending.parent / _VERSIONS / version).exists():
            return True
        waiting = _read(pending / "new", [name for name in files if (pending / "new" / name).exists()])
    except IdkeyError:
        return True
    found = digests(waiting)
    return not (pending / "new").is_dir() or any(files[name]["new"] != found[name] for name in found)


def _waiting(folder: Path) -> bool:
    """Whether a save is to be finished by whoever has the right to."""
    pending = folder / _OWN / _COMMIT
    return pending.is_dir() and not _damage(pending)


def _clear_way(folder: Path) -> None:
    """Set aside what stands where the lock and the folder around it should be."""
    own, lock = folder / _OWN, folder / _OWN / "lock"
    if own.is_file():
        _set_aside(own)
    elif lock.is_dir():
        _set_aside(lock)


def _set_aside(path: Path) -> None:
    aside = path.with_name(f"{path.name}-damaged-{secrets.token_hex(4)}")
    os.rename(path, aside)
    told = f"{path}: was damaged, and no save can have left it so; it was set aside as {aside.name}"
    warnings.warn(f"{told}, and the files are read as they stand", stacklevel=3)


def _put(place: Path, waiting: Path, old: str | None, new: str | None) -> None:
    """Put one file of a save in place. What someone wrote there by hand meanwhile is kept beside it."""
    if new is not None and not waiting.exists():
        return  # In place since an earlier try; what stands there now is later than this save.
    there = digests(_read(place.parent, (place.name,))).get(place.name)
    if there not in (None, old, new):
        os.rename(place, _aside(place))
    if new is None:
        place.unlink(missing_ok=True)
    else:
        os.replace(waiting, place)


def _aside(place: Path) -> Path:
    """Return a free name for a text that was edited by hand."""
    stem = f"{place.stem} (edited by hand {datetime.now(UTC):%Y%m%dT%H%M%SZ}"
    names = (f"{stem}{'' if n == 1 else f', {n}'}){place.suffix}" for n in count(1))
    return next(aside for aside in map(place.with_name, names) if not aside.exists())


def _discard(path: Path) -> None:
    """Take a folder out of the way in one step, so that half of it is never met under its name."""
    own = path.parent if path.name == _COMMIT else path.parents[1]
    gone = own / f"gone-{secrets.token_hex(8)}"
    os.rename(path, gone)
    shutil.rmtree(gone, ignore_errors=True)


def _write(path: Path, content: bytes | Mapping[str, Any]) -> None:
    with path.open("xb") as file:
        file.write(content if isinstance(content, bytes) else json.dumps(content, indent=1).encode())
        file.flush()
        os.fsync(file.fileno())


def _sync_folder(*folders: Path) -> None:
    """Have the names in a folder on the disk too. Windows has no such call."""
    for folder in folders if os.name != "nt" else ():
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Hold the lock of a folder, each save in it finished; the system frees it if this program is killed."""
    # Loading a table that nobody saves to needs no lock, and not the time to import one.
    from filelock import FileLock, Timeout

    _clear_way(folder)
    (folder / _OWN).mkdir(exist_ok=True)
    lock = FileLock(str(folder / _OWN / "lock"))
    try:
        lock.acquire(timeout=_WAIT_S, poll_interval=_POLL_S)
    except Timeout:
        raise IdkeyError(f"{folder}: another program is saving to this folder; try again") from None
    try:
        _finish(folder)
        yield
    finally:
        lock.release()


@contextmanager
def _plainly(folder: Path, outcome: str) -> Iterator[None]:
    """Say in one line what the system did not allow, where, and what came of it."""
    try:
        yield
    except IdkeyError:
        raise
    except (OSError, ValueError) as error:
        file = Path(str(getattr(error, "filename", None) or folder))
        at = file if file.name and _OWN not in file.parts else folder
        msg = f"{at}: {refusal(error)}; {outcome}"
        raise IdkeyError(" ".join(msg.split())) from error
