#!/usr/bin/env python3
"""Makes the example's firmware images and stick images: `python3 make_files.py FOLDER`.

The firmwares are invented bytes. The check values come from Python's zlib, which the loader's own CRC has to agree with.
"""

import pathlib
import struct
import sys
import zlib

BLOCK = 512


def image(version: int, length: int) -> bytes:
    """Bytes that differ from version to version; none of them repeats a sector."""
    return bytes((index * 7 + version * 31 + index // 64) % 251 for index in range(length))


def stick(version: int, content: bytes, promised: bytes | None = None) -> bytes:
    """A stick with one update; `promised`, if it is not what is there."""
    promised = content if promised is None else promised
    head = struct.pack("<4sIII", b"OFIL", version, len(promised), zlib.crc32(promised))
    head += struct.pack("<I", zlib.crc32(head))
    blocks = -(-len(content) // BLOCK)
    return head.ljust(BLOCK, b"\0") + content.ljust(blocks * BLOCK, b"\0")


def main(folder: pathlib.Path) -> None:
    old, new = image(0x18, 200), image(0x20, 300)
    damaged = bytearray(new)
    damaged[123] ^= 0x10
    (folder / "images").mkdir(parents=True, exist_ok=True)
    (folder / "sticks").mkdir(parents=True, exist_ok=True)
    (folder / "images/1.8.bin").write_bytes(old)
    (folder / "images/2.0.bin").write_bytes(new)
    (folder / "sticks/1.8.img").write_bytes(stick(0x18, old))
    (folder / "sticks/2.0.img").write_bytes(stick(0x20, new))
    (folder / "sticks/damaged.img").write_bytes(stick(0x20, bytes(damaged), promised=new))


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
