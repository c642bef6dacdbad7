"""Cutting off what is quoted: an earlier email, a signature, a telephone's line. What is cut off is kept, and
where nothing of somebody's own would be left, nothing is cut: no word that a person wrote is lost."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby, takewhile

from shopdesk.mail import phrases
from shopdesk.mail.lines import SIGNATURE_LINES, Line, Mark

_MOST = 5000
"""Lines that are looked at; whatever comes behind them goes to the rest."""
_INTRODUCTION = 4
"""An introduction is folded into as many lines at most."""
_THEIRS = (Mark.OTHERS, Mark.EARLIER, Mark.SIGNATURE)
_LOOSE_SIGNATURE = 8
"""How many lines may follow "--" without its space for it to be a signature."""


@dataclass(frozen=True)
class Cut:
    """`words` and `quoted` hold every line between them. `cids` are the pictures that stand in the words,
    `signing_cids` those in their signature, `others_cids` those in all the rest. `forwarded` is whether the
    rest is an email that was passed on."""

    words: str
    quoted: str
    cids: frozenset[str]
    signing_cids: frozenset[str]
    others_cids: frozenset[str]
    forwarded: bool


def cut(lines: Sequence[Line]) -> Cut:
    """What somebody wrote now, and the rest. An answer below a quoted line, or between two, is theirs."""
    knife = _Knife(lines[:_MOST])
    own, signing = knife.own_lines(), knife.signing_lines()
    others = [*knife.others_lines(), *lines[_MOST:]]
    return Cut(
        words=text_of_lines(own),
        quoted=text_of_lines(others),
        cids=frozenset(cid for line in own for cid in line.cids),
        signing_cids=frozenset(cid for line in signing for cid in line.cids),
        others_cids=frozenset(cid for line in others for cid in line.cids),
        forwarded=knife.forwarded,
    )


def text_of_lines(lines: Iterable[Line]) -> str:
    """The lines as text: no blank ones around it, and never two together."""
    said: list[str] = []
    for line in lines:
        shown = line.shown
        if shown.strip() or (said and said[-1]):
            said.append(shown)
    return "\n".join(said).strip("\n").rstrip()


def _is_quoted(line: Line) -> bool:
    """Whether it stands within an earlier email, by its marks or by those of the HTML around it."""
    return line.depth > 0 or line.mark == Mark.EARLIER


class _Knife:
    """Goes over the lines and says of each whose it is."""

    def __init__(self, lines: Sequence[Line]) -> None:
        self.lines = list(lines)
        self.theirs = [line.depth > 0 or line.mark in _THEIRS for line in lines]
        self.signing = [line.depth == 0 and line.mark == Mark.SIGNATURE for line in lines]
        self.forwarded = False
        self._end = len(lines)
        """Where the rest begins that is somebody else's to its end."""
        self._spare_a_lone_mark()
        self._cut_rest()
        self._cut_introductions()
        self._cut_armour()
        self._cut_signatures()
        self._cut_devices()
        self._cut_blank_lines()

    def own_lines(self) -> list[Line]:
        """Their own, with a blank line where something was cut out between."""
        own: list[Line] = []
        for theirs, run in groupby(range(len(self.lines)), key=lambda index: self.theirs[index]):
            own += [Line("")] if theirs else [self.lines[index] for index in run]
        return own

    def others_lines(self) -> list[Line]:
        return [line for line, theirs in zip(self.lines, self.theirs, strict=True) if theirs]

    def signing_lines(self) -> list[Line]:
        """Of the others', their own signature."""
        return [line for line, signs in zip(self.lines[: self._end], self.signing, strict=False) if signs]

    def _spare_a_lone_mark(self) -> None:
        """ ">50 cm wide" is no quotation: one line alone with a mark, without a space, that nothing
        introduces."""
        quoted = [index for index, line in enumerate(self.lines) if line.depth]
        if len(quoted) != 1:
            return
        index = quoted[0]
        before = next((line.text for line in reversed(self.lines[:index]) if not line.blank), "")
        if self.lines[index].text[:1].isdigit() and not phrases.may_introduce(before):
            self.lines[index] = Line(f">{self.lines[index].text}")
            self.theirs[index] = False

    def _cut_rest(self) -> None:
        """From the first line on that a mail program marked, or that divides, or where the head of an earlier
        email stands. Where that one is quoted line by line, what stands between is an answer."""
        for index, line in enumerate(self.lines):
            if line.mark == Mark.EARLIER and phrases.divides(line.text) and phrases.forwards(line.text):
                self.forwarded = True
            if _is_quoted(line) or line.blank:
                continue
            size = 0
            if line.mark == Mark.REST or phrases.divides(line.text):
                below = self._next(index + 1)
                size = max(1, below - index + self._block(below, divided=True))
            elif size := self._block(index):
                pass
            else:
                continue
            if any(phrases.forwards(one.text) for one in self.lines[index : index + 2] if not one.depth):
                self.forwarded = True
            first = index
            while first and (self.lines[first - 1].blank or phrases.is_rule(self.lines[first - 1].text)):
                first -= 1
            below = self._next(index + size)
            answered = below < len(self.lines) and _is_quoted(self.lines[below]) and line.mark != Mark.REST
            self._give(first, index + size if answered else len(self.lines))
            if not answered:
                self._end = first
                return

    def _block(self, index: int, *, divided: bool = False) -> int:
        texts = [
            one.text for one in takewhile(lambda one: not _is_quoted(one), self.lines[index : index + 16])
        ]
        return phrases.header_block(texts, divided=divided)

    def _cut_introductions(self) -> None:
        index = 0
        while index < self._end:
            line = self.lines[index]
            if not _is_quoted(line) and not line.blank and self._ends_with_colon(line):
                below = self._next(index + 1)
                quoted = below < len(self.lines) and _is_quoted(self.lines[below])
                first = self._introduction(index, quoted=quoted)
                if first is not None and quoted:
                    self._give(first, index + 1)
                elif first is not None:
                    self._give(first, len(self.lines))
                    self._end = first
                    return
            index += 1

    @staticmethod
    def _ends_with_colon(line: Line) -> bool:
        return line.text.rstrip().rstrip("*").rstrip().endswith((":", "："))

    def _introduction(self, last: int, *, quoted: bool) -> int | None:
        """The first line of the introduction that ends at `last`. Without quotation marks below it, only what
        no person writes by hand is one."""
        known = phrases.introduces if quoted else phrases.introduces_surely
        found = last if known(self.lines[last].text) else None
        for first in range(last, max(-1, last - _INTRODUCTION), -1):
            line = self.lines[first]
            if _is_quoted(line) or line.blank:
                break
            if found is not None and first < last and not line.text.rstrip().endswith(","):
                break  # only "On Tuesday," stands above what is one by itself
            text = " ".join(one.text.strip() for one in self.lines[first : last + 1])
            if phrases.begins_introduction(text) and known(text):
                return first
        if found is None and quoted and phrases.may_introduce(self.lines[last].text):
            return last
        return found

    def _cut_armour(self) -> None:
        """What stands around a text that is signed in the open (RFC 9580, section 7)."""
        inside = False
        for index, line in enumerate(self.lines[: self._end]):
            if self.theirs[index]:
                continue
            text = line.text.strip()
            if text == "-----BEGIN PGP SIGNED MESSAGE-----":
                self._give(index, min(index + 1, self._end))
                for below in range(index + 1, min(index + 6, self._end)):
                    if ": " not in self.lines[below].text:
                        break
                    self._give(below, below + 1)
            inside = inside or text == "-----BEGIN PGP SIGNATURE-----"
            if inside:
                self._give(index, index + 1)
            inside = inside and text != "-----END PGP SIGNATURE-----"

    def _cut_signatures(self) -> None:
        """From "-- " (RFC 3676, section 4.3) to the next line that is theirs already. Programs and people
        drop the space; then it has to be short, and the last thing before what is quoted or the end."""
        index = stop = 0
        said = [0, *accumulate(not line.blank for line in self.lines)]
        while index < self._end:
            if self.theirs[index] or self.lines[index].text not in SIGNATURE_LINES:
                index += 1
                continue
            stop = max(index, stop)
            while stop < self._end and not self.theirs[stop]:
                stop += 1
            size = said[stop] - said[index + 1]
            if self.lines[index].text == SIGNATURE_LINES[0] or size <= _LOOSE_SIGNATURE:
                self._give(index, stop)
                self.signing[index:stop] = [True] * (stop - index)
                index = stop
            index += 1

    def _cut_devices(self) -> None:
        """A telephone's line where it stands last, and by itself: above what is quoted, or at the end."""
        for theirs, run in groupby(range(len(self.lines)), key=lambda index: self.theirs[index]):
            own = [] if theirs else [index for index in run if not self.lines[index].blank]
            by_itself = own and own[-2:-1] != [own[-1] - 1]
            if by_itself and phrases.names_a_device(self.lines[own[-1]].text):
                self._give(own[-1], own[-1] + 1)

    def _cut_blank_lines(self) -> None:
        """Those between two lines that are theirs."""
        last = 0
        for index, line in enumerate(self.lines):
            if not line.blank:
                if self.theirs[index] and (not last or self.theirs[last - 1]):
                    self._give(last, index)
                last = index + 1

    def _next(self, index: int) -> int:
        """The next line that is not blank, or the end."""
        while index < len(self.lines) and self.lines[index].blank:
            index += 1
        return index

    def _give(self, start: int, stop: int) -> None:
        self.theirs[start:stop] = [True] * (stop - start)
