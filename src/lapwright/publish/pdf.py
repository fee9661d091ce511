"""Guide and review as tagged PDFs (PDF/UA-1) on A4, set by typst."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from importlib.resources import as_file, files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from lapwright.errors import NoAnswerError
from lapwright.publish.json import as_plain
from lapwright.publish.pdf_document import compose_pdf_document
from lapwright.publish.printable import make_printable
from lapwright.publish.review_pages import compose_review_pages
from lapwright.publish.roles import ROLES

_FACES: Final = ("Regular", "It", "Semibold", "Bold")
_PICTURE: Final = "svg"


def render_pdf(view: Mapping[str, Any]) -> bytes:
    """Render a view as a PDF; the same view always gives the same bytes.

    Parameters
    ----------
    view
        As the page takes it: see `lapwright.publish.html.render_html`.

    Raises
    ------
    NoAnswerError
        If the text cannot be set.
    """
    return _render(compose_pdf_document(view), "guide")


def render_review_pdf(document: Mapping[str, Any]) -> bytes:
    """Render ``review.json`` as a PDF; the same review always gives the same bytes.

    Raises
    ------
    NoAnswerError
        If the text cannot be set.
    """
    return _render({"roles": ROLES, **compose_review_pages(document)}, "review")


def _render(composed: Mapping[str, Any], name: str) -> bytes:
    document = as_plain(composed)
    try:
        return _set(_clean(document, plain=False), name)
    except _NotSetError:  # a script that the setter cannot cope with: written as codes
        try:
            return _set(_clean(document, plain=True), name)
        except _NotSetError as error:
            raise NoAnswerError(f"{name}.pdf: the text could not be set ({error}).") from error


class _NotSetError(Exception):
    """The setter refused or fell."""


def _clean(tree: Any, plain: bool, key: str = "") -> Any:
    """Make every text printable; pictures have their own text made so already."""
    if isinstance(tree, str):
        return tree if key == _PICTURE and not plain else _clean_text(tree, key, plain)
    if isinstance(tree, dict):
        return {name: _clean(value, plain, name) for name, value in tree.items()}
    return [_clean(value, plain) for value in tree] if isinstance(tree, list) else tree


def _clean_text(text: str, key: str, plain: bool) -> str:
    return _drop_text(text) if key == _PICTURE else make_printable(text, plain)


def _drop_text(svg: str) -> str:
    kept, at = [], 0
    while (begin := svg.find("<text", at)) >= 0 and (end := svg.find("</text>", begin)) >= 0:
        kept.append(svg[at:begin])
        at = end + len("</text>")
    return "".join([*kept, svg[at:]])


def _set(document: Any, name: str) -> bytes:
    """Set the template with typst's own fonts and the font package's, never the machine's."""
    import typst

    inputs = {"doc": json.dumps(document, ensure_ascii=False, allow_nan=False)}
    with TemporaryDirectory() as folder, as_file(_find_template(name)) as template:
        _copy_faces(Path(folder))
        fonts = typst.Fonts(include_system_fonts=False, font_paths=[folder])
        try:
            return typst.compile(
                template.read_bytes(), format="pdf", font_paths=fonts, sys_inputs=inputs,
                pdf_standards="ua-1", timestamp=0,
            )  # fmt: skip
        except Exception as error:
            raise _NotSetError(f"{error!s:.200}") from error
        except BaseException as error:  # the setter's panics are no exceptions
            if type(error).__name__ != "PanicException":
                raise
            raise _NotSetError(f"{error!s:.200}") from None


def _find_template(name: str) -> Any:
    return files("lapwright.publish").joinpath("templates", f"{name}.typ")


def _copy_faces(folder: Path) -> None:
    """Copy the faces that are used, in one format, so that no search order can matter."""
    package = files("font_source_sans_pro").joinpath("files")
    for face in _FACES:
        name = f"SourceSansPro-{face}.ttf"
        with as_file(package.joinpath(name)) as path:
            shutil.copyfile(path, folder / name)
