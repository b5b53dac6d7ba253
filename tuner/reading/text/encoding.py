"""Bytes into text: gz, byte order mark, UTF-8/16/32, Latin-1; binary files are refused.

Takes the bytes of a file; gives them as UTF-8 with plain line ends.
"""

from __future__ import annotations

import codecs
import gzip
import io
import re
import zlib
from typing import NamedTuple

from tuner.errors import ReadError

LARGEST = 4 * 1024**3  # bytes of text after unpacking
LONGEST_LINE = 65536  # bytes
PIECE = 2**24  # bytes that are unpacked at once
HEAD = 65536  # bytes that are looked at before anything is decided

_EXPORT = "Export the data as CSV text and read that."
SAVE_AS_CSV = "In the spreadsheet program: File, Save as, CSV (or Download, CSV)."
_ZIP = b"PK\x03\x04"
_OLD_DOCUMENT = b"\xd0\xcf\x11\xe0"
_FORMATS: tuple[tuple[bytes, str], ...] = (
    (_ZIP, "a zip archive or a spreadsheet"),
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"BZh", "a bz2 archive"),
    (b"\xfd7zXZ", "an xz archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"SQLite format 3", "a database"),
    (b"PAR1", "a Parquet file"),
    (b"MATLAB ", "a binary matrix file"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive"),
)
_MARKS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_CONTROL = bytes(c for c in range(32) if c not in b"\t\n\r\f\x1a")
_DELETE = re.compile(b"[" + re.escape(_CONTROL) + b"]")


class Text(NamedTuple):
    """The text of a file as UTF-8 bytes whose lines end in a line feed and nothing else."""

    body: bytes
    decided: tuple[str, ...]


def _unpack(data: bytes, name: str) -> bytes:
    """Unpack a gz file of one or several members, at most `LARGEST` bytes of text."""
    stream = gzip.GzipFile(fileobj=io.BytesIO(data))
    parts: list[bytes] = []
    size = 0
    try:
        while part := stream.read(PIECE):
            parts.append(part)
            size += len(part)
            if size > LARGEST:
                raise ReadError(f"{name} must unpack to at most {LARGEST >> 30} GiB; found more")
    except EOFError:
        raise ReadError(
            f"{name} must be a whole gz file; it ends too early",
            hint="Copy the file again; the end is missing.",
        ) from None
    except gzip.BadGzipFile as error:
        if "Not a gzipped" in str(error):
            raise ReadError(f"{name} must be a whole gz file; found other bytes after its end") from None
        raise _damaged(name, error) from None
    except zlib.error as error:
        raise _damaged(name, error) from None
    return b"".join(parts)


def _damaged(name: str, error: Exception) -> ReadError:
    return ReadError(
        f"{name} must be a whole gz file; found damaged packing ({error})",
        hint="Copy the file again or unpack it first.",
    )


def spreadsheet_in(data: bytes) -> str:
    """Say which kind of spreadsheet these bytes are, "" for anything else."""
    if data.startswith(_ZIP):
        head = data[:HEAD]
        if b"application/vnd.oasis.opendocument" in head:
            return "a spreadsheet (.ods)"
        return "a spreadsheet (.xlsx)" if b"xl/" in data or b"[Content_Types].xml" in head else ""
    return "an old spreadsheet or document (.xls)" if data.startswith(_OLD_DOCUMENT) else ""


def _guess(data: bytes) -> str:
    """UTF-16 without a mark shows as a zero in every other byte."""
    head = data[: HEAD - HEAD % 2]
    half = max(len(head) // 2, 1)
    if head[1::2].count(0) > 0.7 * half and head[::2].count(0) < 0.05 * half:
        return "utf-16-le"
    if head[::2].count(0) > 0.7 * half and head[1::2].count(0) < 0.05 * half:
        return "utf-16-be"
    return "utf-8"


def _binary(body: bytes, name: str) -> None:
    spot = body.find(b"\0")
    if spot < 0:
        found = _DELETE.search(body, 0, HEAD)
        spot = -1 if found is None else found.start()
    if spot >= 0:
        line = body.count(b"\n", 0, spot) + 1
        raise ReadError(
            f"{name} must be text; line {line} holds the control character {body[spot]:#04x}", hint=_EXPORT
        )


def _as_utf8(data: bytes, name: str) -> tuple[bytes, str]:
    mark, encoding = next(((m, e) for m, e in _MARKS if data.startswith(m)), (b"", ""))
    if not encoding:
        encoding = _guess(data)
    data = data[len(mark) :]
    if encoding != "utf-8":
        try:
            return data.decode(encoding).encode(), encoding.upper()
        except UnicodeError:
            raise ReadError(
                f"{name} must be text in one encoding; found bytes that are not {encoding.upper()}",
                hint="The file may be cut off; copy it again or save it as UTF-8.",
            ) from None
    if data.isascii():
        return data, ""
    try:
        data.decode()
    except UnicodeDecodeError:
        _binary(data, name)
        try:
            return data.decode("cp1252").encode(), "Latin-1"
        except UnicodeDecodeError:
            return data.decode("latin-1").encode(), "Latin-1"
    return data, "UTF-8"


def text_of(data: bytes, name: str) -> Text:
    """Turn the bytes of a file into UTF-8 text.

    Raises ReadError for an empty file, a binary one, a damaged gz file, or text in no encoding that is known.
    """
    decided: list[str] = []
    if data[:2] == b"\x1f\x8b":
        data = _unpack(data, name)
        decided.append("the file was unpacked from gz")
    if re.search(rb"[^\s\0]", data) is None:
        raise ReadError(f"{name} must hold a table; the file is empty", hint="Check the export or the copy.")
    spreadsheet = spreadsheet_in(data)
    if spreadsheet:
        raise ReadError(
            f"{name} must be CSV text; it is {spreadsheet}: save as CSV and give that", hint=SAVE_AS_CSV
        )
    for start, what in _FORMATS:
        if data.startswith(start):
            raise ReadError(f"{name} must be CSV text; it is {what}", hint=_EXPORT)
    body, encoding = _as_utf8(data, name)
    if encoding not in ("", "UTF-8"):
        decided.append(f"encoding {encoding.replace('-LE', '').replace('-BE', '')}")
    _binary(body, name)
    if b"\r" in body:
        body = body.replace(b"\r\r\n", b"\n").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if body.endswith(b"\x1a"):  # the end-of-file character of old systems
        body = body[:-1]
    return Text(body.replace(b"\f", b" ") if b"\f" in body else body, tuple(decided))
