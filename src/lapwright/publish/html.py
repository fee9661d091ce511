"""The guide as one HTML file that asks nobody for anything."""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Mapping
from hashlib import sha256
from importlib.resources import files
from typing import Any

from lapwright.guide.mark_words import compose_mark_words
from lapwright.publish.json import as_plain
from lapwright.publish.markup import Markup, element
from lapwright.publish.packing import pack_view
from lapwright.publish.plain import render_plain

_NO_SCRIPT = "Most pictures need a script to run; this is the guide in plain form."


def render_html(view: Mapping[str, Any]) -> bytes:
    """Render a view as one offline HTML file.

    Parameters
    ----------
    view
        ``guide``, ``pictures``, ``words`` and ``units``, and where they were worked out
        ``ledger`` and ``order_of_work``: what the page shows. Long arrays may be lists or numpy
        arrays; a number that is not finite becomes a gap.

    Returns
    -------
    bytes
        The file, UTF-8. It holds the view as JSON, the arrays packed, the script and the
        style, a plain form of the guide for readers without a script, and a
        content security policy that allows nothing but its own script and style.

    Raises
    ------
    FileNotFoundError
        When the front end was not built (``npm run build`` in ``web/``).
    """
    words = {**view["words"], "marks": compose_mark_words(view)}
    packed, arrays = pack_view({**view, "words": words})
    script, style = _bundle("guide.js"), _bundle("guide.css")
    head = (
        Markup('<meta charset="utf-8">'),
        _meta(_policy(script, style)),
        Markup('<meta name="viewport" content="width=device-width,initial-scale=1">'),
        element("title", view["words"]["title"]),
        element("style", Markup(style)),
    )
    body = (
        element("div", render_plain(view), element("noscript", _NO_SCRIPT), id="guide"),
        element("script", Markup(_json(packed)),
                type="application/json", id="view"),
        element("script", Markup(b64encode(arrays).decode()),
                type="application/octet-stream", id="arrays"),
        element("script", Markup(script)),
    )  # fmt: skip
    page = element("html", element("head", *head), element("body", *body), lang="en")
    return f"<!doctype html>\n{page}\n".encode()


def _bundle(name: str) -> str:
    return files("lapwright.publish").joinpath("bundle", name).read_text(encoding="utf-8").strip()


def _policy(script: str, style: str) -> str:
    """Return a policy that knows the page's script and style by what they are.

    A video may come from the reader's own disk, and from nowhere else.
    """
    return (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}'; "
        "media-src blob:; base-uri 'none'; form-action 'none'"
    )


def _digest(text: str) -> str:
    return "sha256-" + b64encode(sha256(text.encode()).digest()).decode()


def _meta(policy: str) -> Markup:
    return Markup(f'<meta http-equiv="Content-Security-Policy" content="{policy}">')


def _json(tree: object) -> str:
    """Write JSON that cannot end the element it stands in."""
    text = json.dumps(as_plain(tree), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign, code in (("&", "\\u0026"), ("<", "\\u003c"), (">", "\\u003e"),
                       ("\u2028", "\\u2028"), ("\u2029", "\\u2029")):  # fmt: skip
        text = text.replace(sign, code)
    return text
