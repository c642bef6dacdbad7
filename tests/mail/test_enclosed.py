"""What an email carries beside words: pictures worth showing, and the names of everything else."""

from __future__ import annotations

import base64
import io

import pytest
from PIL import Image

from shopdesk.mail.heard import heard
from tests.mail.letters import hear, letter, picture


def test_pictures_and_what_is_left_out() -> None:
    made = letter("See the pictures.")
    made.add_attachment(picture(seed=1), maintype="image", subtype="jpeg", filename="a.jpg")
    made.add_attachment(
        picture(fmt="PNG", seed=2), maintype="application", subtype="octet-stream", filename="b.PNG"
    )
    made.add_attachment(picture(fmt="WEBP", seed=3), maintype="image", subtype="jpeg", filename="c.jpg")
    made.add_attachment(b"<svg/>", maintype="image", subtype="svg+xml", filename="d.svg")
    made.add_attachment(picture(fmt="GIF", seed=4), maintype="image", subtype="gif", filename="e.gif")
    made.add_attachment(
        b"%PDF-1.7" * 150_000, maintype="application", subtype="pdf", filename="../../plan\u202e.pdf"
    )
    made.add_attachment("a,b", subtype="csv", filename="sizes.csv")
    made.add_attachment("Read me", filename="notes.txt")
    made.add_attachment(
        b"\x78\x9f\x3e\x22", maintype="application", subtype="ms-tnef", filename="winmail.dat"
    )
    made.add_attachment(b"sig", maintype="application", subtype="pgp-signature", filename="signature.asc")
    made.add_attachment(picture(1, 1, "PNG"), maintype="image", subtype="png", filename="dot.png")
    made.add_attachment(b"", maintype="application", subtype="zip", filename="nothing.zip")
    found = heard(made.as_bytes())
    assert [(one.name, one.mime) for one in found.pictures] == [
        ("a.jpg", "image/jpeg"),
        ("b.PNG", "image/png"),
        ("c.jpg", "image/webp"),
    ]
    assert found.pictures[0].data == picture(seed=1)
    names = [one.rpartition(", ")[0] for one in found.left_out]
    assert names == ["d.svg", "e.gif", "plan.pdf", "sizes.csv", "notes.txt", "winmail.dat", "nothing.zip"]
    assert "plan.pdf, 1.2 MB" in found.left_out
    assert "nothing.zip, empty" in found.left_out
    assert found.words == "See the pictures."


def test_pictures_within_the_text() -> None:
    html = (
        '<p>Here it is <img src="cid:photo@x"></p><img src="https://x.example.com/dot.gif" width=1 height=1>'
        '<div class="gmail_signature">Ottoline <img src="cid:portrait@x"></div>'
        '<blockquote type="cite"><img src="cid:theirs@x">Your desk</blockquote><img src="cid:logo@x">'
    )
    made = letter("Here it is", html)
    body = made.get_payload()[1]  # type: ignore[index]
    for cid, data in (
        ("photo@x", picture(seed=1)),
        ("portrait@x", picture(seed=2)),
        ("theirs@x", picture(seed=3)),
        ("logo@x", picture(60, 20, "PNG", seed=4)),
    ):
        body.add_related(data, "image", "jpeg", cid=f"<{cid}>", filename=f"{cid}.jpg")  # type: ignore[union-attr]
    found = heard(made.as_bytes())
    assert [one.name for one in found.pictures] == ["photo@x.jpg"]
    assert [one.partition(",")[0] for one in found.left_out] == ["portrait@x.jpg", "logo@x.jpg"]


def plain_wall(width: int, height: int) -> bytes:
    """As a picture that takes few bytes."""
    buffer = io.BytesIO()
    Image.linear_gradient("L").resize((width, height)).convert("RGB").save(buffer, "JPEG")
    assert buffer.tell() < 6000
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("size", "cid", "taken"),
    [
        ((320, 240), "", True),  # as telephones make them smaller for the way
        ((240, 320), "in-words", True),
        ((160, 120), "", True),
        ((320, 240), "in-signature", False),
        ((600, 90), "in-words", False),
        ((24, 24), "", False),
    ],
)
def test_a_picture_within_the_text_is_kept_or_named(size: tuple[int, int], cid: str, taken: bool) -> None:
    data = plain_wall(*size)
    html = '<p>Look:<img src="cid:in-words"></p><p>-- <br>Ottoline <img src="cid:in-signature"></p>'
    made = letter("Look:\n-- \nOttoline", html if cid else "")
    made.make_mixed()
    made.add_attachment(data, "image", "jpeg", disposition="inline", filename="IMG_0412.jpeg", cid=f"<{cid}>")
    found = heard(made.as_bytes())
    names = [one.name for one in found.pictures], [one.partition(",")[0] for one in found.left_out]
    assert names == ((["IMG_0412.jpeg"], []) if taken else ([], ["IMG_0412.jpeg"]))
    assert found.marks == found.left_out


def test_a_photo_that_was_put_below_the_signature_is_a_photo() -> None:
    made = letter("Look:", '<p>Look:</p><p>-- </p><p>Ottoline</p><img src="cid:photo">')
    made.make_mixed()
    made.add_attachment(picture(640, 480), "image", "jpeg", filename="a.jpg", cid="<photo>")
    found = heard(made.as_bytes())
    assert [one.name for one in found.pictures] == ["a.jpg"]
    assert (found.words, found.quoted) == ("Look:", "--\n\nOttoline")


@pytest.mark.parametrize("encoding", ["7bit", "base64", "quoted-printable"])
@pytest.mark.parametrize("end", ["", "\r\n", "\r\n\r\n"])
def test_what_came_empty_is_named(encoding: str, end: str) -> None:
    files = (("application/pdf", "plan.pdf"), ("image/jpeg", "a.jpg"), ("image/jpeg", "b.jpg"),
             ("video/quicktime", "IMG_1.mov"), ("text/plain", "notes.txt"), ("image/png", ""),
             ("application/zip", ""))  # fmt: skip
    parts = [
        f"--b\r\nContent-Type: {mime}\r\nContent-Transfer-Encoding: {encoding}\r\n"
        + (f'Content-Disposition: attachment; filename="{name}"\r\n' if name else "")
        + f"\r\n{end}\r\n"
        for mime, name in files
    ]
    body = f"--b\r\n\r\nSee the plan.\r\n{''.join(parts)}--b--\r\n"
    found = hear(body.encode(), b"Content-Type: multipart/mixed; boundary=b\r\n")
    assert found.words == "See the plan."
    assert sorted(found.left_out) == [f"{name}, empty" for name in sorted(one for _, one in files if one)]


TEXT = "Content-Type: text/plain; charset=utf-8"
NAMED = f'{TEXT}; name="message.txt"'


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([NAMED], "Part 0."),
        ([f"{TEXT}\r\nContent-Disposition: attachment; filename=message.txt"], "Part 0."),
        ([f"{TEXT}\r\nContent-Disposition: attachment"], "Part 0."),
        ([TEXT, f"{TEXT}\r\nContent-Disposition: inline; filename=ATT00001.txt"], "Part 0.\n\nPart 1."),
        ([TEXT, f"{TEXT}\r\nContent-Disposition: attachment; filename=notes.txt"], "Part 0."),
        ([TEXT, f"{TEXT}\r\nContent-Disposition: inline; filename=notes.txt"], "Part 0."),
    ],
)
def test_words_are_words_though_they_have_a_name(parts: list[str], words: str) -> None:
    body = "".join(f"--x\r\n{head}\r\n\r\nPart {n}.\r\n" for n, head in enumerate(parts))
    found = hear(f"{body}--x--\r\n".encode(), b"Content-Type: multipart/mixed; boundary=x\r\n")
    alone = hear(b"Part 0.\r\n", f"{parts[0]}\r\n".encode())
    assert (found.words, alone.words, alone.left_out) == (words, "Part 0.", ())
    assert len(found.left_out) == len(parts) - len(words.split("\n\n"))


def test_both_versions_with_a_name() -> None:
    made = letter("The darker one.", "<p>The darker one.</p>")
    for part, name in zip(made.iter_parts(), ("a.txt", "a.html"), strict=True):
        part.set_param("name", name)
    found = heard(made.as_bytes())
    assert (found.words, found.left_out) == ("The darker one.", ())


def test_a_picture_that_stands_in_the_html_as_data() -> None:
    data = base64.b64encode(picture()).decode()
    made = heard(letter("", f'<p>Here: <img src="data:image/jpeg;base64,{data}"></p>').as_bytes())
    assert made.words == "Here:"
    assert [one.data for one in made.pictures] == [picture()]


def test_many_pictures_are_shown_up_to_a_number() -> None:
    made = letter()
    for number in range(23):
        made.add_attachment(
            picture(80, 60, seed=number), maintype="image", subtype="jpeg", filename=f"{number}.jpg"
        )
    found = heard(made.as_bytes())
    assert len(found.pictures) == 20
    assert [one.partition(",")[0] for one in found.left_out] == ["20.jpg", "21.jpg", "22.jpg"]


@pytest.mark.parametrize(
    ("parameter", "name"),
    [
        (b"filename*=utf-8''M%C3%B6bel.pdf", "Möbel.pdf"),  # RFC 2231, section 4
        (b"filename*0*=utf-8''M%C3%B6;\r\n filename*1*=bel.pdf", "Möbel.pdf"),  # section 4.1
        (b'filename="=?utf-8?q?M=C3=B6bel.pdf?="', "Möbel.pdf"),  # which RFC 2047 forbids
        (b'filename="M\xf6bel.pdf"', "Möbel.pdf"),
        (b'filename="C:\\\\wood\\\\plan.pdf"', "plan.pdf"),
        (b"filename*=no-such''a%FF.pdf", "aÿ.pdf"),
        (b"filename*1000000000000*=x", "x"),
        (b"filename", "a file without a name (application/pdf)"),
    ],
)
def test_names_of_files(parameter: bytes, name: str) -> None:
    made = hear(
        b"%PDF", b"Content-Type: application/pdf\r\nContent-Disposition: attachment; " + parameter + b"\r\n"
    )
    assert made.left_out == (f"{name}, 4 bytes",)


def test_a_calendars_answer_and_an_encrypted_message() -> None:
    entry = "BEGIN:VCALENDAR\nMETHOD:REPLY\nATTENDEE;PARTSTAT=ACCEPTED:mailto:o@example.com\nEND:VCALENDAR"
    made = letter("Accepted")
    made.add_alternative(entry, subtype="calendar")
    found = heard(made.as_bytes())
    assert found.words == "Accepted"
    assert found.left_out[0].startswith("a calendar entry (a calendar's answer: accepted), ")
    sealed = hear(b"MIIB", b"Content-Type: application/pkcs7-mime; name=smime.p7m\r\n")
    assert sealed.left_out == ("an encrypted message, which cannot be read here, 4 bytes",)
