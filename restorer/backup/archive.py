"""The one file of a backup: a tar archive whose last members are a manifest and its hash.

    book.dump  keys.json  files/…  manifest.json  manifest.sha256

Encrypted, it is a tar archive of two members in the age format, an open one: `key.age`, a key of
its own under the passphrase, and `book.tar.age`, the archive above under that key. Any program for
the format opens them without us: first key.age by the passphrase, then book.tar.age by the key.
A file that is cut off lacks the manifest; one that was changed has another hash.
"""

import hashlib
import io
import os
import shutil
import tarfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import IO

import pyrage

from restorer.backup.manifest import FileRecord, Manifest
from restorer.backup.problem import BackupError

DUMP = "book.dump"
KEYS = "keys.json"
FILES = "files/"
MANIFEST = "manifest.json"
MANIFEST_HASH = "manifest.sha256"
LOCKED_KEY = "key.age"
LOCKED_BOOK = "book.tar.age"
BLOCK = tarfile.BLOCKSIZE
CHUNK = 1024 * 1024
CUT_OFF = "is cut off or damaged: it has no end. Take another backup."
NO_BACKUP = "is no backup of this program."
READ_MISTAKES = (tarfile.TarError, EOFError, UnicodeDecodeError, ValueError, KeyError, TypeError)


class HashingReader:
    """A file that is hashed while it is read."""

    def __init__(self, file: IO[bytes]) -> None:
        self.file = file
        self.digest = hashlib.sha256()
        self.size = 0

    def read(self, size: int = -1) -> bytes:
        data = self.file.read(size)
        self.digest.update(data)
        self.size += len(data)
        return data

    @property
    def record(self) -> FileRecord:
        return FileRecord(self.size, self.digest.hexdigest())


class CountingSink:
    """What tarfile needs of a file to write to; a pipe cannot say how far it is."""

    def __init__(self, out: IO[bytes]) -> None:
        self.out = out
        self.count = 0

    def write(self, data: bytes) -> int:
        self.count += len(data)
        return self.out.write(data)

    def tell(self) -> int:
        return self.count


class ArchiveWriter:
    """Writes the members one after the other, and at the end what they are."""

    def __init__(self, out: IO[bytes]) -> None:
        self.tar = tarfile.TarFile(
            fileobj=CountingSink(out),  # type: ignore[arg-type] # all it needs
            mode="w",
            format=tarfile.GNU_FORMAT,
        )
        self.records: dict[str, FileRecord] = {}

    def add(self, name: str, file: IO[bytes], size: int) -> None:
        reader = HashingReader(file)
        member = tarfile.TarInfo(name)
        member.size = size
        member.mode = 0o600
        self.tar.addfile(member, reader)
        self.records[name] = reader.record

    def add_bytes(self, name: str, content: bytes) -> None:
        self.add(name, io.BytesIO(content), len(content))

    def finish(self, manifest: Manifest) -> Manifest:
        """With what was added."""
        whole = replace(manifest, members=dict(self.records))
        content = whole.to_json()
        self.add_bytes(MANIFEST, content)
        self.add_bytes(MANIFEST_HASH, hashlib.sha256(content).hexdigest().encode())
        self.tar.close()
        return whole


@contextmanager
def new_file(path: Path) -> Iterator[IO[bytes]]:
    """A file that has its name only once it is whole and on the disk."""
    part = part_path(path)
    part.unlink(missing_ok=True)
    try:
        with open(os.open(part, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600), "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.rename(path)
    finally:
        part.unlink(missing_ok=True)


def part_path(path: Path) -> Path:
    return path.with_name(f".{path.name}.part")


def write_archive(
    out: IO[bytes], passphrase: str, write: Callable[[ArchiveWriter], object]
) -> None:
    """What `write` adds, as it is or encrypted."""
    if not passphrase:
        write(ArchiveWriter(out))
        return
    key = pyrage.x25519.Identity.generate()
    locked = pyrage.passphrase.encrypt(str(key).encode(), passphrase)
    with tarfile.open(fileobj=out, mode="w", format=tarfile.GNU_FORMAT) as tar:
        member = tarfile.TarInfo(LOCKED_KEY)
        member.size = len(locked)
        tar.addfile(member, io.BytesIO(locked))
    out.seek(2 * BLOCK)  # behind that one: a header and one block
    write_locked_book(out, lambda pipe: write(ArchiveWriter(pipe)), key)


def write_locked_book(
    out: IO[bytes], write: Callable[[IO[bytes]], object], key: "pyrage.x25519.Identity"
) -> None:
    """The second member. How long it is is known only afterwards, so its header comes last."""
    start = out.tell()
    out.write(bytes(BLOCK))
    with piped(write) as source:
        pyrage.encrypt_io(source, out, [key.to_public()])
    end = out.tell()
    member = tarfile.TarInfo(LOCKED_BOOK)
    member.size = end - start - BLOCK
    out.write(bytes(-end % BLOCK + 2 * BLOCK))
    out.truncate()
    out.seek(start)
    out.write(member.tobuf(tarfile.GNU_FORMAT))
    out.seek(0, os.SEEK_END)


class PipeWriter(threading.Thread):
    """Writes into a pipe while somebody reads from it."""

    def __init__(self, write: Callable[[IO[bytes]], object], pipe: int) -> None:
        super().__init__(daemon=True)
        self.write = write
        self.pipe = pipe
        self.mistake: BaseException | None = None

    def run(self) -> None:
        try:
            with open(self.pipe, "wb", buffering=CHUNK) as sink:
                self.write(sink)
        except BrokenPipeError:
            pass  # the reader had a mistake of its own
        except BaseException as mistake:
            self.mistake = mistake


@contextmanager
def piped(write: Callable[[IO[bytes]], object]) -> Iterator[IO[bytes]]:
    """What `write` writes, to be read at the same time. Its mistake is raised at the end, and
    comes before that of the reader, which only follows from it."""
    reading, writing = os.pipe()
    writer = PipeWriter(write, writing)
    writer.start()
    try:
        with open(reading, "rb", buffering=CHUNK) as source:
            yield source
    finally:
        writer.join()
        if writer.mistake:
            raise writer.mistake


def extract_archive(path: Path, into: Path, passphrase: Callable[[], str]) -> Manifest:
    """All members as files, each compared with the manifest before anything is made of them.

    `passphrase` is asked only if the file is encrypted.
    """
    try:
        with path.open("rb") as file:
            return extract_checked(file, path, into, passphrase)
    except READ_MISTAKES as mistake:
        raise BackupError(f"{path} {CUT_OFF}") from mistake
    except OSError as mistake:
        raise BackupError(f"{path}: {mistake.strerror or mistake}.") from mistake


def extract_checked(
    file: IO[bytes], path: Path, into: Path, passphrase: Callable[[], str]
) -> Manifest:
    first = first_member(file, path)
    if first == DUMP:
        records = extract_members(file, into)
    elif first == LOCKED_KEY:
        with unlocked(file, path, passphrase) as plain:
            records = extract_members(plain, into)
    else:
        raise BackupError(f"{path} {NO_BACKUP}")
    manifest = read_manifest(into, path)
    manifest.require_same(records, of=path)
    return manifest


def is_encrypted(path: Path) -> bool:
    with path.open("rb") as file:
        return first_member(file, path) == LOCKED_KEY


def first_member(file: IO[bytes], path: Path) -> str:
    try:
        return tarfile.TarInfo.frombuf(file.read(BLOCK), "utf-8", "surrogateescape").name
    except tarfile.TarError as mistake:
        raise BackupError(f"{path} {NO_BACKUP}") from mistake
    finally:
        file.seek(0)


@contextmanager
def unlocked(file: IO[bytes], path: Path, passphrase: Callable[[], str]) -> Iterator[IO[bytes]]:
    """The archive inside an encrypted one."""
    with tarfile.open(fileobj=file, mode="r|") as tar:
        locked = member_file(tar, LOCKED_KEY).read()
        try:
            key = pyrage.passphrase.decrypt(locked, passphrase()).decode()
        except pyrage.DecryptError as mistake:
            raise BackupError(f"The passphrase is not the one of {path}.") from mistake
        identity = pyrage.x25519.Identity.from_str(key)
        source = member_file(tar, LOCKED_BOOK)
        try:
            with piped(lambda sink: pyrage.decrypt_io(source, sink, [identity])) as plain:
                yield plain
        except (pyrage.DecryptError, OSError) as mistake:
            raise BackupError(f"{path} {CUT_OFF}") from mistake


def member_file(tar: tarfile.TarFile, name: str) -> IO[bytes]:
    member = tar.next()
    found = tar.extractfile(member) if member and member.name == name else None
    if found is None:
        raise tarfile.ReadError(f"no {name}")
    return found


def extract_members(file: IO[bytes], into: Path) -> dict[str, FileRecord]:
    records = {}
    with tarfile.open(fileobj=file, mode="r|") as tar:
        for member in tar:
            content = tar.extractfile(member)
            if content is None:
                raise tarfile.ReadError(f"{member.name} is no file")
            reader = HashingReader(content)
            target = into / safe_name(member.name)
            target.parent.mkdir(parents=True, exist_ok=True)
            with target.open("xb") as out:
                shutil.copyfileobj(reader, out, CHUNK)
            records[member.name] = reader.record
        while file.read(CHUNK):
            pass  # to the end: what is encrypted proves itself only there
    return records


def safe_name(name: str) -> str:
    """Below the folder it is unpacked into, whatever the archive says."""
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts:
        raise tarfile.ReadError(f"{name} would lie outside")
    return name


def read_manifest(folder: Path, path: Path) -> Manifest:
    if not (folder / MANIFEST_HASH).exists():
        raise BackupError(f"{path} {CUT_OFF}")
    content = (folder / MANIFEST).read_bytes()
    if hashlib.sha256(content).hexdigest() != (folder / MANIFEST_HASH).read_text():
        raise BackupError(f"{path} was changed after it was made: its manifest is another.")
    return Manifest.from_json(content)
