"""Every paper can be read by everybody: what ISO 14289-1:2014 (PDF/UA-1) asks for, read back with pikepdf
and pypdf, which share nothing with the program that sets it.

Clause numbers below are of ISO 14289-1; ISO 32000-1:2008 is PDF 1.7 itself.
"""

from __future__ import annotations

import io
import itertools
import re
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path

import pikepdf
import pytest
from django.conf import settings
from pikepdf import Array, Dictionary, Name, Object
from pypdf import PdfReader

from shopdesk.documents import render
from shopdesk.documents.models import Document
from tests.outside.papers import PAPERS, PIECES, QUOTE, rendered


@cache
def set_once(paper: str) -> bytes:
    template, content = PAPERS[paper]
    return rendered(content, template)


@pytest.fixture
def data() -> bytes:
    return set_once("quote")


@pytest.fixture(params=PAPERS)
def paper(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def pdf(paper: str) -> Iterator[pikepdf.Pdf]:
    with pikepdf.open(io.BytesIO(set_once(paper))) as opened:
        yield opened


def elements(pdf: pikepdf.Pdf) -> Iterator[Dictionary]:
    """Every structure element in reading order (ISO 32000-1, 14.7.2)."""

    def walk(kids: Object) -> Iterator[Dictionary]:
        for kid in kids if isinstance(kids, Array) else [kids]:
            if isinstance(kid, Dictionary) and Name.S in kid:
                yield kid
                if Name.K in kid:
                    yield from walk(kid.K)

    yield from walk(pdf.Root.StructTreeRoot.K)


def kinds(pdf: pikepdf.Pdf, *wanted: str) -> list[Dictionary]:
    return [each for each in elements(pdf) if str(each.S) in wanted]


def test_says_that_it_is_pdf_ua(pdf: pikepdf.Pdf) -> None:
    """Clause 5: the XMP metadata name the part of the standard. 7.1: the file is marked as tagged."""
    with pdf.open_metadata() as xmp:
        assert xmp["{http://www.aiim.org/pdfua/ns/id/}part"] == "1"
    assert bool(pdf.Root.MarkInfo.Marked)
    assert not bool(pdf.Root.MarkInfo.get(Name.Suspects, False))
    assert pdf.pdf_version == "1.7"


TITLE = {
    "quote": "Quote 26-001, revision 2, Tidewell Bench",
    "change": "Change 1 to 26-001, Tidewell Bench",
    "invoice": "Invoice I-2026-0002, Tidewell Bench",
    "receipt": "Receipt R-2026-0001, Tidewell Bench",
}


def test_shows_its_title_and_says_its_language(pdf: pikepdf.Pdf, paper: str) -> None:
    """7.1: `dc:title`, and `DisplayDocTitle` so that the window shows it instead of the file's name. 7.2:
    natural language."""
    assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle)
    with pdf.open_metadata() as xmp:
        assert xmp["dc:title"] == TITLE[paper.removeprefix("long ")]
    assert str(pdf.Root.Lang) == "en"


def test_everything_on_the_pages_is_tagged(pdf: pikepdf.Pdf) -> None:
    """7.1: all real content is in the structure tree, everything else is an artifact. 7.18.3: the tab order
    follows the structure."""
    for page in pdf.pages:
        assert page.Tabs == Name.S
        depth = 0
        marked = []
        for instruction in pikepdf.parse_content_stream(page):
            operator = instruction.operator
            if str(operator) in ("BDC", "BMC"):
                marked.append(str(instruction.operands[0]))
                depth += 1
            elif str(operator) == "EMC":
                depth -= 1
            elif str(operator) in ("Tj", "TJ", "Do", "'", '"'):
                assert depth > 0, "text or a picture outside of any tag"
        assert depth == 0
        assert marked


def test_headings_do_not_skip_a_level(pdf: pikepdf.Pdf) -> None:
    """7.4.2: the first is H1, and none skips a level on the way down."""
    levels = [int(str(each.S)[2:]) for each in elements(pdf) if re.fullmatch(r"/H[1-6]", str(each.S))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert len(levels) > 1


def test_tables_have_heads(pdf: pikepdf.Pdf, paper: str) -> None:
    """7.5: table heads are TH, and each cell can be traced to its heads, by `Headers` and by `Scope` (ISO
    32000-1, table 349); ISO 32000-1, table 322: the identifiers are in the `IDTree`, in order."""
    heads = {str(each.ID): str(each.A.Scope) for each in kinds(pdf, "/TH")}
    assert "/Row" in set(heads.values()) <= {"/Row", "/Column"}
    cells = kinds(pdf, "/TD")
    assert cells
    priced = 0
    for cell in cells:
        named = [str(name) for name in cell.A.get(Name.Headers, [])]
        assert set(named) <= set(heads)
        priced += bool(named)
    content = PAPERS[paper][1]
    assert priced >= sum(len(content.get(rows, [])) for rows in ("pieces", "options", "rows", "sums"))
    names = [bytes(name) for name in list(pdf.Root.StructTreeRoot.IDTree.Names)[::2]]
    assert names == sorted(names)
    assert {name.decode() for name in names} == set(heads)
    for row in kinds(pdf, "/TR"):
        assert {str(cell.S) for cell in row.K} <= {"/TH", "/TD"}


ALT = {
    "quote": {f"{name}, as it is now" for name, *_ in PIECES},
    "change": {f"What we found, picture {number}" for number in (1, 2, 3)},
    "invoice": {"Payment code for banking apps: €238.00 to Tidewell Bench"},
    "receipt": set(),
}


def test_pictures_are_described(pdf: pikepdf.Pdf, paper: str) -> None:
    """7.3: each figure has an alternative text, and a box that says where it is."""
    figures = kinds(pdf, "/Figure")
    assert {str(each.Alt) for each in figures} == ALT[paper.removeprefix("long ")]
    for each in figures:
        assert len(each.A.BBox) == 4


def test_lists_are_lists(pdf: pikepdf.Pdf, paper: str) -> None:
    """7.6: L holds LI, which hold Lbl and LBody."""
    lists = kinds(pdf, "/L")
    assert len(lists) >= (2 if "quote" in paper else 0)
    for each in lists:
        assert {str(item.S) for item in each.K} == {"/LI"}
    for item in kinds(pdf, "/LI"):
        assert {str(part.S) for part in item.K} <= {"/Lbl", "/LBody"}


def test_fonts_are_embedded_and_their_letters_known(pdf: pikepdf.Pdf) -> None:
    """7.21.4.1: fonts are embedded. 7.21.7: characters map to Unicode. They are the shop's own."""
    families = set()
    for page in pdf.pages:
        for font in page.Resources.Font.values():
            assert Name.ToUnicode in font
            (descendant,) = font.DescendantFonts
            descriptor = descendant.FontDescriptor
            assert any(kind in descriptor for kind in (Name.FontFile, Name.FontFile2, Name.FontFile3))
            families.add(re.sub(r"^/[A-Z]{6}\+", "", str(descriptor.FontName)).replace("-", " "))
    assert {" ".join(family.split()[:2]) for family in families} == {"Shop Sans", "Shop Serif"}


def test_it_reads_in_the_order_in_which_it_is_written(data: bytes) -> None:
    """7.2; checkpoint 09 of the Matterhorn Protocol 1.1: the tags come in the order of reading, and so does
    the text on the pages."""
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert [str(each.S) for each in kinds(pdf, "/H1", "/H2", "/Table", "/L")] == [
            "/H1", "/Table", "/H2", "/Table", "/H2", "/Table", "/H2", "/L", "/H2", "/L", "/H2", "/H2",
        ]  # fmt: skip
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(data)).pages)
    at = -1
    for words in (
        "Tidewell Bench",
        "A price for your writing desk and chair",
        "Ottoline Brask",
        "Writing desk, 55 1/8 × 23 5/8 × 30 in",
        "Stripped to the walnut, drawers eased.",
        "Oiled and waxed.",
        "Wax, 2 tins",
        "Chair with a caned seat",
        "If you like",
        "A clear-coated top",
        "What it costs",
        "Sales tax, 6.25 %",
        "$425.00",
        "The deposit of $212.50 is part of the price.",
        "IBAN DE89 3704 0044 0532 0130 00",
        "Taking off and refitting the hardware",
        "Upholstery",
        "Good to know",
        "may hold lead",
        "To accept",
    ):
        found = text.find(words, at + 1)
        assert found > at, words
        at = found


def test_pages_are_counted_and_tables_keep_their_heads(paper: str) -> None:
    """ "2 of 3" at the foot of each page, and over each part of a table what its columns are. No page is left
    with a line or two."""
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(set_once(paper))).pages]
    for place, text in enumerate(pages, start=1):
        assert f"{place} of {len(pages)}" in text
    assert (len(pages) > 2) == paper.startswith("long")
    if paper == "long invoice":
        with_rows = [text for text in pages if re.search(r"^Piece \d+", text, re.MULTILINE)]
        assert len(with_rows) > 1
        assert all("What was agreed and done" in text for text in with_rows)
    assert all(len(text.splitlines()) > 8 for text in pages)


def test_says_nothing_that_is_for_the_desk_only(data: bytes) -> None:
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
    assert "owner" not in text
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert b"31.07" not in bytes(pdf.Root.Metadata.read_bytes())
        assert len(pdf.attachments) == 0
        assert Name.JavaScript not in pdf.Root.get(Name.Names, Dictionary())
        assert Name.OpenAction not in pdf.Root


def test_is_dated_by_its_content_and_told_apart(data: bytes) -> None:
    """ISO 32000-1, 14.4: the identifier's first half is of the document."""
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert str(pdf.docinfo.CreationDate).startswith("D:20260314")
        document = Document(template="quote", title="Quote", content=QUOTE, dated_on=date(2026, 3, 14))
        assert bytes(pdf.trailer.ID[0]) == render.identifier_of(document)


def test_fits_on_two_sheets_and_into_an_email(data: bytes) -> None:
    assert len(PdfReader(io.BytesIO(data)).pages) <= 2
    assert len(data) < 500_000


def test_the_fonts_come_from_this_machine() -> None:
    for address in re.findall(r'url\("([^"]+)"\)', render._font_faces()):
        assert address.startswith(Path(settings.FONTS).absolute().as_uri())
