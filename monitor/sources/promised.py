"""How much sound a file promises: libsndfile quietly takes one that was copied half for a shorter one."""

import os
import struct
from pathlib import Path
from typing import IO, NamedTuple

# A recorder that writes into a pipe cannot go back to fill in the length, and leaves one that is near the
# greatest, with a sign or without: nothing is promised by a length of these.
_UNKNOWN = (range(0x7FFF0000, 0x80000001), range(0xFFFF0000, 0x100000000))
# What stands for the length where it needs 64 bits (EBU Tech 3306): these stand in a chunk before.
_LONG = 0xFFFFFFFF


class Head(NamedTuple):
    """
    What the header of a WAV or RF64 file says.

    Attributes
    ----------
    frames
        How many frames it promises, 0 when it promises nothing.
    length_at
        Where its length stands in the file when that was never written though there is sound; else 0.
    """

    frames: int = 0
    length_at: int = 0


def head_of(path: Path) -> Head:
    """Return what the header says; nothing where it is none of a WAV or RF64 file."""
    with path.open("rb") as file:
        riff = file.read(12)
        if riff[:4] not in (b"RIFF", b"RF64") or riff[8:] != b"WAVE":
            return Head()
        frame, long = 0, _LONG
        while len(head := file.read(8)) == 8:
            kind, length = head[:4], struct.unpack("<I", head[4:])[0]
            if kind == b"data" and length == 0:
                return Head(length_at=file.tell() - 4 if _is_sound_next(file) else 0)
            if kind == b"data":
                length = long if length == _LONG else length
                is_known = frame and not any(length in unknown for unknown in _UNKNOWN)
                return Head(length // frame if is_known else 0)
            body = file.read(length + length % 2)
            if kind == b"fmt " and len(body) >= 14:
                frame = struct.unpack_from("<H", body, 12)[0]
            if kind == b"ds64" and len(body) >= 16:
                long = struct.unpack_from("<Q", body, 8)[0]
    return Head()


def _is_sound_next(file: IO[bytes]) -> bool:
    """Return whether more follows, and it is no further chunk, which has a name and fits into the file."""
    begin = file.tell()
    head, size = file.read(8), file.seek(0, os.SEEK_END)
    file.seek(begin)
    if len(head) < 8:
        return bool(head)
    return not (head[:4].isascii() and head[:4].decode("ascii").isprintable()) or (
        begin + 8 + struct.unpack("<I", head[4:])[0] > size
    )


# An Ogg page (RFC 3533, 6): its head of 27 bytes, of which the sixth has the flag of the last page and the
# last says how many lengths follow, these, and as many bytes as they add up to.
_PAGE, _LAST, _LONGEST_PAGE = 27, 0x04, 27 + 255 + 255 * 255


def lacks_end(path: Path) -> bool:
    """Return whether an Ogg file breaks off before, or within, the page that is marked as its last."""
    with path.open("rb") as file:
        file.seek(max(0, file.seek(0, os.SEEK_END) - 2 * _LONGEST_PAGE))
        end = file.read()
    begin = end.rfind(b"OggS\0")
    page = end[max(begin, 0) :]
    if begin < 0 or len(page) < _PAGE or not page[5] & _LAST:
        return True
    lengths = page[_PAGE : _PAGE + page[26]]
    return len(page) < _PAGE + page[26] + sum(lengths)
