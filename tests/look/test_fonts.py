"""The pages' fonts: what they can set, how much they weigh, and that making them twice changes nothing."""

from __future__ import annotations

import io
import os
import time
from pathlib import Path

import pikepdf
import pytest
import weasyprint
from fontTools.ttLib import TTFont

from shopdesk.look import fonts

NAMES = [
    "source-serif-400.woff2",
    "source-serif-600.woff2",
    "source-serif-400-italic.woff2",
    "source-sans-400.woff2",
    "source-sans-600.woff2",
    "source-sans-400-italic.woff2",
]
EVERYWHERE = "aZ09éőßçñøłšžț€£½¼×·°−‑–—…“”‘’«»′″"
UPRIGHT_ONLY = "ЖщΩλ→"  # the italics of these releases have neither Greek nor Cyrillic


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return fonts.build(tmp_path_factory.mktemp("var") / "fonts")


def characters(path: Path) -> set[str]:
    with TTFont(path) as font:
        return {chr(code) for code in font.getBestCmap()}


def test_the_files_are_those_the_style_sheet_names(built: list[Path]) -> None:
    assert [path.name for path in built] == NAMES
    sheet = Path(fonts.__file__).parent / "static" / "shopdesk" / "paper.css"
    text = sheet.read_text("utf-8")
    for face in fonts.FACES:
        rule = next(line for line in text.splitlines() if f"/{face.file}" in line)
        assert f'"{face.family}"' in rule
        assert f"font-weight: {face.weight}" in rule
        assert ("italic" in rule) == (face.style == "italic")


@pytest.mark.parametrize("name", NAMES)
def test_a_face_is_small_woff2_and_sets_what_people_write(built: list[Path], name: str) -> None:
    path = next(path for path in built if path.name == name)
    data = path.read_bytes()
    assert data[:4] == b"wOF2"  # W3C, WOFF File Format 2.0, section 4.1
    assert 5_000 < len(data) < 90_000
    wanted = EVERYWHERE if "italic" in name else EVERYWHERE + UPRIGHT_ONLY
    assert not set(wanted) - characters(path)


def test_figures_line_up_in_columns_and_the_hard_hyphen_looks_like_one(built: list[Path]) -> None:
    for path in built:
        with TTFont(path) as font:
            cmap, widths = font.getBestCmap(), font["hmtx"]
            assert len({widths[cmap[ord(figure)]][0] for figure in "0123456789"}) == 1
            assert cmap[0x2011] == cmap[ord("-")]


def test_the_cut_fonts_do_not_bear_the_name_their_licence_reserves(built: list[Path]) -> None:
    # SIL Open Font License 1.1, condition 3; the reserved name is in each package's LICENSE.txt.
    for face, path in zip(fonts.FACES, built, strict=True):
        with TTFont(path) as font:
            names = [str(record) for record in font["name"].names if record.nameID in (1, 4, 6, 16)]
            top = font["CFF "].cff
            names += [*top.fontNames, top.topDictIndex[0].FamilyName]
            assert all("Source" not in name for name in names)
            assert face.family in names
            assert "Open Font License" in font["name"].getDebugName(13)


def test_building_again_changes_nothing(built: list[Path]) -> None:
    before = [(path.stat().st_mtime_ns, path.read_bytes()) for path in built]
    assert fonts.build(built[0].parent) == built
    assert [(path.stat().st_mtime_ns, path.read_bytes()) for path in built] == before


def copied(built: list[Path], folder: Path) -> None:
    folder.mkdir()
    for path in [*built, built[0].with_name(fonts.STAMP)]:
        (folder / path.name).write_bytes(path.read_bytes())


def test_a_damaged_or_lost_file_is_made_again_and_comes_out_the_same(
    built: list[Path], tmp_path: Path
) -> None:
    folder = tmp_path / "cut"
    copied(built, folder)
    (folder / NAMES[0]).write_bytes(b"wOF2 and no more")
    (folder / NAMES[5]).unlink()
    killed, under_way, no_business = (
        tmp_path / name for name in (".making-cut-old", ".making-cut-now", ".making-other-old")
    )
    an_age_ago = time.time() - 7200
    for aside in (killed, under_way, no_business):
        aside.mkdir()
    for aside in (killed, no_business):
        os.utime(aside, (an_age_ago, an_age_ago))

    again = fonts.build(folder)

    assert [path.read_bytes() for path in again] == [path.read_bytes() for path in built]
    assert not killed.exists()
    assert under_way.exists()
    assert no_business.exists()


def test_whoever_lists_the_folder_meanwhile_sees_whole_files_only(
    built: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = {path.name: path.read_bytes() for path in built}
    folder, seen = tmp_path / "cut", []

    def look(face: fonts.Face, target: Path) -> None:
        target.write_bytes(b"wOF2, half of it")
        seen.append({path.name: path.read_bytes() for path in folder.rglob("*")})
        target.write_bytes(whole[face.file])

    monkeypatch.setattr(fonts, "_subset", look)
    fonts.build(folder)

    assert seen == [{name: whole[name] for name in NAMES[:done]} for done in range(len(NAMES))]
    assert [path.name for path in tmp_path.iterdir()] == ["cut"]


def test_other_ranges_are_another_recipe(
    built: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copied(built, tmp_path / "cut")
    monkeypatch.setattr(fonts, "UNICODES", ((0x20, 0x7E),))
    again = fonts.build(tmp_path / "cut")
    assert characters(again[0]) == {chr(code) for code in range(0x20, 0x7F)}


def test_a_failed_build_leaves_no_stamp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        fonts, "FACES", (*fonts.FACES[:1], fonts.Face("x", "X", 400, "normal", "no_such", "x"))
    )
    monkeypatch.setattr(fonts, "_recipe", lambda: "the same")
    with pytest.raises(LookupError, match="no_such"):
        fonts.build(tmp_path / "cut")
    assert list(tmp_path.rglob("*")) == [tmp_path / "cut", tmp_path / "cut" / NAMES[0]]


def faces_used(css: str) -> set[str]:
    """The names of the fonts embedded in a PDF that uses all six faces, without their subset prefix."""
    lines = "".join(
        f'<p style="font: {face.style} {face.weight} 1rem {face.family}">26‑014 é €' for face in fonts.FACES
    )
    pdf = weasyprint.HTML(string=f"<style>{css}</style>{lines}").write_pdf()
    with pikepdf.open(io.BytesIO(pdf)) as document:
        found = document.pages[0].Resources.Font.values()
        return {str(font.BaseFont).partition("+")[2] for font in found}


def test_documents_are_set_in_the_shops_type_and_nothing_else(built: list[Path]) -> None:
    assert faces_used(fonts.document_faces(built[0].parent)) == {
        "Shop-Serif",
        "Shop-Serif-Semi-Bold",
        "Shop-Serif-Italic",
        "Shop-Sans",
        "Shop-Sans-Semi-Bold",
        "Shop-Sans-Italic",
    }


def test_without_the_built_folder_documents_use_the_whole_fonts() -> None:
    css = fonts.document_faces()
    assert css.count("@font-face") == len(fonts.FACES)
    assert all(face.path.is_file() and face.path.as_uri() in css for face in fonts.FACES)
    assert {"Shop-Serif", "Shop-Sans"} <= faces_used(css)
