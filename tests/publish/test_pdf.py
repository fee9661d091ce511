"""The PDF, held against another reader of PDF.

Tags, title, language: ISO 14289-1 (PDF/UA-1), clauses 5, 7.1, 7.2, 7.3 and 7.4, checked by pypdf
where a program can. Circuit, laps and amounts are invented.
"""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject

from lapwright.errors import NoAnswerError
from lapwright.guide.sentences import chosen_system, write_text
from lapwright.publish import pdf
from lapwright.publish.pdf import render_pdf
from lapwright.publish.printable import PLAIN_RANGES, RANGES, make_printable
from lapwright.publish.roles import ROLES

MakeView = Callable[..., dict[str, Any]]
HOSTILE = {
    "signs": "<b>&amp; #set [x] $y$ \\ *z* _u_ @v `w` \"'”' --> <!-- // /* "
    "日本 \U0001f600 e\u0301 q\u0301 \u0600 \0\r\n\x1b\ud800\ufeff\u2028",
    "rtl": "\u202eabc\u200f\u2067 שלום سلام",
    "long": "x" * 10_000,
}


def read(data: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(data))


def squeeze(text: str) -> str:
    """Leave out blanks and what has no width: lines are broken where they end on paper."""
    return re.sub(
        r"[\s\u200b\u200e\u200f\u2060-\u2069\u00ad]", "", unicodedata.normalize("NFC", text)
    )


def all_text(reader: PdfReader) -> str:
    return squeeze("".join(page.extract_text() for page in reader.pages))


def walk_tags(node: Any) -> Iterator[DictionaryObject]:
    """Yield every structure element below a node."""
    node = node.get_object() if isinstance(node, IndirectObject) else node
    if isinstance(node, ArrayObject):
        for child in node:
            yield from walk_tags(child)
    elif isinstance(node, DictionaryObject):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from walk_tags(node["/K"])


def list_bookmarks(outline: list[Any], level: int = 0) -> list[tuple[int, str]]:
    found: list[tuple[int, str]] = []
    for one in outline:
        if isinstance(one, list):
            found += list_bookmarks(one, level + 1)
        else:
            found.append((level, str(one.title)))
    return found


@pytest.fixture(scope="module")
def view(make_view: MakeView) -> dict[str, Any]:
    return make_view(laps=5)


@pytest.fixture(scope="module")
def data(view: dict[str, Any]) -> bytes:
    return render_pdf(view)


@pytest.fixture(scope="module")
def reader(data: bytes) -> PdfReader:
    return read(data)


def test_it_is_tagged_and_says_what_it_is(reader: PdfReader, view: dict[str, Any]):
    root = reader.root_object
    assert root["/MarkInfo"]["/Marked"] is not None
    assert bool(root["/MarkInfo"]["/Marked"].value)
    assert str(root["/Lang"]).startswith("en")
    assert bool(root["/ViewerPreferences"]["/DisplayDocTitle"].value)
    assert reader.metadata is not None
    assert reader.metadata.title == view["words"]["title"]
    xmp = root["/Metadata"].get_object().get_data().decode()
    assert re.search(r"<pdfuaid:part>1</pdfuaid:part>|pdfuaid:part=\"1\"", xmp)


def test_its_structure_has_headings_tables_lists_and_figures(reader: PdfReader):
    tags = list(walk_tags(reader.root_object["/StructTreeRoot"]))
    kinds = {str(tag["/S"]) for tag in tags}
    assert {"/H1", "/H2", "/P", "/L", "/LI", "/Table", "/TR", "/TH", "/TD", "/Figure"} <= kinds
    for tag in tags:
        if tag["/S"] == "/Figure":
            assert str(tag.get("/Alt", "")).strip()
        if tag["/S"] == "/TH":
            assert "/Scope" in str(tag.get("/A").get_object())  # type: ignore[union-attr]


def test_every_page_is_a4_and_in_the_order_of_its_tags(reader: PdfReader):
    for page in reader.pages:
        assert float(page.mediabox.width) == pytest.approx(595.28, abs=0.1)
        assert float(page.mediabox.height) == pytest.approx(841.89, abs=0.1)
        assert page["/Tabs"] == "/S"


def test_bookmarks_lead_to_the_sections_and_to_each_corner_s_page(
    reader: PdfReader, view: dict[str, Any]
):
    system = chosen_system(view["units"])
    titles = [write_text(view["words"]["corners"][c["id"]]["title"], system)
              for c in view["guide"]["corners"]]  # fmt: skip
    top = [title for level, title in list_bookmarks(reader.outline) if level == 0]
    assert [t for t in top if t in titles] == titles
    assert top[0] == "Order of work"
    assert {"Cautions", "Practice", "Method and uncertainty"} <= set(top)
    pages = {str(one.title): reader.get_destination_page_number(one)
             for one in reader.outline if not isinstance(one, list)}  # fmt: skip
    numbers = [pages[title] for title in titles]
    assert numbers == list(range(numbers[0], numbers[0] + len(titles)))  # a corner a page
    for title in titles:
        assert squeeze(title) in squeeze(reader.pages[pages[title]].extract_text())


def test_what_the_guide_says_can_be_selected(reader: PdfReader, view: dict[str, Any]):
    text, system = all_text(reader), chosen_system(view["units"])
    words = view["words"]
    said = [words["title"], write_text(words["lede"], system), *view["guide"]["cautions"]]
    for corner in words["corners"].values():
        said += [write_text(t, system) for t in corner["instructions"]]
        said.append(write_text(corner["why"], system))
    said += [n for c in view["guide"]["corners"] for n in c["notes"]]
    said += [write_text(item["what"], system).rstrip(".") for item in view["order_of_work"]]
    assert len(said) > 40
    assert [one for one in said if squeeze(make_printable(one)) not in text] == []


def test_the_printed_ledger_adds_up(reader: PdfReader, view: dict[str, Any]):
    """The rows of a table as another reader extracts them, in hundredths of a second."""
    assert view["ledger"]["accounts"]
    text = "\n".join(page.extract_text() for page in reader.pages)
    chosen = view["pictures"]["chosen_lap"]
    for choice in view["ledger"]["against"]:
        account = next(a for a in view["ledger"]["accounts"]
                       if a["lap"] == chosen and a["against"] == choice["key"])  # fmt: skip
        table = text.split(f"against {choice['label']}\n", 1)[1]
        foot = re.search(rf"lap \d+ − {re.escape(choice['label'])}\s*(−?\d+\.\d\d)", table)
        assert foot
        assert float(foot[1].replace("−", "-")) == pytest.approx(
            account["difference_s"], abs=0.00501
        )


def test_the_same_guide_gives_the_same_bytes(make_view: MakeView, data: bytes):
    assert render_pdf(make_view(laps=5)) == data


def test_its_date_is_the_session_s(view: dict[str, Any], reader: PdfReader):
    assert view["guide"]["session"]["date"] == "2031-05-04"
    assert reader.metadata is not None
    assert str(reader.metadata.get("/CreationDate")).startswith("D:20310504")
    assert str(reader.metadata.get("/ModDate", "D:20310504")).startswith("D:20310504")


def test_a_day_in_words_is_no_date(view: dict[str, Any]):
    session = {**view["guide"]["session"], "date": "first Sunday in May"}
    other = {**view, "guide": {**view["guide"], "session": session}}
    found = read(render_pdf(other)).metadata
    assert found is not None
    assert not str(found.get("/CreationDate", "")).startswith("D:2031")


def test_fonts_are_embedded_and_none_is_the_machine_s(reader: PdfReader):
    names = set()
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():  # type: ignore[union-attr]
            one = font.get_object()["/DescendantFonts"][0].get_object()
            names.add(str(one["/BaseFont"]).split("+")[-1])
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(one["/FontDescriptor"])
    assert names
    own = ("SourceSansPro", "LibertinusSerif", "DejaVuSansMono")
    assert all(name.startswith(own) for name in names)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_and_notes_are_text(make_view: MakeView, name: str):
    hostile = HOSTILE[name]
    found = make_view(laps=3, hostile=hostile, worth=name != "long")
    reader = read(render_pdf(found))
    assert "/S" in str(next(walk_tags(reader.root_object["/StructTreeRoot"])))
    text = squeeze("".join(page.extract_text() for page in reader.pages[:12]))
    shown = squeeze(make_printable(hostile))
    if name == "rtl":  # another reader gives right-to-left words in its own order
        assert "[U+202E]abc" in text
        assert "םולש" in text or "שלום" in text
    elif name == "long":  # over several pages, their feet between
        assert text.count("x") > 20_000
    else:
        assert text.count(shown) > 10
    # No name turned round the figures beside it.
    best = write_text(found["words"]["lede"], chosen_system(found["units"])).split()[-1]
    assert best.rstrip(".") in text


def test_a_guide_without_ledger_possible_or_work_is_set(make_view: MakeView):
    reader = read(render_pdf(make_view(laps=2, worth=False)))
    assert "noorderofwork" in all_text(reader)
    assert "Where the time went" not in [t for _, t in list_bookmarks(reader.outline)]


def test_a_lap_without_data_in_some_corners_is_set(make_view: MakeView):
    found = make_view(laps=2)
    chosen = found["pictures"]["laps"][found["pictures"]["chosen_lap"]]
    half = len(chosen["n"]) // 2
    for name in ("n", "speed", "brake", "steering"):
        chosen[name] = np.where(np.arange(len(chosen["n"])) < half, np.nan, chosen[name])
    chosen["throttle"] = None
    reader = read(render_pdf(found))
    assert len(reader.pages) >= len(found["guide"]["corners"]) + 3


def test_a_guide_without_corners_is_set(make_view: MakeView):
    found = make_view(laps=2, worth=False)
    found["guide"]["corners"], found["words"]["corners"] = [], {}
    tops = [title for level, title in list_bookmarks(read(render_pdf(found)).outline) if not level]
    assert tops == ["Order of work", "Cautions", "Practice", "Method and uncertainty"]


def test_every_character_that_counts_as_printable_is_printed(make_view: MakeView):
    """Under PDF/UA-1 the setter refuses a text that its fonts cannot show."""
    characters = [chr(c) for first, last in RANGES for c in range(first, last + 1)
                  if unicodedata.category(chr(c)) not in ("Cn", "Co", "Cs")]  # fmt: skip
    view = make_view(laps=2, worth=False)
    notes = ["".join(characters[i : i + 30]) for i in range(0, len(characters), 30)]
    first, *rest = view["guide"]["corners"]
    view["guide"]["corners"] = [{**first, "notes": notes}, *rest]
    text = all_text(read(render_pdf(view)))
    assert "[U+" not in text
    letters = {c for c in characters if c.isalpha() and not unicodedata.decomposition(c)}
    assert len(letters - set(text)) < 0.02 * len(letters)


def test_what_the_setter_cannot_cope_with_is_written_plainly(
    view: dict[str, Any], monkeypatch: pytest.MonkeyPatch
):
    class PanicException(BaseException):
        pass

    import typst

    real, calls = typst.compile, []

    def fall(*args: Any, **more: Any) -> bytes:
        calls.append(more["sys_inputs"]["doc"])
        if "−" in calls[-1]:
            raise PanicException("end byte index 3")
        return bytes(real(*args, **more))

    monkeypatch.setattr(typst, "compile", fall)
    data = render_pdf(view)
    assert len(calls) == 2
    assert "[U+2212]" in all_text(read(data))
    monkeypatch.setattr(typst, "compile", lambda *_, **__: (_ for _ in ()).throw(ValueError("no")))
    with pytest.raises(NoAnswerError, match=r"guide\.pdf: the text could not be set"):
        pdf.render_pdf(view)


def test_colours_are_those_of_the_page(root: Path):
    style = (root / "web/src/roles.css").read_text("utf-8")
    light = dict(re.findall(r"--(\w+): light-dark\((#\w+),", style))
    assert len(ROLES) > 10
    same = {"ground": "#ffffff"}  # paper
    assert {**{name: light[name] for name in ROLES}, **same} == ROLES


@pytest.mark.parametrize("ranges", [RANGES, PLAIN_RANGES])
def test_ranges_are_in_order(ranges: tuple[tuple[int, int], ...]):
    ends = [end for pair in ranges for end in pair]
    assert ends == sorted(ends)
