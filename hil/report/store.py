"""Files of evidence are whole or not there.

A report is written to a temporary name in the same folder, its length checked, synced, read
back, and only then renamed.  A disk may say "full" at the write, cut the write short without a
word, or say so first at the sync: in every case the old file stays and StoreError names the path
and the bytes that are missing.
"""

import contextlib
import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from hil.core.error import StoreError


def write_whole(path: Path, content: bytes, check: Callable[[bytes], None] | None = None) -> None:
    """Write a file so that readers see the old one or all of the new one.

    `check` is given the bytes as read back and raises ValueError where they are no good.
    Raises StoreError; the old file is then untouched.
    """

    def look(temporary: Path) -> None:
        back = temporary.read_bytes()
        if back != content:
            raise StoreError(f"{path} was not written: what was read back differs")
        if check is not None:
            check(back)

    _write(path, (content,), look, len(content))


def write_pieces(path: Path, pieces: Iterable[bytes]) -> int:
    """Write a file piece by piece, as whole as `write_whole` does; return its size.

    Not more than a piece is ever held.  Raises StoreError; the old file is then untouched.
    """
    told = hashlib.sha256()

    def passed() -> Iterator[bytes]:
        for piece in pieces:
            told.update(piece)
            yield piece

    def look(temporary: Path) -> None:
        with temporary.open("rb") as file:
            if hashlib.file_digest(file, "sha256").digest() != told.digest():
                raise StoreError(f"{path} was not written: what was read back differs")

    return _write(path, passed(), look)


def _write(
    path: Path, pieces: Iterable[bytes], look: Callable[[Path], None], size: int | None = None
) -> int:
    """Write pieces to a temporary file, look at that, and let it take the place of the old one."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        written = _write_synced(temporary, pieces)
        look(temporary)
        os.replace(temporary, path)
        _sync_folder(path.parent)
    except OSError as error:
        raise StoreError(
            f"{path} was not written: {_missing(temporary, size)}{error.strerror or error}"
            + (")" if size is not None else "")
        ) from error
    except ValueError as error:
        raise StoreError(f"{path} was not written: {error}") from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink()
    return written


def _missing(temporary: Path, size: int | None) -> str:
    """Say how much is missing, where the whole size is known."""
    if size is None:
        return ""
    written = min(temporary.stat().st_size, size) if temporary.exists() else 0
    return f"{size - written} of {size} bytes are missing ("


def _write_synced(path: Path, pieces: Iterable[bytes]) -> int:
    file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    try:
        for piece in pieces:
            rest = memoryview(piece)
            while rest:
                rest = rest[os.write(file, rest) :]
        os.fsync(file)
        return os.fstat(file).st_size
    finally:
        os.close(file)


def _sync_folder(folder: Path) -> None:
    file = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(file)
    finally:
        os.close(file)


def new_folder(reports: Path, name: str) -> Path:
    """Make a folder that was not there before: `name`, or `name-2`, `name-3` and so on.

    Raises StoreError.
    """
    count = 1
    while True:
        folder = reports / (name if count == 1 else f"{name}-{count}")
        try:
            reports.mkdir(parents=True, exist_ok=True)
            folder.mkdir()
        except FileExistsError:
            if not reports.is_dir():
                raise StoreError(f"{reports} is not a folder") from None
            count += 1
        except OSError as error:
            raise StoreError(f"{folder} could not be made: {error.strerror or error}") from error
        else:
            return folder


def forget_latest(reports: Path) -> None:
    """Take away the `latest` link first, so that nobody takes last night's report for this one."""
    try:
        (reports / "latest").unlink()
    except (FileNotFoundError, NotADirectoryError):
        return  # there is none
    except OSError as error:
        why = error.strerror or error
        raise StoreError(f"{reports / 'latest'} could not be removed: {why}") from error


def point_latest(folder: Path) -> None:
    """Let `latest` beside the folder lead to it.  Raises StoreError."""
    link = folder.parent / "latest"
    temporary = folder.parent / f".latest.{os.getpid()}"
    try:
        os.symlink(folder.name, temporary)
        os.replace(temporary, link)
    except OSError as error:
        raise StoreError(f"{link} could not be made: {error.strerror or error}") from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink()
