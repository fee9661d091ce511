"""What the reading process does with an archive; it loads nothing but the standard library."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from typing import Any, Final

from lapwright.readers.damage import Damaged

#: Files in an archive, bytes of all of them unpacked, and bytes unpacked for each packed one.
MEMBER_LIMIT: Final = 1_000
UNPACKED_LIMIT: Final = 512_000_000
RATIO_LIMIT: Final = 200
#: Files this small may be packed as tightly as they like.
_SMALL: Final = 1_000_000
_SYMLINK, _KIND_BITS = 0o120000, 0o170000


def unpack_zip(data: bytes) -> tuple[dict[str, Any], list[bytes]]:
    """Unpack an archive's files after its directory was held against the limits."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [m for m in archive.infolist() if not m.is_dir()]
            _check_members(members, len(data))
            names: list[str] = []
            contents: list[bytes] = []
            for member in members:
                names.append(member.filename)
                contents.append(_read_member(archive, member))
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as error:
        raise Damaged(f"the archive is damaged ({_shorten(error)})", 0, done=_NOT) from error
    except (ValueError, RuntimeError, LookupError, OverflowError, struct.error) as error:
        raise Damaged(
            f"the archive cannot be unpacked ({_shorten(error)})", 0, done=_NOT
        ) from error
    return {"names": names}, contents


def _shorten(error: Exception) -> str:
    """Give the last clause of what a library says, without its codes."""
    return str(error).rpartition(": ")[2][:80]


_NOT: Final = "Nothing was unpacked"
_PACK_AGAIN: Final = "Pack only the logs, or give them unpacked"


def _check_members(members: list[zipfile.ZipInfo], packed: int) -> None:
    if len(members) > MEMBER_LIMIT:
        found = f"{len(members)} files (limit {MEMBER_LIMIT})"
        raise Damaged(found, to_do=_PACK_AGAIN, done=_NOT)
    for member in members:
        found = _find_fault(member)
        if found:
            raise Damaged(
                f'"{member.filename[:80]}" {found}', member.header_offset, _PACK_AGAIN, _NOT
            )
    total = sum(m.file_size for m in members)
    if total > UNPACKED_LIMIT:
        found = f"the files unpack to {total / 1e6:.0f} MB (limit {UNPACKED_LIMIT / 1e6:.0f} MB)"
        raise Damaged(found, to_do=_PACK_AGAIN, done=_NOT)
    if total > max(RATIO_LIMIT * packed, _SMALL):
        found = f"the files unpack to {total / 1e6:.1f} MB from {packed / 1e3:.0f} kB"
        found += f" (ratio {total / packed:.0f}, limit {RATIO_LIMIT})"
        raise Damaged(found, to_do=_PACK_AGAIN, done=_NOT)


def _find_fault(member: zipfile.ZipInfo) -> str:
    """Say what is wrong with a file's entry; empty when nothing is."""
    name = member.filename.replace("\\", "/")
    if name.startswith("/") or name[1:2] == ":" or ".." in name.split("/"):
        return "leads out of the archive"
    if (member.external_attr >> 16) & _KIND_BITS == _SYMLINK:
        return "is a link, not a file"
    if member.flag_bits & 1:
        return "is encrypted"
    ratio = member.file_size / max(member.compress_size, 1)
    if member.file_size > _SMALL and ratio > RATIO_LIMIT:
        sizes = f"{member.file_size / 1e6:.1f} MB from {member.compress_size / 1e3:.0f} kB"
        return f"unpacks to {sizes} (ratio {ratio:.0f}, limit {RATIO_LIMIT})"
    return ""


def _read_member(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes:
    """Unpack no more than the directory promised."""
    with archive.open(member) as file:
        content = file.read(member.file_size + 1)
    if len(content) != member.file_size:
        found = f'"{member.filename[:80]}" is not as long as the directory says'
        raise Damaged(found, member.header_offset, done=_NOT)
    return content
