"""The two type families, from the packages that carry them: cut to woff2 for the pages and the PDFs.

Nothing of this is committed or fetched: `build` makes the six files that the style sheet names, in a few
seconds, once; afterwards it finds them made. The fonts' licence (SIL OFL 1.1) reserves the name "Source" for
the unaltered fonts, so what we cut is named as the style sheet calls it.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
import time
from dataclasses import asdict, dataclass
from importlib import metadata, util
from pathlib import Path

STAMP = ".made-from.json"
CODE = 1
"""Raise it when `_subset` makes other files from the same fonts."""

UNICODES: tuple[tuple[int, int], ...] = (
    (0x0020, 0x007E),  # Latin
    (0x00A0, 0x00FF),  # Latin-1
    (0x0100, 0x017F),  # Latin Extended-A
    (0x0218, 0x021B),  # Romanian comma-below letters
    (0x0300, 0x030C),  # combining accents
    (0x0370, 0x03FF),  # Greek
    (0x0400, 0x045F),  # Cyrillic
    (0x0490, 0x0491),  # Ukrainian
    (0x2010, 0x2027),  # hyphens, dashes, quotes, bullets, the ellipsis
    (0x202F, 0x203A),  # narrow space, per mille, primes, angle quotes
    (0x2044, 0x2044),  # fraction slash
    (0x2070, 0x2089),  # raised and lowered figures
    (0x20A0, 0x20BF),  # currencies
    (0x2113, 0x2122),  # litre, numero, trade mark
    (0x2150, 0x215E),  # fractions
    (0x2190, 0x2193),  # arrows
    (0x2212, 0x2212),  # minus
    (0x2248, 0x2265),  # about, at least, at most
    (0x25B2, 0x25CF),  # small shapes
    (0x2713, 0x2713),  # tick
)
# Figures need no feature: in both families they are lining and of one width as they come.
FEATURES = ("kern", "liga", "frac", "ccmp", "locl", "mark", "mkmk")
# Both lack the non-breaking hyphen that numbers are set with, and some faces the plain one: drawn as "-" is.
HYPHENS = (0x2010, 0x2011)


@dataclass(frozen=True)
class Face:
    """One face: the file the pages load, the CSS that selects it, and where it comes from."""

    file: str
    family: str
    weight: int
    style: str
    package: str
    source: str

    @property
    def path(self) -> Path:
        """The whole font in its package; LookupError where the package is not installed."""
        spec = util.find_spec(self.package)
        if spec is None or spec.origin is None:
            raise LookupError(f"The package {self.package} is not installed.")
        return Path(spec.origin).parent / "files" / self.source


def _family(file: str, family: str, package: str, source: str) -> tuple[Face, ...]:
    return (
        Face(f"{file}-400.woff2", family, 400, "normal", package, f"{source}-Regular.otf"),
        Face(f"{file}-600.woff2", family, 600, "normal", package, f"{source}-Semibold.otf"),
        Face(f"{file}-400-italic.woff2", family, 400, "italic", package, f"{source}-It.otf"),
    )


FACES = (
    *_family("source-serif", "Shop Serif", "font_source_serif_pro", "SourceSerifPro"),
    *_family("source-sans", "Shop Sans", "font_source_sans_pro", "SourceSansPro"),
)


def build(folder: Path) -> list[Path]:
    """Make the pages' six woff2 files in `folder` (made if need be) and return their paths, serif first.

    Does nothing when they are there and whole. Each file appears in one step and the stamp after the last,
    so a build that was killed is simply done again, and two at once make the same files. They are made beside
    `folder`, not in it: whoever lists it meanwhile (the static files' finders do) sees whole files only.
    """
    made = [folder / face.file for face in FACES]
    recipe = _recipe()
    if _is_made(folder, made, recipe):
        return made
    folder.mkdir(parents=True, exist_ok=True)
    making = f".making-{folder.name}-"
    for left in folder.parent.glob(f"{making}*"):
        if time.time() - left.stat().st_mtime > 3600:  # From a build that was killed, not one under way.
            shutil.rmtree(left, ignore_errors=True)
    with tempfile.TemporaryDirectory(prefix=making, dir=folder.parent) as aside:
        for face, path in zip(FACES, made, strict=True):
            fresh = Path(aside) / face.file
            _subset(face, fresh)
            fresh.replace(path)
        stamp = Path(aside) / STAMP
        stamp.write_text(json.dumps({"recipe": recipe, "sha256": [_sha256(path) for path in made]}), "utf-8")
        stamp.replace(folder / STAMP)
    return made


def document_faces(folder: Path | None = None) -> str:
    """`@font-face` rules for WeasyPrint, under the names that the style sheet uses, as file addresses.

    With the `folder` that `build` filled, the same files as the pages: they have the non-breaking hyphen that
    the whole fonts lack (a PDF would borrow one from whatever else the machine has). Without it, the whole
    fonts in their packages.
    """
    return "\n".join(
        f'@font-face {{ font-family: "{face.family}"; font-weight: {face.weight}; font-style: {face.style}; '
        f'src: url("{(folder / face.file if folder else face.path).absolute().as_uri()}") }}'
        for face in FACES
    )


def _recipe() -> str:
    """One word for everything that the files are made from."""
    packages = {face.package.replace("_", "-") for face in FACES} | {"fonttools"}
    parts = (
        CODE,
        UNICODES,
        FEATURES,
        HYPHENS,
        [asdict(face) for face in FACES],
        sorted((name, metadata.version(name)) for name in packages),
    )
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def _is_made(folder: Path, made: list[Path], recipe: str) -> bool:
    try:
        stamp = json.loads((folder / STAMP).read_text("utf-8"))
        return bool(stamp == {"recipe": recipe, "sha256": [_sha256(path) for path in made]})
    except (OSError, ValueError):
        return False


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _subset(face: Face, target: Path) -> None:
    from fontTools import subset  # Half a second to import, and only needed here.

    options = subset.Options(
        flavor="woff2",
        layout_features=list(FEATURES),
        name_IDs=[0, 1, 2, 4, 5, 6, 13, 14],  # names, copyright and licence stay with the font
        desubroutinize=True,
        hinting=False,
        recalc_timestamp=False,  # the same font makes the same bytes
    )
    font = subset.load_font(str(face.path), options)
    wanted = {code for first, last in UNICODES for code in range(first, last + 1)}
    for table in font["cmap"].tables:
        if table.isUnicode():
            for hyphen in HYPHENS:
                table.cmap.setdefault(hyphen, table.cmap[ord("-")])
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=wanted)
    cutter.subset(font)
    full = f"{face.family} {face.weight} {face.style}"
    names = {1: face.family, 4: full, 6: full.replace(" ", "-"), 16: face.family}
    for record in font["name"].names:
        record.string = names.get(record.nameID, record.string)
    font["CFF "].cff.topDictIndex[0].FamilyName = face.family
    font["CFF "].cff.fontNames = [names[6]]
    subset.save_font(font, str(target), options)
    font.close()
