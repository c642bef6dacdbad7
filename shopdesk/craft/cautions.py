"""Cautions, and when to show them. They say what may be and that others decide: the tool is no expert."""

import re
from decimal import Decimal

from shopdesk.craft.rounding import EXACT, demand_decimal
from shopdesk.craft.units import MM_PER_INCH

# 16 CFR 1303.1 and 1303.4: furniture bearing lead-containing paint is banned when made after 27 February
# 1978. The last year in which a piece may still have been made lawfully with such paint is 1978.
FIRST_SAFE_YEAR = 1979
# Finishes that are neither paint nor varnish. Whatever is not named here (lacquer, shellac, stain under
# something, unknown) counts as a coating that may hold lead.
UNCOATED = frozenset({"oiled", "waxed", "bare"})

LEAD_CAUTION = (
    "This piece may hold lead. Paint and varnish on furniture made before 1979, or of unknown age, sometimes "
    "does. Do not sand or scrape it before it has been tested, and price the test. If it holds lead: wet "
    "methods, containment, a respirator for lead dust, and children well away. Local codes and licensed "
    "practice decide what may be done."
)
LEAD_WORDS_TO_CLIENT = (
    "Paint and varnish on furniture made before 1979, or of unknown age, sometimes hold lead. We test before "
    "we sand. Please do not sand or scrape the piece at home, and keep flakes away from children. Local "
    "codes and licensed practice decide what may be done."
)
DUST_CAUTION = (
    "Sanding dust harms the lungs and can catch fire. Wear a respirator, air the room or collect the dust, "
    "keep flames away. The product's data sheet and local codes decide."
)
SPRAY_CAUTION = (
    "Spray needs a respirator that suits the product, moving air, and no flame or spark nearby. The "
    "product's data sheet and local codes decide."
)
SOLVENT_CAUTION = (
    "Solvents: read the data sheet first, for gloves, respirator, air and storage. No flame. Local codes "
    "decide how they are kept and thrown away."
)
# Common practice; NFPA and local fire codes.
OILY_RAGS_CAUTION = (
    "Oily rags heat up by themselves and can catch fire. Lay them flat to dry outdoors, or keep them in a "
    "lidded metal can with water. Local fire codes decide."
)
TIP_OVER_CAUTION = (
    "A free-standing piece for clothes of this size can tip over on a child. Hand it over with an anchor to "
    "fix it to the wall, and say why."
)

# 16 CFR 1261 adopting ASTM F2057-23; the limits as CPSC's business guidance on clothing storage units gives
# them.
TIP_OVER_HEIGHT_MM = 27 * MM_PER_INCH
# 1 lb = 0.45359237 kg and 1 ft³ = 28.316846592 L exactly [NIST SP 811, appendix B.8].
TIP_OVER_WEIGHT_KG = 30 * Decimal("0.45359237")
TIP_OVER_VOLUME_L = Decimal("3.2") * Decimal("28.316846592")

EARLIEST_YEAR = 1000


def lead_risk(finish_now: str, made: tuple[int, int] | None) -> bool:
    """May this piece hold lead: is it painted or varnished, and not certainly made in 1979 or later?

    `finish_now`: "painted", "varnished", "lacquered", "oiled", "waxed", "bare", "unknown"; any other word
    counts as unknown, and unknown as painted. `made`: the earliest and latest plausible year, as `made_year`
    gives them, or None for unknown. The earliest one decides. Source: 16 CFR 1303.1; EPA guidance on lead in
    old paint.
    """
    if finish_now.strip().lower() in UNCOATED:
        return False
    return made is None or made[0] < FIRST_SAFE_YEAR


def tip_over_rule(
    height_mm: Decimal | None, weight_kg: Decimal | None, volume_l: Decimal | None, clothing_storage: bool
) -> bool:
    """Is this what the tip-over rule is about: a free-standing clothing storage unit, high, heavy and roomy?

    At least 27 in high, at least 30 lb, at least 3.2 ft³ of enclosed storage (90.6 L). A measure that nobody
    took (None) counts as reached. Source: 16 CFR 1261 and ASTM F2057-23, as in CPSC's business guidance. That
    rule binds makers of new furniture; for a piece handed back it is a reason to anchor it.
    """
    limits = (
        (height_mm, TIP_OVER_HEIGHT_MM, "A height"),
        (weight_kg, TIP_OVER_WEIGHT_KG, "A weight"),
        (volume_l, TIP_OVER_VOLUME_L, "A volume"),
    )
    return clothing_storage and all(
        measure is None or EXACT.compare(demand_decimal(measure, what), limit) >= 0
        for measure, limit, what in limits
    )


_ABOUT = r"(?:about|around|approximately|approx|roughly|circa|ca|c|maybe|perhaps|probably|possibly|~)"
_CENTURY_NAMES = {"nineteenth": 19, "twentieth": 20, "eighteenth": 18, "seventeenth": 17}
_DECADE_NAMES = {
    "twenties": 20,
    "thirties": 30,
    "forties": 40,
    "fifties": 50,
    "sixties": 60,
    "seventies": 70,
    "eighties": 80,
    "nineties": 90,
}
# Words that say nothing about when. Everything else that is left over makes the whole text count as unknown:
# "bought in 1995" and "repainted 1995" are no evidence of when a piece was made.
_EMPTY_WORDS = re.compile(
    r"\b(?:it|is|was|were|made|built|from|dated?|dates|back|to the|in|the|a|year|i think|we think|early|mid"
    r"|middle|late|of|old|modern)\b"
)


def made_year(text: str, this_year: int) -> tuple[int, int] | None:
    """The earliest and latest plausible year a piece was made, from what somebody wrote; None if unknown.

    Understood: `1962`, `about 1925` (five years either way), `1960s`, `the sixties`, `60s`, `19th century`,
    `mid century`, `1960-70`, `1950s or 1960s`, `before 1980`, `after 1990`, `40 years old` (five years either
    way), `over 30 years`. Careful on purpose: anything it does not understand as a whole, or that lies in the
    future, is None, because it is there to find out whether a piece is certainly young enough (see
    `lead_risk`).
    """
    plain = " ".join(
        re.sub(r"[\s'’‘.,;()?!]+", " ", text.lower().replace("–", "-").replace("—", "-")).split()
    )
    if not plain or len(plain) > 100:
        return None
    spans = _range(plain, this_year)
    if spans is None:
        spans = []
        for piece in re.split(r"\s*/\s*|\s+or\s+|\s*-\s*(?=[0-9])|\s+to\s+(?=[0-9])", plain):
            span = _span(piece, this_year)
            if span is None:
                return None
            spans.append(span)
    earliest, latest = min(span[0] for span in spans), max(span[1] for span in spans)
    if earliest > this_year or latest < earliest:
        return None
    return earliest, min(latest, this_year)


def _range(plain: str, this_year: int) -> list[tuple[int, int]] | None:
    """`between 1960 and 1970`, `1960-70`: two ends said together."""
    between = re.fullmatch(
        r"(?:(?:made|built|from|it was made) )?between (?:the )?(\S+) and (?:the )?(\S+)", plain
    )
    if between:
        found = [_span(end, this_year) for end in between.groups()]
        return [span for span in found if span is not None] if None not in found else None
    short = re.fullmatch(
        rf"(?:made |built |from )?({_ABOUT}\s+)?([0-9]{{2}})([0-9]{{2}})\s*-\s*([0-9]{{2}})", plain
    )
    if short:
        slack = 5 if short.group(1) else 0
        first, last = int(short.group(2) + short.group(3)), int(short.group(2) + short.group(4))
        return [(first - slack, last + slack)] if first <= last else None
    return None


def _span(words: str, this_year: int) -> tuple[int, int] | None:
    """One statement of age, as a whole."""
    plain = words.strip()
    mid_century = re.fullmatch(r"(?:(?:it|is|was|a|the|from|about)\s)*mid[- ]?century(?:[- ]modern)?", plain)
    if mid_century:
        return 1940, 1970
    age = re.search(r"\b([0-9]{1,3})\s*(\+)?\s*(?:years?|yrs?)\b", plain)
    if age:
        return _by_age(plain, age, this_year)
    about = re.search(rf"(?:\b|(?=~)){_ABOUT}(?:\b|(?<=~))", plain)
    slack = 5 if about else 0
    plain = re.sub(rf"(?:\b|(?=~)){_ABOUT}(?:\b|(?<=~))", " ", plain)
    bound = re.search(r"\b(before|until|pre|after)\b", plain)
    if bound:
        plain = plain.replace(bound.group(), " ", 1)
    plain = " ".join(_EMPTY_WORDS.sub(" ", plain.replace("-", " ")).split())
    span = _named_time(plain, this_year)
    if span is None:
        return None
    first, last = span[0] - slack, span[1] + slack
    if bound and bound.group() in ("before", "until", "pre"):
        return EARLIEST_YEAR, last
    if bound:
        return first, this_year
    return first, last


def _by_age(plain: str, age: re.Match[str], this_year: int) -> tuple[int, int] | None:
    """`40 years old`, `over 30 years`, `less than 10 years old`."""
    years = int(age.group(1))
    rest = (plain[: age.start()] + " " + plain[age.end() :]).strip()
    rest = re.sub(r"\b(?:it|is|was|old|of age|ago|made|built|i think|we think)\b", " ", rest)
    rest = " ".join(re.sub(rf"(?:\b|(?=~)){_ABOUT}(?:\b|(?<=~))", " ", rest).split())
    slack = 5 if years >= 10 else 1
    if age.group(2) or rest in ("over", "more than", "at least", "older than"):
        return EARLIEST_YEAR, this_year - years
    if rest in ("under", "less than", "at most", "younger than", "up to", "not"):
        return this_year - years - 1, this_year
    return (this_year - years - slack, this_year - years + slack) if not rest else None


def _named_time(plain: str, this_year: int) -> tuple[int, int] | None:
    """A year, a decade or a century and nothing else."""
    if re.fullmatch(r"[12][0-9]{3}", plain, re.ASCII):
        return int(plain), int(plain)
    decade = re.fullmatch(r"([12][0-9]{2})0 ?s", plain, re.ASCII)
    if decade:
        first = int(decade.group(1)) * 10
        # "1900s" may be ten years or a hundred.
        return (first, first + 99) if first % 100 == 0 else (first, first + 9)
    short = re.fullmatch(r"([0-9])0 ?s", plain, re.ASCII)
    if short or plain in _DECADE_NAMES:
        ten = int(short.group(1)) * 10 if short else _DECADE_NAMES[plain]
        # "the twenties" may be this century's as well as the last one's.
        return 1900 + ten, (2000 if 2000 + ten <= this_year else 1900) + ten + 9
    century = re.fullmatch(r"([0-9]{2})(?:st|nd|rd|th) (?:century|c)", plain, re.ASCII)
    named = re.fullmatch(r"([a-z]+) century", plain)
    number = int(century.group(1)) if century else _CENTURY_NAMES.get(named.group(1), 0) if named else 0
    return ((number - 1) * 100 + 1, number * 100) if number else None
