"""What an empty price book can start with: the figures of an invented shop, brand-free.

Minutes, transfer efficiencies, the order of the steps and the choice of grits are common practice, no source.
Data-sheet figures and prices are invented, of the size that such materials have.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from shopdesk.pricebook.models import Equipment, Faces, Material, ScheduleStep, Shape, StepRate
from shopdesk.pricebook.typed import (
    CanFacts,
    EquipmentFacts,
    MaterialFacts,
    RatesFacts,
    StepRateFacts,
    can_of,
)


@dataclass(frozen=True)
class Step:
    """A step of a starting schedule; what it uses by name."""

    rate: str
    material: str = ""
    equipment: str = ""
    coats: int = 1
    grit: str = ""
    faces: Sequence[str] = ()
    note: str = ""
    only_if: str = ""


@dataclass(frozen=True)
class Plan:
    name: str
    for_what: str
    words: str
    steps: Sequence[Step]


@dataclass(frozen=True)
class Book:
    rates: RatesFacts
    materials: Sequence[MaterialFacts]
    equipment: Sequence[EquipmentFacts]
    step_rates: Sequence[StepRateFacts]
    schedules: Sequence[Plan]


def book(*, metric: bool = False) -> Book:
    """The starting set, with cans in litres or in US sizes. Prices for a money whose figures are of the size
    of a dollar's."""
    return Book(_RATES, _materials(metric=metric), _EQUIPMENT, _STEP_RATES, _SCHEDULES)


_RATES = RatesFacts(
    wanted_hourly=Decimal(65),
    floor_hourly=Decimal(45),
    minimum_charge=Decimal(180),
    rush_percent=Decimal(25),
    later_piece_factor=Decimal("0.85"),
    sundries_percent=Decimal(12),
    material_markup_percent=Decimal(20),
    minutes_around_a_job=150,
)

# -- materials -----------------------------------------------------------------------------------------------

DEGREASER = "Degreaser, water-based"
STRIPPER = "Stripper, brush-on gel"
FILLER = "Wood filler, two-part"
STAIN = "Wiping stain"
SEALER = "Sealer, dewaxed"
BLOCKER = "Stain-blocking primer"
PRIMER = "Bonding primer"
ENAMEL = "Premium enamel, satin"
CLEAR = "Clear coat, waterborne"
HARD_CLEAR = "Clear coat for tops, two-part"
OIL = "Hardwax oil"
WAX = "Paste wax"
DISCS = "Discs and sheets"

_RAGS = (
    "Rags and pads heat up by themselves and can burn: spread them out flat to dry, or drown them in water."
)
_AIR = "Use it with the air moving, away from flames and sparks."


def _materials(*, metric: bool) -> list[MaterialFacts]:
    def sizes(quart: int, gallon: int | None = None) -> list[CanFacts]:
        """A small and a large can; a litre costs the same by either measure, about."""
        small = can_of("750 mL", Decimal(quart) * 4 / 5) if metric else can_of("1 qt", Decimal(quart))
        if gallon is None:
            return [small]
        large = can_of("2.5 L", Decimal(gallon) * 7 / 10) if metric else can_of("1 gal", Decimal(gallon))
        return [small, large]

    kind, of = Material.Kind, Decimal
    return [
        MaterialFacts(
            DEGREASER, kind.CLEANER, "Before anything else: what is greasy neither sands nor holds paint.",
            spread_m2_per_l=of(12), recoat_minutes=30, density_kg_per_l=of("1.01"), cans=sizes(12, 30),
            cautions="Rinse with clean water twice, and let it dry.",
        ),
        MaterialFacts(
            STRIPPER, kind.STRIPPER, "Takes off varnish and paint.",
            spread_m2_per_l=of("3.5"), density_kg_per_l=of("1.05"), cans=sizes(24, 68),
            cautions=f"Gloves and goggles. {_AIR} Collect what comes off as its label says.",
        ),
        MaterialFacts(
            FILLER, kind.FILLER, "Dents, old holes. Counted with the sundries.",
            recoat_minutes=40, cautions="Not for joints; sand only when it is hard.",
        ),
        MaterialFacts(
            STAIN, kind.STAIN, "Colours bare wood.",
            spread_m2_per_l=of(14), recoat_minutes=480, density_kg_per_l=of("0.9"), cans=sizes(22, 64),
            cautions=f"{_RAGS} {_AIR}",
        ),
        MaterialFacts(
            SEALER, kind.SEALER, "Keeps in what bleeds, and lets any coat hold.",
            of(20), of(20), recoat_minutes=60, density_kg_per_l=of("0.88"), cans=sizes(25, 76),
            cautions=_AIR,
        ),
        MaterialFacts(
            BLOCKER, kind.PRIMER, "Teak, mahogany, knots: stops tannin and dye from coming through.",
            of(32), of(30), recoat_minutes=60, density_kg_per_l=of("1.2"), cans=sizes(27, 84), cautions=_AIR,
        ),
        MaterialFacts(
            PRIMER, kind.PRIMER, "For bare wood, and whatever paint does not like to hold on.",
            of(38), of(35), recoat_minutes=120, density_kg_per_l=of("1.3"), cans=sizes(24, 72),
        ),
        MaterialFacts(
            ENAMEL, kind.COLOUR, "The colour. On a scuffed, sound finish it holds without a primer.",
            of(36), of(32), coats=3, recoat_minutes=240, density_kg_per_l=of("1.22"),
            thinning_percent=of(5), cans=sizes(34, 98),
            cautions="Full hardness after three weeks: until then nothing stands on it overnight.",
        ),
        MaterialFacts(
            CLEAR, kind.CLEAR, "Over stain or bare wood.",
            of(31), of(30), coats=3, recoat_minutes=120, density_kg_per_l=of("1.03"), cans=sizes(31, 92),
        ),
        MaterialFacts(
            HARD_CLEAR, kind.CLEAR, "Table tops and desks.",
            of(40), of(40), coats=3, recoat_minutes=180, density_kg_per_l=of("1.05"), cans=sizes(52, 158),
            cautions="Mixed with its hardener it keeps four hours. Mask with filters for organic vapour.",
        ),
        MaterialFacts(
            OIL, kind.OIL, "Bare wood that may be renewed in part.",
            spread_m2_per_l=of(22), coats=2, recoat_minutes=720, density_kg_per_l=of("0.93"),
            cans=sizes(58, 190), cautions=_RAGS,
        ),
        MaterialFacts(
            WAX, kind.WAX, "A last soft sheen. Nothing else holds on it later.",
            spread_m2_per_l=of(25), coats=2, recoat_minutes=60, cans=sizes(34), cautions=_RAGS,
        ),
        MaterialFacts(DISCS, kind.ABRASIVE, "Counted with the sundries."),
    ]  # fmt: skip


# -- equipment -----------------------------------------------------------------------------------------------

BRUSH, ROLLER, GUN, SMALL_GUN = "Brush", "Foam roller", "HVLP gun, 600 mL cup", "Small HVLP gun, 250 mL cup"


def _sprayed(case: int, chair: int) -> dict[Shape, int]:
    """Percent that stays on the piece: most on broad faces, least on what is thin or open."""
    between = (case + chair) // 2
    return {
        Shape.CASE: case, Shape.TABLE: case, Shape.BENCH: between, Shape.BED: between,
        Shape.FRAME: chair, Shape.CHAIR: chair, Shape.OTHER: between,
    }  # fmt: skip


_EQUIPMENT = [
    EquipmentFacts(BRUSH),
    EquipmentFacts(ROLLER, Equipment.Way.ROLLER),
    EquipmentFacts(GUN, Equipment.Way.HVLP, _sprayed(50, 30), cup_ml=600, loss_per_fill_ml=30),
    EquipmentFacts(SMALL_GUN, Equipment.Way.HVLP, _sprayed(50, 35), cup_ml=250, loss_per_fill_ml=15),
]

# -- steps ---------------------------------------------------------------------------------------------------

HARDWARE_OFF = "Take off and label the hardware"
LEAD_TEST = "Lead test"
DEGREASE = "Degrease and rinse"
STRIP = "Strip the old finish"
WASH = "Wash off, and let dry"
SAND = "Sand"
SCUFF_SAND = "Scuff-sand"
ADHESION = "Adhesion test"
FILL = "Fill dents and old holes"
GLUE = "Glue loose joints"
MASK = "Mask"
TACK = "Tack off"
SPRAY = "Spray a coat"
BRUSH_ON = "Brush or roll a coat"
STAIN_ON = "Wipe on stain"
OIL_ON = "Oil, and wipe off"
WAX_ON = "Wax, and buff"
BETWEEN = "Sand between coats"
CLEAN_GUN = "Set up and clean the gun"
HARDWARE_ON = "Put the hardware back, look it over"


def _minutes(
    name: str, kind: str, m2: str = "0", drawer: str = "0", door: str = "0", piece: str = "0",
    *, once: str = "0", per_coat: bool = False, outlay: int = 0, cautions: str = "",
) -> StepRateFacts:  # fmt: skip
    return StepRateFacts(
        name, kind, Decimal(m2), Decimal(drawer), Decimal(door), Decimal(piece), Decimal(once),
        per_coat, Decimal(outlay), cautions,
    )  # fmt: skip


_PREPARE, _REPAIR, _FINISH = StepRate.Kind.PREPARATION, StepRate.Kind.REPAIR, StepRate.Kind.FINISH
_STEP_RATES = [
    _minutes(HARDWARE_OFF, _PREPARE, drawer="4", door="8", piece="10"),
    _minutes(DEGREASE, _PREPARE, "8", "1", "1.5", "5"),
    _minutes(
        LEAD_TEST, _PREPARE, piece="20", outlay=12,
        cautions="Before any dust is made. If it shows lead: no dry sanding, and the law's rules for it.",
    ),
    _minutes(STRIP, _PREPARE, "45", "6", "8", "15"),
    _minutes(WASH, _PREPARE, "8", "1", "1.5", "5"),
    _minutes(SAND, _PREPARE, "10", "2", "3", cautions="Every scratch of the last grit out before the next."),
    _minutes(SCUFF_SAND, _PREPARE, "6", "1.5", "2", cautions="Dull all over, through nowhere."),
    _minutes(
        ADHESION, _PREPARE, piece="15",
        cautions="A dab on a hidden spot, a day later cut crosswise and tape pulled off. If it lifts: prime.",
    ),
    _minutes(MASK, _PREPARE, drawer="4", door="5", piece="15"),
    _minutes(FILL, _REPAIR, "5", "1", "2", "10"),
    _minutes(GLUE, _REPAIR, piece="40"),
    _minutes(TACK, _FINISH, "1.5", "0.5", "0.5", per_coat=True),
    _minutes(
        SPRAY, _FINISH, "6", "2", "3", "5", per_coat=True,
        cautions="Each pass covers half of the one before (50 % overlap), the gun square to the face.",
    ),
    _minutes(BRUSH_ON, _FINISH, "14", "4", "5", "5", per_coat=True),
    _minutes(STAIN_ON, _FINISH, "12", "3", "4", "10", per_coat=True),
    _minutes(OIL_ON, _FINISH, "12", "3", "4", "10", per_coat=True, cautions=_RAGS),
    _minutes(WAX_ON, _FINISH, "12", "3", "4", "10", per_coat=True, cautions=_RAGS),
    _minutes(BETWEEN, _FINISH, "4", "1", "1.5", per_coat=True, cautions="Lightly: nibs off, edges whole."),
    _minutes(CLEAN_GUN, _FINISH, once="20", per_coat=True),
    _minutes(HARDWARE_ON, _FINISH, drawer="5", door="10", piece="20"),
]  # fmt: skip

# -- schedules -----------------------------------------------------------------------------------------------

_BEGIN = (
    Step(HARDWARE_OFF),
    Step(DEGREASE, DEGREASER),
    Step(LEAD_TEST, only_if=ScheduleStep.OnlyIf.LEAD),
)
_END = (Step(HARDWARE_ON),)
_OVERLAP = "50 % overlap of passes"


def _sanded(*grits: int, faces: Sequence[str] = ()) -> tuple[Step, ...]:
    return tuple(Step(SAND, grit=str(grit), faces=faces) for grit in grits)


def _sprayed_on(material: str, coats: int, faces: Sequence[str] = ()) -> tuple[Step, ...]:
    """Tacked off, sprayed, lightly sanded at 400 between the coats, and the gun cleaned."""
    between = (Step(BETWEEN, coats=coats - 1, grit="400", faces=faces),) if coats > 1 else ()
    return (
        Step(TACK, coats=coats, faces=faces),
        Step(SPRAY, material, GUN, coats, faces=faces, note=_OVERLAP),
        *between,
        Step(CLEAN_GUN, coats=coats),
    )


_OUTSIDE = (Faces.BODY.value, Faces.TOP.value, Faces.FRONTS.value, Faces.LEGS_AND_RAILS.value)
_TOP = (Faces.TOP.value,)

_SCHEDULES = [
    Plan(
        "Painted, over a sound finish",
        "A known finish that holds all over. The adhesion test decides; if it lifts, take a primed schedule.",
        "We take off the hardware, degrease the piece and scuff the old finish until it is dull all over. We "
        "test that paint holds on it, and spray three thin coats of enamel in your colour, sanding lightly "
        "between them.",
        [
            *_BEGIN,
            Step(SCUFF_SAND, grit="220", faces=_OUTSIDE),
            Step(ADHESION),
            Step(FILL, FILLER),
            Step(MASK),
            *_sprayed_on(ENAMEL, 3, _OUTSIDE),
            *_END,
        ],
    ),
    Plan(
        "Painted, from bare or unknown wood",
        "Bare wood, or a finish nobody knows.",
        "We take off the hardware, degrease and sand the piece, fill dents, seal and prime it. Then we spray "
        "three thin coats of enamel in your colour, sanding lightly between them.",
        [
            *_BEGIN,
            Step(FILL, FILLER),
            *_sanded(120, 150, 180, faces=_OUTSIDE),
            Step(MASK),
            *_sprayed_on(SEALER, 1, _OUTSIDE),
            Step(BETWEEN, grit="320", faces=_OUTSIDE),
            *_sprayed_on(PRIMER, 1, _OUTSIDE),
            Step(BETWEEN, grit="320", faces=_OUTSIDE),
            *_sprayed_on(ENAMEL, 3, _OUTSIDE),
            *_END,
        ],
    ),
    Plan(
        "Painted, wood that bleeds",
        "Teak, mahogany, knots, anything reddish under a pale colour.",
        "This wood gives off colour for years. We take off the hardware, degrease and sand the piece, seal "
        "it twice and prime it with a primer that holds the stain back. Then we spray three thin coats of "
        "enamel in your colour, sanding lightly between them.",
        [
            *_BEGIN,
            Step(FILL, FILLER),
            *_sanded(120, 150, 180, faces=_OUTSIDE),
            Step(MASK),
            *_sprayed_on(SEALER, 2, _OUTSIDE),
            *_sprayed_on(BLOCKER, 1, _OUTSIDE),
            Step(BETWEEN, grit="320", faces=_OUTSIDE),
            *_sprayed_on(ENAMEL, 3, _OUTSIDE),
            *_END,
        ],
    ),
    Plan(
        "Stripped, stained and clear",
        "An old finish off, the wood in another tone.",
        "We strip the old finish, sand the wood through the grits, stain it to the sample you approved, and "
        "protect it with three thin clear coats, sanding lightly between them.",
        [
            *_BEGIN,
            Step(STRIP, STRIPPER, BRUSH, faces=_OUTSIDE),
            Step(WASH, faces=_OUTSIDE),
            *_sanded(100, 120, 150, 180, faces=_OUTSIDE),
            Step(MASK),
            Step(TACK, faces=_OUTSIDE),
            Step(STAIN_ON, STAIN, BRUSH, faces=_OUTSIDE),
            *_sprayed_on(SEALER, 1, _OUTSIDE),
            Step(BETWEEN, grit="400", faces=_OUTSIDE, note="Very lightly: stain lies under it"),
            *_sprayed_on(CLEAR, 3, _OUTSIDE),
            *_END,
        ],
    ),
    Plan(
        "Stripped and clear",
        "An old finish off, the wood as it is.",
        "We strip the old finish, sand the wood through the grits and protect it with three thin clear "
        "coats, sanding lightly between them.",
        [
            *_BEGIN,
            Step(STRIP, STRIPPER, BRUSH, faces=_OUTSIDE),
            Step(WASH, faces=_OUTSIDE),
            *_sanded(100, 120, 150, 180, faces=_OUTSIDE),
            Step(MASK),
            *_sprayed_on(CLEAR, 3, _OUTSIDE),
            *_END,
        ],
    ),
    Plan(
        "A top that must last",
        "Table and desk tops: only the top, with the hard clear coat.",
        "We strip the top, sand it through the grits and give it three thin coats of a hard two-part finish "
        "that stands cups and homework, sanding lightly between them.",
        [
            Step(DEGREASE, DEGREASER, faces=_TOP),
            Step(LEAD_TEST, only_if=ScheduleStep.OnlyIf.LEAD),
            Step(STRIP, STRIPPER, BRUSH, faces=_TOP),
            Step(WASH, faces=_TOP),
            *_sanded(80, 120, 150, 180, faces=_TOP),
            Step(MASK),
            *_sprayed_on(HARD_CLEAR, 3, _TOP),
        ],
    ),
    Plan(
        "Oiled",
        "Bare wood that is touched: it can be renewed in part later.",
        "We degrease the wood, sand it through the grits, and rub in two coats of hardwax oil.",
        [
            *_BEGIN,
            *_sanded(120, 150, 180, 220, faces=_OUTSIDE),
            Step(TACK, faces=_OUTSIDE),
            Step(OIL_ON, OIL, BRUSH, 2, faces=_OUTSIDE),
            *_END,
        ],
    ),
    Plan(
        "Cleaned and waxed",
        "A good old finish that only needs care.",
        "We clean the piece, glue what is loose, and wax and buff it by hand.",
        [*_BEGIN, Step(GLUE), Step(WAX_ON, WAX, BRUSH, 2, faces=_OUTSIDE), *_END],
    ),
]
