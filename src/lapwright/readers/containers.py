"""What the reading process does with each kind of container; only it calls these functions."""

from __future__ import annotations

import io
import struct
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import polars as pl

from lapwright.readers.mdf_blocks import check_blocks

Contents = tuple[dict[str, Any], list[pl.DataFrame]]

#: Files in an archive, bytes of all of them unpacked, and bytes unpacked for each packed one.
MEMBER_LIMIT: Final = 1_000
UNPACKED_LIMIT: Final = 512_000_000
RATIO_LIMIT: Final = 200
#: Files this small may be packed as tightly as they like.
_SMALL: Final = 1_000_000
_SYMLINK, _KIND_BITS = 0o120000, 0o170000
#: Channels and samples of one MDF file.
_CHANNEL_LIMIT: Final = 20_000


class Damaged(Exception):  # noqa: N818 - it never leaves the reading process
    """What is wrong with a file, found by name; turned into a message by the main process."""

    def __init__(
        self, found: str, byte: int | None = None, to_do: str = "", done: str = ""
    ) -> None:
        super().__init__(found)
        self.found, self.byte = found, byte
        self.to_do = to_do or "Copy the file again"
        self.done = done or "Nothing was imported"

    def document(self) -> dict[str, Any]:
        """Return the finding as plain data."""
        return {"found": self.found, "byte": self.byte, "to_do": self.to_do, "done": self.done}


def unpack_parquet(data: bytes) -> Contents:
    """Read a Parquet file's plain columns."""
    frame = pl.read_parquet(io.BytesIO(data))
    plain = [n for n, t in frame.schema.items() if not t.is_nested() and t != pl.Binary]
    return {"left_out": [n for n in frame.columns if n not in plain]}, [frame.select(plain)]


# --- archives -----------------------------------------------------------------------------------


def unpack_zip(data: bytes) -> Contents:
    """Unpack an archive's files after its directory was held against the limits."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [m for m in archive.infolist() if not m.is_dir()]
            _check_members(members, len(data))
            names, contents = [], []
            for member in members:
                names.append(member.filename)
                contents.append(_read_member(archive, member))
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as error:
        raise Damaged(f"the archive is damaged ({_shorten(error)})", 0, done=_NOT) from error
    except (ValueError, RuntimeError, LookupError, OverflowError, struct.error) as error:
        raise Damaged(
            f"the archive cannot be unpacked ({_shorten(error)})", 0, done=_NOT
        ) from error
    frame = pl.DataFrame(
        {"name": names, "data": contents}, schema={"name": pl.String, "data": pl.Binary}
    )
    return {}, [frame]


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


# --- ASAM MDF 4 ---------------------------------------------------------------------------------


def check_mdf(data: bytes) -> None:
    """Refuse a file whose lists are damaged, before the library sees it."""
    fault = check_blocks(data)
    if fault is not None:
        raise Damaged(fault.found, fault.byte, fault.to_do)


def load_mdf() -> None:
    """Load the library before the memory limit holds."""
    import asammdf  # noqa: F401


def unpack_mdf(data: bytes) -> Contents:
    """Read every channel group with a time master of an ASAM MDF 4 file."""
    from asammdf import MDF

    warnings.simplefilter("ignore")
    with MDF(io.BytesIO(data)) as mdf:
        if sum(len(g.channels) for g in mdf.groups) > _CHANNEL_LIMIT:
            raise Damaged(f"more than {_CHANNEL_LIMIT} channels", 64)
        left_out: list[str] = []
        groups = [_read_group(mdf, index, left_out) for index in range(len(mdf.groups))]
        start = mdf.header.start_time.timestamp()
    held = [g for g in groups if g is not None]
    about = {"start": start, "groups": [{"names": n, "units": u} for n, u, _ in held]}
    return about | {"left_out": left_out}, [frame for _, _, frame in held]


def _read_group(
    mdf: Any, index: int, left_out: list[str]
) -> tuple[list[str], list[str], pl.DataFrame] | None:
    """Names, units and values of one group; None where it has no time or no numbers.

    Names of channels that cannot be used are added to ``left_out``.
    """
    group, master = mdf.groups[index], mdf.masters_db.get(index)
    if master is None or group.channels[master].sync_type not in (0, 1):
        left_out += [channel.name for channel in group.channels]
        return None
    names, units, columns = ["time"], ["s"], [mdf.get_master(index).astype(np.float64)]
    for name, unit, values in _read_channels(mdf, index, master):
        if values is None or values.shape != columns[0].shape:
            left_out.append(name)
        else:
            names.append(name)
            units.append(unit)
            columns.append(values)
    if len(names) == 1 or not columns[0].size:
        left_out += names[1:]
        return None
    frame = pl.DataFrame({str(i): c for i, c in enumerate(columns)})
    return names, units, frame


def _read_channels(
    mdf: Any, index: int, master: int
) -> Iterator[tuple[str, str, np.ndarray[Any, np.dtype[np.float64]] | None]]:
    for place, channel in enumerate(mdf.groups[index].channels):
        if place == master:
            continue
        signal = mdf.get(group=index, index=place, ignore_invalidation_bits=True)
        samples = signal.samples
        if samples.ndim != 1 or samples.dtype.kind not in "fiub":
            yield channel.name, "", None
            continue
        values = samples.astype(np.float64)
        bits = signal.invalidation_bits
        if bits is not None:
            values[np.asarray(bits, dtype=bool)] = np.nan
        yield channel.name, signal.unit or "", values
