"""What somebody types into a request, and the clean values it becomes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, cast

from crispy_forms.helper import FormHelper
from django import forms
from django.forms.boundfield import BoundField

from shopdesk.commissions.actions import NewPiece, Wish
from shopdesk.commissions.models import Piece
from shopdesk.intake.actions import Asked
from shopdesk.intake.fields import Address, DayToCome, Length, Line, Lines, Phone
from shopdesk.intake.models import MOST_PICTURES
from shopdesk.intake.words import has_letter, many_lines, one_line, storable
from shopdesk.mail.heard import Heard
from shopdesk.photos.forms import PicturesField
from shopdesk.shop.models import Shop

MOST_PIECES = 12
MOST_KEPT = 200_000
HOLLOW = "homepage"
"""A field that no person sees: whoever fills it in is a robot."""

_NO_LETTER = "Please write a name with letters in it, so that we know what to call you."
_NO_WAY = "Leave an email address or a phone number, so that we can answer you."
_NOTHING_SHOWN = "Add a picture above, or say here in a few words what it is."

SHEENS = [
    ("", "not sure yet"),
    ("dead flat", "dead flat"),
    ("matte", "matte"),
    ("satin", "satin"),
    ("semi-gloss", "semi-gloss"),
    ("gloss", "gloss"),
]


class _Form(forms.Form):
    focus_given = False
    """Whether the focus goes to a field outside this form (`look`'s tag `widget` reads it)."""


class PieceForm(_Form):
    """One piece of a request. Nothing in it has to be filled in."""

    name = Line(
        most=120,
        required=False,
        label="What is it?",
        help_text="In your own words: a writing desk, six chairs.",
    )
    trouble = Lines(
        required=False,
        rows=3,
        label="Tell us about it",
        help_text="What is wrong with it, what it has been through.",
    )
    count = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=99,
        initial=1,
        label="How many",
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={
            "invalid": "Please write how many as a number, such as 6.",
            "min_value": "One at least, please.",
            "max_value": "That is more than 99; please write to us about so many.",
        },
    )
    width = Length(label="Width")
    depth = Length(label="Depth")
    height = Length(label="Height")
    material = Line(
        most=120,
        required=False,
        label="What it is made of",
        help_text="Solid wood, veneer, laminate: as far as you know.",
    )
    made = Line(
        most=80, required=False, label="Age or year", help_text="A guess helps: about 1950, or 40 years old."
    )
    finish_now = forms.ChoiceField(
        required=False, choices=Piece.Finish.choices, initial=Piece.Finish.UNKNOWN, label="Its finish now"
    )
    hardware = Line(
        most=500,
        required=False,
        label="Handles, hinges, locks",
        help_text="What is there, and what is missing.",
    )

    FURTHER = ("count", "width", "depth", "height", "material", "made", "finish_now", "hardware")

    def __init__(self, *args: Any, shop: Shop, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for size in ("width", "depth", "height"):
            cast(Length, self.fields[size]).unit = cast(Literal["in", "cm"], shop.units)
        written = "34 1/2 or 87.6 cm" if shop.units == "in" else "87.6 or 34 1/2 in"
        self.size_hint = f"In {Shop.Units(shop.units).label} if you write no unit: {written}."

    @property
    def further_open(self) -> bool:
        """Whether what is folded away holds something: typed, or wrong."""
        return any(
            name in self.errors or str(self[name].value() or "") not in ("", "1", "unknown")
            for name in self.FURTHER
        )

    def described(self) -> bool:
        return bool(self.cleaned_data.get("name") or self.cleaned_data.get("trouble"))

    def empty(self) -> bool:
        said = {**self.cleaned_data, "count": None, "finish_now": ""}
        return not any(said.values()) and self.cleaned_data.get("finish_now") in ("", "unknown")

    def piece(self, otherwise: str) -> NewPiece:
        said = self.cleaned_data
        return NewPiece(
            name=said["name"] or otherwise,
            count=said["count"] or 1,
            width_mm=said["width"],
            depth_mm=said["depth"],
            height_mm=said["height"],
            material=said["material"],
            made=said["made"],
            finish_now=said["finish_now"] or Piece.Finish.UNKNOWN,
            trouble=said["trouble"],
            hardware=said["hardware"],
        )


class _PersonForm(_Form):
    """A name, and a way to reach them."""

    name = Line(
        most=120,
        label="Your name",
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": "Please tell us your name."},
    )
    email = Address(required=False, label="Email")
    phone = Phone(required=False, label="Phone")

    no_letter = _NO_LETTER
    no_way = _NO_WAY

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        if not has_letter(name):
            raise forms.ValidationError(self.no_letter)
        return name

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if not said.get("email") and not said.get("phone") and not {"email", "phone"} & self.errors.keys():
            self.add_error("email", self.no_way)
        return said


class RequestForm(_PersonForm):
    """The client, and what they wish for. The pieces are forms of their own."""

    email = Address(
        required=False, label="Email", help_text="An email or a phone number: one of them is enough."
    )
    wish = Lines(
        label="What would you like done?",
        help_text="Painted, stained, its old look back: in your own words.",
        error_messages={"required": "Please say in a few words what you would like done."},
    )
    colour_wish = Lines(
        required=False,
        most=1000,
        rows=2,
        label="Colour",
        help_text="In words, or a paint maker's name and code. "
        "A picture of a colour can go with the pictures above.",
    )
    sheen = forms.ChoiceField(required=False, choices=SHEENS, label="Sheen")
    hardware_wish = Line(
        most=500,
        required=False,
        label="What about its handles and hinges?",
        help_text="Kept, cleaned or replaced.",
    )
    place = Line(
        most=200,
        required=False,
        label="Where will it live?",
        help_text="A child's room or a damp one asks for another finish.",
    )
    hoped_for = DayToCome(label="By when do you hope to have it?")
    budget = Line(most=120, required=False, label="Is there a budget?")
    travel = Lines(
        required=False,
        most=1000,
        rows=2,
        label="How would it travel?",
        help_text="Stairs, a lift, a van of your own, or should we fetch it?",
    )

    FURTHER = ("colour_wish", "sheen", "hardware_wish", "place", "hoped_for", "budget", "travel")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        day = cast(DayToCome, self.fields["hoped_for"])
        day.today = today
        day.widget.attrs["min"] = today.isoformat()

    @property
    def further_open(self) -> bool:
        return any(name in self.errors or self[name].value() for name in self.FURTHER)

    def wished(self) -> Wish:
        said = self.cleaned_data
        return Wish(wish=said["wish"], **{name: said[name] for name in self.FURTHER})


class _NotedForm(_PersonForm):
    """What the owner writes down of somebody's request."""

    name = Line(
        most=120,
        label="Their name",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"required": "Whose piece is it?"},
    )
    phone = Phone(
        required=False, label="Phone", widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "off"})
    )
    email = Address(required=False, label="Email", widget=forms.EmailInput(attrs={"autocomplete": "off"}))
    piece = Line(most=120, required=False, label="What is it?")
    wish = Lines(
        label="What they want, in a sentence",
        rows=2,
        error_messages={"required": "Write down what they want, in a sentence."},
    )
    pictures = PicturesField(
        required=False, most=MOST_PICTURES, label="Pictures", help_text="If there are any by now."
    )

    field_order = ["name", "phone", "email", "piece", "wish", "source", "pictures"]
    no_letter = "Please write a name with letters in it."
    no_way = "Write down a phone number or an email address, so that you can answer."

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = FormHelper(self)
        self.helper.form_tag = False
        self.helper.disable_csrf = True

    def asked(self) -> Asked:
        said = self.cleaned_data
        return Asked(
            name=said["name"],
            email=said["email"],
            phone=said["phone"],
            wish=Wish(said["wish"]),
            pieces=(NewPiece(said["piece"] or "piece"),),
        )


class QuickForm(_NotedForm):
    """The owner's entry for somebody on the phone or at the door."""

    source = forms.ChoiceField(
        label="How they came",
        choices=[("phone", "on the phone"), ("door", "at the door")],
        initial="phone",
        widget=forms.RadioSelect,
        error_messages={"required": "On the phone, or at the door?"},
    )


class EmailedForm(_NotedForm):
    """The same for somebody who wrote an email: it is begun with what that says."""

    wish = Lines(
        label="What they want",
        rows=10,
        error_messages={"required": "Write down what they want, in a sentence."},
    )

    def __init__(self, *args: Any, mail: Heard | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if mail is None:
            return
        if mail.pictures:
            self.fields["pictures"].help_text = "Besides those of the email."
        wish, words = cast(Lines, self.fields["wish"]), many_lines(mail.words)
        self.initial = {
            "name": one_line(mail.from_name),
            "email": mail.from_address,
            "wish": words[: wish.most].rstrip(),
        }
        if len(words) > wish.most:
            wish.help_text = f"The email goes on after these {wish.most:,} characters, and is kept whole."


@dataclass(frozen=True)
class Problem:
    """Something that needs another look: where on the page, what it is called, what is wrong."""

    place: str
    label: str
    sentence: str


class RequestForms:
    """The whole request: the client's form and a form for each piece, from what was typed. `bound` checks
    it, otherwise it is only shown."""

    def __init__(self, shop: Shop, today: date, typed: Mapping[str, str], *, bound: bool) -> None:
        self.main = RequestForm(typed if bound else None, initial=dict(typed), today=today)
        self.pieces: list[PieceForm] = []
        for index in range(count_pieces(typed)):
            prefix = f"piece{index}"
            initial = {
                name: typed[f"{prefix}-{name}"]
                for name in PieceForm.base_fields
                if f"{prefix}-{name}" in typed
            }
            self.pieces.append(PieceForm(typed if bound else None, prefix=prefix, initial=initial, shop=shop))
        self.bound = bound

    def is_valid(self, *, has_pictures: bool) -> bool:
        """Check everything. Without a picture at least one piece has to be described."""
        valid = [form.is_valid() for form in self._in_order()]
        if all(valid) and not has_pictures and not any(piece.described() for piece in self.pieces):
            self.pieces[0].add_error("name", _NOTHING_SHOWN)
            return False
        return all(valid)

    def problems(self) -> list[Problem]:
        """What is wrong, in the order of the page."""
        found = []
        for number, piece in enumerate(self.pieces, start=1):
            before = f"Piece {number}: " if len(self.pieces) > 1 else ""
            found += [problem for field in piece for problem in _problems(field, before)]
        for name in ("wish", "name", "email", "phone", *RequestForm.FURTHER):
            found += list(_problems(self.main[name], ""))
        return found

    def focus_first(self, *, elsewhere: bool = False) -> None:
        """Let only the first form with something wrong give its field the focus; none, if it belongs
        `elsewhere`."""
        wrong = [form for form in self._in_order() if self.bound and form.errors]
        for form in wrong if elsewhere else wrong[1:]:
            form.focus_given = True

    def asked(self) -> Asked:
        said = self.main.cleaned_data
        filled = [form for form in self.pieces if not form.empty()]
        pieces = [
            form.piece("piece" if len(filled) == 1 else f"piece {number}")
            for number, form in enumerate(filled, start=1)
        ]
        return Asked(
            name=said["name"],
            email=said["email"],
            phone=said["phone"],
            wish=self.main.wished(),
            pieces=tuple(pieces) or (NewPiece("piece"),),
        )

    def _in_order(self) -> list[PieceForm | RequestForm]:
        return [*self.pieces, self.main]


def _problems(field: BoundField, before: str) -> Iterator[Problem]:
    for sentence in field.errors:
        yield Problem(field.id_for_label, f"{before}{field.label}", str(sentence))


# ---- what is kept of a form that is not finished yet -----------------------------------------------------


def typed_of(post: Mapping[str, Any]) -> dict[str, str]:
    """What was typed, of the fields that a request has, as a draft keeps it."""
    names = ["pieces", *RequestForm.base_fields]
    names += [f"piece{index}-{name}" for index in range(MOST_PIECES) for name in PieceForm.base_fields]
    return {name: storable(str(post[name])) for name in names if name in post}


def kept_of(typed: Mapping[str, str]) -> dict[str, str]:
    """Of that, what a draft keeps: of a field up to about twice what it takes, so that what is somewhat too
    long is there to be shortened; of all fields together `MOST_KEPT` bytes."""
    kept, left = {}, MOST_KEPT
    for name, words in typed.items():
        field = (PieceForm if "-" in name else RequestForm).base_fields.get(name.rpartition("-")[2])
        most = getattr(field, "most", None) or getattr(field, "max_length", None) or 100
        kept[name] = words[: 2 * most].encode()[:left].decode(errors="ignore")
        left -= len(kept[name].encode())
    return kept


def count_pieces(typed: Mapping[str, str]) -> int:
    said = typed.get("pieces", "")
    return min(max(int(said), 1), MOST_PIECES) if said.isascii() and said.isdigit() and len(said) < 4 else 1


def with_another_piece(typed: Mapping[str, str]) -> dict[str, str]:
    return {**typed, "pieces": str(min(count_pieces(typed) + 1, MOST_PIECES))}


def without_piece(typed: Mapping[str, str], gone: int) -> dict[str, str]:
    """What was typed, less the piece with that index; those after it move up."""
    count = count_pieces(typed)
    if not 0 <= gone < count or count == 1:
        return dict(typed)
    kept = {name: words for name, words in typed.items() if not name.startswith("piece")}
    stay = [index for index in range(count) if index != gone]
    for new, old in enumerate(stay):
        for name in PieceForm.base_fields:
            if f"piece{old}-{name}" in typed:
                kept[f"piece{new}-{name}"] = typed[f"piece{old}-{name}"]
    return {**kept, "pieces": str(len(stay))}
