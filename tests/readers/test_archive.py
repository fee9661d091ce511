"""A zip that holds logs, and archives that would do harm.

The archives are invented; B09 and B10 are numbers of the project's list of faults.
"""

from __future__ import annotations

import io
import shlex
import stat
import zipfile

import numpy as np
import pytest

from lapwright.errors import InputError, UsageError
from lapwright.readers import read_log, read_logs
from lapwright.readers.damage import Damaged
from lapwright.readers.mapping import parse_answers
from lapwright.readers.zip_members import MEMBER_LIMIT, unpack_zip
from lapwright.workflow.inspect import inspect_log


def pack(members, method=zipfile.ZIP_DEFLATED):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return out.getvalue()


@pytest.fixture
def log(columns, render):
    return "\n".join(render(columns)) + "\n"


def test_one_log(log, put, columns):
    junk = [("__MACOSX/._a.csv", b"\0\5"), (".DS_Store", b"x"), ("read me.txt", "no log")]
    inspection = inspect_log(put(pack([*junk, ("day/a.csv", log)]), "s.zip"))
    assert [m.text for m in inspection.messages] == []
    assert inspection.file == "s.zip: day/a.csv"
    recording = inspection.recording
    assert recording.file == "s.zip: day/a.csv"
    np.testing.assert_allclose(
        recording.channels["speed"].values, columns["speed (m/s)"], atol=5.1e-5
    )


def test_several_logs(expect, log, put):
    path = put(pack([("a.csv", log), ("b.csv", log[: len(log) // 2])]), "s.zip")
    message, _ = expect(path, "ask", "the archive holds 2 files (a.csv, b.csv)", "Read a.csv?")
    assert message.answer == "--set file.member=a.csv"
    answers = parse_answers(["file.member=b.csv"])
    assert read_log(path, unit_answers=answers).file == "s.zip: b.csv"
    assert inspect_log(path, accept_offered=True).outcome == "repaired"
    both = read_logs(path)
    assert [r.file for r in both] == ["s.zip: a.csv", "s.zip: b.csv"]
    with pytest.raises(InputError, match=r'no file "c.csv" \(there are a.csv, b.csv\)'):
        read_log(path, unit_answers={"file.member": "c.csv"})
    with pytest.raises(UsageError):
        parse_answers(["file.colour=red"])


def test_faults_of_all_logs_come_together(log, put):
    path = put(pack([("a.csv", "x"), ("b.csv", log), ("c.csv", "time (s),lat\n")]), "s.zip")
    with pytest.raises(InputError) as raised:
        read_logs(path)
    files = {m.file for m in raised.value.messages}
    assert files == {"s.zip: a.csv", "s.zip: c.csv"}


def test_content_decides(log, put):
    recording = read_log(put(pack([("a.gpx", log)]), "s.csv"))
    texts = [m.text for m in recording.messages]
    assert texts[0].startswith("s.csv, byte 0: the content is zip, not CSV")
    assert texts[1].startswith("s.csv: a.gpx, line 1: the content is CSV, not GPX")


def test_b09_ratio(expect, put):
    """60 MB of one sign pack to about 60 kB, a thousand to one."""
    path = put(pack([("log.csv", b"1" * 60_000_000)]), "s.zip")
    message, _ = expect(
        path, "refused", '"log.csv" unpacks to 60.0 MB from', "limit 200)", "Nothing was unpacked"
    )
    assert message.byte == 0


def test_b09_many_small_ones(expect, put):
    members = [(f"{i}.csv", b"1" * 900_000) for i in range(40)]
    expect(put(pack(members), "s.zip"), "refused", "the files unpack to 36.0 MB", "limit 200)")


def test_b09_a_directory_that_lies(expect, put):
    """The directory promises 100 bytes where 5 MB follow."""
    data = bytearray(pack([("a.csv", bytes(5_000_000))]))
    at = data.rindex(b"PK\x01\x02") + 24
    data[at : at + 4] = (100).to_bytes(4, "little")
    expect(put(bytes(data), "s.zip"), "refused", "s.zip, byte 0: ", "Nothing was unpacked")


@pytest.mark.parametrize("name", ["../a.csv", "x/../../a.csv", "/etc/a.csv", "C:\\a.csv", "..\\a"])
def test_b10_paths_out_of_the_archive(expect, put, name):
    message, _ = expect(put(pack([(name, "1")]), "s.zip"), "refused", "leads out of the archive")
    assert message.byte == 0


def test_links_and_secrets_are_refused():
    link = zipfile.ZipInfo("a.csv")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with pytest.raises(Damaged, match="is a link"):
        unpack_zip(pack([(link, "/etc/hostname")]))
    data = bytearray(pack([("a.csv", "1")]))
    data[data.rindex(b"PK\x01\x02") + 8] |= 1
    with pytest.raises(Damaged, match="is encrypted"):
        unpack_zip(bytes(data))


def test_too_many_files():
    with pytest.raises(Damaged, match=f"{MEMBER_LIMIT + 1} files"):
        unpack_zip(pack([(f"{i}.csv", "1") for i in range(MEMBER_LIMIT + 1)]))


def test_archive_in_an_archive(expect, log, put):
    inner = pack([("a.csv", log)])
    path = put(pack([("b.zip", inner)]), "s.zip")
    expect(path, "refused", "s.zip: b.zip")


def test_damaged_archives_end_in_a_named_refusal(log):
    """Bytes changed at random: unpacked as it was, or refused by name, never another error."""
    whole = pack([("a.csv", log[:4000]), ("b.csv", log[:300])])
    rng = np.random.default_rng(8)
    refused = 0
    for _ in range(400):
        data = bytearray(whole)
        for at in rng.integers(0, len(data), 3):
            data[at] = rng.integers(0, 256)
        data = data[: rng.integers(20, len(data) + 1)] if rng.random() < 0.3 else data
        try:
            unpack_zip(bytes(data))
        except Damaged:
            refused += 1
    assert refused > 100


def test_answer_can_be_pasted_whatever_the_name(log, put, expect):
    """A name may hold blanks, quotes, line ends and what looks like another option."""
    name = "day 1's\n--set speed.unit=g.csv"
    path = put(pack([(name, log), ("z.csv", log[: len(log) // 2])]), "s.zip")
    message, _ = expect(
        path, "ask", "the archive holds 2 files", "Read day 1's_--set speed.unit=g.csv?"
    )
    assert "\n" not in message.text
    option, setting = shlex.split(message.answer)
    assert (option, setting) == ("--set", "file.member=day 1's_--set speed.unit=g.csv")
    answered = read_log(path, unit_answers=parse_answers([setting]))
    assert answered.messages == ()
    taken = read_log(path, accept_offered=True)
    assert taken.channels["speed"].original_unit == "m/s"
    assert [m.outcome for m in taken.messages] == ["repaired"]


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_files_of_one_name_can_both_be_had(log, put, expect):
    path = put(pack([("a.csv", log), ("a.csv", log[: len(log) // 2])]), "s.zip")
    expect(path, "ask", "(a.csv, a (2).csv)")
    sizes = [
        read_log(path, unit_answers={"file.member": name}).channels["speed"].values.size
        for name in ("a.csv", "a (2).csv")
    ]
    assert sizes[0] > 1.8 * sizes[1]
