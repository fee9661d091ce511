"""Nothing in the repository ties it to one machine or one package registry."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

#: Hosts that a file may name: of standards, licences, sources, and what packages say of themselves.
ALLOWED_HOSTS = {"opencollective.com", "www.w3.org"}
HOST = re.compile(r"\b((?:[a-z0-9-]+\.)+(?:com|dev|io|net|org))\b", re.I)
URL_HOST = re.compile(r"\w+://([^/\s\"'`<>()]+)")
MACHINE_PATH = re.compile(r"(?<![\w.~>)}*-])/(?:home|mnt|opt|root|srv|tmp|Users|work)/[\w.-]")


def list_files(root: Path) -> list[Path]:
    """List the files under version control."""
    done = subprocess.run(["git", "ls-files", "-z"], cwd=root, capture_output=True)
    if done.returncode != 0:
        pytest.skip("this copy is not a git repository")
    return [root / name for name in done.stdout.decode().split("\0") if name]


def read_texts(root: Path) -> dict[str, str]:
    """Read every tracked text file that is still there."""
    texts = {}
    for path in list_files(root):
        if path.is_file() and b"\0" not in path.read_bytes()[:4096]:
            texts[path.relative_to(root).as_posix()] = path.read_text("utf-8")
    return texts


def find_all(root: Path, pattern: re.Pattern[str]) -> list[tuple[str, str]]:
    """Find a pattern in all texts: file with line, and what was found."""
    return [
        (f"{name}:{number}", match[match.re.groups])
        for name, text in read_texts(root).items()
        for number, line in enumerate(text.splitlines(), 1)
        for match in pattern.finditer(line)
    ]


def test_addresses_name_no_host_but_the_known_ones(root: Path):
    loopback = re.compile(r"(127\.0\.0\.1|localhost|\[::1\])(:.*)?$")
    found = [f for f in find_all(root, URL_HOST) if not loopback.match(f[1])]
    assert [f for f in found if f[1] not in ALLOWED_HOSTS] == []


def test_files_that_steer_tools_name_no_host_at_all(root: Path):
    code = ("src/", "tests/", "bench/", "web/src/")
    found = [f for f in find_all(root, HOST) if not f[0].startswith(code)]
    assert [f for f in found if f[1] not in ALLOWED_HOSTS] == []


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-dev.lock"])
def test_python_locks_carry_hashes_and_no_address(root: Path, name: str):
    text = (root / name).read_text("utf-8")
    pins = re.findall(r"(?m)^[\w.-]+==.*?(?=^[\w.-]+==|\Z)", text, flags=re.S | re.M)
    assert len(pins) > 25
    assert [pin.split()[0] for pin in pins if "--hash=sha256:" not in pin] == []
    assert not re.search(r"--\w*(index|find-links|trusted-host)", text)


def test_the_page_s_lock_carries_hashes_and_no_address(root: Path):
    text = (root / "web/package-lock.json").read_text("utf-8")
    assert text.count('"integrity": "sha512-') > 5
    assert '"resolved"' not in text


def test_no_path_of_a_machine(root: Path):
    assert find_all(root, MACHINE_PATH) == []


def test_the_locks_agree(root: Path):
    few, all_ = (
        (root / n).read_text("utf-8") for n in ("requirements.lock", "requirements-dev.lock")
    )
    pins = [set(re.findall(r"(?m)^[\w.-]+==[^\\\n]+", text)) for text in (few, all_)]
    assert pins[0] < pins[1]
