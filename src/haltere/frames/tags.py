"""Reads the tag tables of TIFF, Exif and raw files, believing nothing they say."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
TYPE_BYTES |= {13: 4, 16: 8, 17: 8, 18: 8}
_CODES = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 11: "f", 12: "d", 13: "I"}
_CODES |= {16: "Q", 17: "q", 18: "Q"}
_MAX_ENTRIES = 4096
_MAX_VALUE_BYTES = 16 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Tag:
    """One entry of a tag table.

    Attributes
    ----------
    code : int
        TIFF type code, 1..13 and 16..18.
    count : int
        Number of values.
    data : bytes
        The values as stored.
    order : str
        Byte order as `struct` writes it, '<' or '>'.
    """

    code: int
    count: int
    data: bytes
    order: str

    def numbers(self) -> tuple[float, ...]:
        """Give the values as numbers; rationals are divided, x/0 is left out.

        Returns
        -------
        tuple of float
            Empty for text.
        """
        if self.code in (5, 10):
            pair = "I" if self.code == 5 else "i"
            flat = struct.unpack(f"{self.order}{2 * self.count}{pair}", self.data)
            return tuple(a / b for a, b in zip(flat[::2], flat[1::2], strict=True) if b)
        if self.code in _CODES:
            return struct.unpack(f"{self.order}{self.count}{_CODES[self.code]}", self.data)
        return ()

    def integer(self, default: int) -> int:
        """Give the first value as an integer.

        Parameters
        ----------
        default : int
            What to say when there is none.

        Returns
        -------
        int
            The first value, or `default`.
        """
        values = self.numbers()
        return int(values[0]) if values else default


Table = dict[int, Tag]


class TagFile:
    """A file, or part of one, that is laid out like a TIFF.

    Parameters
    ----------
    stream : BinaryIO
        Seekable stream.
    start : int
        Where the TIFF header stands in it.

    Raises
    ------
    ValueError
        When no TIFF header stands there.
    """

    def __init__(self, stream: BinaryIO, start: int = 0) -> None:
        self._stream = stream
        self._start = start
        stream.seek(0, 2)
        self._size = stream.tell() - start
        head = self._bytes(0, 16, strict=False)
        order = {b"II": "<", b"MM": ">"}.get(head[:2])
        if order is None or len(head) < 8:
            raise ValueError("no tag table")
        self.order = order
        magic = struct.unpack(f"{order}H", head[2:4])[0]
        self.big = magic == 43
        if self.big:
            if len(head) < 16:
                raise ValueError("no tag table")
            self.first = struct.unpack(f"{order}Q", head[8:16])[0]
        else:
            self.first = struct.unpack(f"{order}I", head[4:8])[0]

    def _bytes(self, offset: int, size: int, *, strict: bool = True) -> bytes:
        if offset < 0 or size < 0 or (strict and offset + size > self._size):
            raise ValueError("a tag points outside the file")
        self._stream.seek(self._start + offset)
        data = self._stream.read(size)
        if strict and len(data) != size:
            raise ValueError("a tag points outside the file")
        return data

    def entries(self, offset: int) -> tuple[int, int, int]:
        """Say where the entries of a table stand.

        Parameters
        ----------
        offset : int
            Where the table begins, in bytes from the TIFF header.

        Returns
        -------
        at, count, step : int
            Where the first entry stands, how many there are, bytes of each.

        Raises
        ------
        ValueError
            When no table can stand there.
        """
        size = 8 if self.big else 2
        (n,) = struct.unpack(self.order + ("Q" if self.big else "H"), self._bytes(offset, size))
        if not 0 < n <= _MAX_ENTRIES:
            raise ValueError("the tag table is damaged")
        return offset + size, n, 20 if self.big else 12

    def table(self, offset: int) -> tuple[Table, int]:
        """Read the tag table at `offset`.

        Parameters
        ----------
        offset : int
            Bytes from the TIFF header.

        Returns
        -------
        table : dict
            Tag number to `Tag`; entries that point outside the file are left out.
        following : int
            Offset of the next table, 0 when there is none.

        Raises
        ------
        ValueError
            When no table can stand there.
        """
        at, n, step = self.entries(offset)
        inline = 8 if self.big else 4
        raw = self._bytes(at, n * step)
        table: Table = {}
        for i in range(n):
            entry = raw[i * step : (i + 1) * step]
            number, code = struct.unpack(f"{self.order}HH", entry[:4])
            (count,) = struct.unpack(self.order + ("Q" if self.big else "I"), entry[4 : 4 + inline])
            size = TYPE_BYTES.get(code, 0) * count
            if not 0 < size <= _MAX_VALUE_BYTES:
                continue
            value = entry[4 + inline :]
            if size > inline:
                (where,) = struct.unpack(self.order + ("Q" if self.big else "I"), value)
                try:
                    value = self._bytes(where, size)
                except ValueError:
                    continue
            table.setdefault(number, Tag(code, count, value[:size], self.order))
        tail = self._bytes(at + n * step, 8 if self.big else 4, strict=False)
        if len(tail) != (8 if self.big else 4):
            return table, 0
        return table, struct.unpack(self.order + ("Q" if self.big else "I"), tail)[0]

    def chain(self, most: int = 16) -> Iterator[Table]:
        """Walk the main tables and, one level down, their sub-tables.

        Parameters
        ----------
        most : int
            Stop after this many tables: a chain may point back to itself.

        Yields
        ------
        dict
            One table after the other; a damaged one ends the walk.
        """
        offset, seen = self.first, set[int]()
        while offset and offset not in seen and len(seen) < most:
            seen.add(offset)
            try:
                table, offset = self.table(offset)
            except ValueError:
                return
            yield table
            for sub in table[330].numbers() if 330 in table else ():
                if int(sub) in seen or len(seen) >= most:
                    continue
                seen.add(int(sub))
                try:
                    yield self.table(int(sub))[0]
                except ValueError:
                    continue


def with_neutral_orientation(data: bytes) -> bytes:
    """Copy a TIFF with the orientation of its first picture set to 1.

    Parameters
    ----------
    data : bytes
        A TIFF file.

    Returns
    -------
    bytes
        The same file, to be decoded as stored.

    Raises
    ------
    ValueError
        When it has no readable table.
    """
    file = TagFile(io.BytesIO(data))
    at, count, step = file.entries(file.first)
    changed = bytearray(data)
    for entry in range(at, at + count * step, step):
        if struct.unpack_from(f"{file.order}H", changed, entry)[0] == 274:
            struct.pack_into(f"{file.order}H", changed, entry + 2, 3)
            struct.pack_into(f"{file.order}H", changed, entry + step - (8 if file.big else 4), 1)
    return bytes(changed)
