"""What the reading process does with ASAM MDF 4; only it calls these functions."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.readers.damage import Damaged
from lapwright.readers.mdf_blocks import check_blocks

Array = NDArray[np.float64]

#: Channels and samples of one MDF file.
_CHANNEL_LIMIT: Final = 20_000


def check_mdf(data: bytes) -> None:
    """Refuse a file whose lists are damaged, before the library sees it."""
    fault = check_blocks(data)
    if fault is not None:
        raise Damaged(fault.found, fault.byte, fault.to_do)


def load_mdf() -> None:
    """Load the library before the memory limit holds."""
    import asammdf  # noqa: F401


def unpack_mdf(data: bytes) -> tuple[dict[str, Any], list[bytes]]:
    """Read every channel group with a time master of an ASAM MDF 4 file.

    Returns
    -------
    about, groups
        What is known of the file, and 64-bit floats of each group, channel after channel.
    """
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
    return about | {"left_out": left_out}, [values for _, _, values in held]


def _read_group(
    mdf: Any, index: int, left_out: list[str]
) -> tuple[list[str], list[str], bytes] | None:
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
    return names, units, b"".join(columns)


def _read_channels(mdf: Any, index: int, master: int) -> Iterator[tuple[str, str, Array | None]]:
    channels = mdf.groups[index].channels
    places = [place for place in range(len(channels)) if place != master]
    # one after the other, each channel would go through all records again
    signals = mdf.select([(None, index, place) for place in places], copy_master=False)
    for place, signal in zip(places, signals, strict=True):
        name, samples = channels[place].name, signal.samples
        if samples.ndim != 1 or samples.dtype.kind not in "fiub":
            yield name, "", None
            continue
        values = samples.astype(np.float64)
        bits = signal.invalidation_bits
        if bits is not None:
            values[np.asarray(bits, dtype=bool)] = np.nan
        yield name, signal.unit or "", values
