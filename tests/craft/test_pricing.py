from decimal import Decimal, localcontext
from typing import Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.craft.money import minor_units
from shopdesk.craft.pricing import (
    DepositRule,
    Discount,
    Line,
    Option,
    OptionGroup,
    PieceLines,
    TaxRule,
    Totals,
    check_choices,
    check_offer,
    totals,
)

HALF = DepositRule(share=Decimal(50))
NO_TAX = TaxRule(Decimal(0), "invoice")


def piece(key: str, *prices: str, taxable: bool = True) -> PieceLines:
    return PieceLines(key, tuple(Line(Decimal(1), Decimal(price), taxable) for price in prices))


def test_a_quote_worked_by_hand() -> None:
    sideboard = PieceLines(
        "sideboard",
        (
            Line(Decimal("6.5"), Decimal("48.00"), taxable=False),  # 312.00
            Line(Decimal("2.25"), Decimal("31.90"), taxable=True),  # 71.775, half up 71.78
        ),
    )
    chairs = PieceLines("chairs", (Line(Decimal(6), Decimal("85.00"), taxable=True),))  # 510.00
    options = [
        Option("natural top", Decimal("120.00"), taxable=True),
        Option("inside left as is", Decimal("-60.00"), taxable=False),
    ]
    # subtotal 953.78; taxable 71.78 + 510 + 120 = 701.78; 7.25 % is 50.87905, carried 50.879, 50.88
    assert totals([sideboard, chairs], options, TaxRule(Decimal("7.25"), "invoice"), HALF, "USD") == Totals(
        pieces={"sideboard": Decimal("383.78"), "chairs": Decimal("510.00")},
        options=Decimal("60.00"),
        subtotal=Decimal("953.78"),
        taxable=Decimal("701.78"),
        tax=Decimal("50.88"),
        total=Decimal("1004.66"),
        deposit=Decimal("502.33"),
        balance=Decimal("502.33"),
    )


def test_nothing_costs_nothing() -> None:
    empty = totals([], [], NO_TAX, DepositRule(), "USD")
    assert (str(empty.total), str(empty.deposit), str(empty.balance)) == ("0.00", "0.00", "0.00")
    assert totals([PieceLines("box", ())], [], NO_TAX, HALF, "JPY").pieces == {"box": Decimal(0)}


def test_deposit_is_inside_the_total() -> None:
    pieces = [piece("box", "99.99")]
    assert totals(pieces, [], NO_TAX, HALF, "USD").deposit == Decimal("50.00")  # 49.995
    assert totals(pieces, [], NO_TAX, DepositRule(share=Decimal(100)), "USD").balance == 0
    assert totals(pieces, [], NO_TAX, DepositRule(sum=Decimal(30)), "USD").balance == Decimal("69.99")
    # A client ticked so many cheaper options that the fixed deposit covers everything.
    assert totals(pieces, [], NO_TAX, DepositRule(sum=Decimal(200)), "USD").deposit == Decimal("99.99")


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        (Line(Decimal(-1), Decimal(5), True), "quantity cannot be below zero"),
        (Line(Decimal(1), Decimal(-5), True), "price cannot be below zero"),
        (Line(Decimal(10) ** 7, Decimal(5), True), "not believable"),
        (Line(Decimal(1), Decimal(10) ** 12, True), "not believable"),
        (Line(Decimal(10) ** 6, Decimal(10) ** 10, True), "not believable"),
        (Line(Decimal("1E-9"), Decimal(5), True), "decimals"),
        (Line(Decimal("NaN"), Decimal(5), True), "must be a number"),
        (Line(Decimal(1), Decimal("Infinity"), True), "must be a number"),
    ],
)
def test_nonsense_on_a_line(line: Line, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        totals([PieceLines("box", (line,))], [], NO_TAX, HALF, "USD")


@pytest.mark.parametrize(
    ("tax", "deposit", "sentence"),
    [
        (TaxRule(Decimal(100), "item"), HALF, "below 100 percent"),
        (TaxRule(Decimal(101), "item"), HALF, "not believable"),
        (TaxRule(Decimal(-1), "item"), HALF, "below zero"),
        (TaxRule(Decimal("NaN"), "item"), HALF, "must be a number"),
        (NO_TAX, DepositRule(share=Decimal(101)), "not believable"),
        (NO_TAX, DepositRule(share=Decimal(-1)), "below zero"),
        (NO_TAX, DepositRule(sum=Decimal(-1)), "below zero"),
        (NO_TAX, DepositRule(sum=Decimal("1.005")), "has more"),
        (NO_TAX, DepositRule(share=Decimal(1), sum=Decimal(1)), "not both"),
    ],
)
def test_nonsense_in_the_rules(tax: TaxRule, deposit: DepositRule, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        totals([piece("box", "10")], [], tax, deposit, "USD")


A_FLOAT: Any = 0.5


@pytest.mark.parametrize(
    ("line", "option", "tax", "deposit"),
    [
        (Line(A_FLOAT, Decimal(1), True), Decimal(1), NO_TAX, HALF),
        (Line(Decimal(1), A_FLOAT, True), Decimal(1), NO_TAX, HALF),
        (Line(Decimal(1), Decimal(1), True), A_FLOAT, NO_TAX, HALF),
        (Line(Decimal(1), Decimal(1), True), Decimal(1), TaxRule(A_FLOAT, "item"), HALF),
        (Line(Decimal(1), Decimal(1), True), Decimal(1), NO_TAX, DepositRule(share=A_FLOAT)),
        (Line(Decimal(1), Decimal(1), True), Decimal(1), NO_TAX, DepositRule(sum=A_FLOAT)),
    ],
)
def test_only_decimals_are_money(line: Line, option: Decimal, tax: TaxRule, deposit: DepositRule) -> None:
    with pytest.raises(TypeError, match="Decimal"):
        totals([PieceLines("a", (line,))], [Option("b", option, True)], tax, deposit, "USD")


def test_the_same_piece_twice() -> None:
    with pytest.raises(ValueError, match="twice"):
        totals([piece("a", "1"), piece("a", "1")], [], NO_TAX, HALF, "USD")
    option = Option("a", Decimal(1), True)
    with pytest.raises(ValueError, match="twice"):
        totals([], [option, option], NO_TAX, HALF, "USD")


def test_options_that_take_off_too_much() -> None:
    less = Option("less", Decimal(-11), taxable=False)
    with pytest.raises(ValueError, match="total would be below zero"):
        totals([piece("a", "10")], [less], NO_TAX, HALF, "USD")
    taxed_less = Option("less", Decimal(-5), taxable=True)
    with pytest.raises(ValueError, match="tax would be below zero"):
        totals([piece("a", "10", taxable=False)], [taxed_less], TaxRule(Decimal(5), "invoice"), HALF, "USD")
    # Ten small items each round to no tax, the reduction to four cents off: nobody is paid tax back.
    many = PieceLines("a", tuple(Line(Decimal(1), Decimal("0.05"), True) for _ in range(10)))
    with pytest.raises(ValueError, match="tax would be below zero"):
        totals([many], [Option("less", Decimal("-0.50"), True)], TaxRule(Decimal(8), "item"), HALF, "USD")


def test_an_offer_is_checked_before_it_goes_out() -> None:
    pieces = [piece("a", "100")]
    good = [Option("natural top", Decimal(40), True), Option("inside as is", Decimal(-30), True)]
    check_offer(pieces, good, NO_TAX, HALF, "USD")
    too_cheap = [*good, Option("legs as they are", Decimal(-80), True)]
    totals(pieces, too_cheap, NO_TAX, HALF, "USD")  # with everything ticked it still adds up
    with pytest.raises(ValueError, match="below zero"):
        check_offer(pieces, too_cheap, NO_TAX, HALF, "USD")
    with pytest.raises(ValueError, match="more than the whole quote"):
        check_offer(pieces, good, NO_TAX, DepositRule(sum=Decimal("100.01")), "USD")
    taxed_less = [Option("less", Decimal(-30), True), Option("untaxed", Decimal(-10), False)]
    with pytest.raises(ValueError, match="below zero"):
        check_offer([piece("a", "100", taxable=False)], taxed_less, TaxRule(Decimal(5), "item"), HALF, "USD")


def test_the_callers_decimal_context_does_not_matter() -> None:
    pieces = [PieceLines("a", (Line(Decimal("1.375"), Decimal("123456.789"), True),))]
    tax = TaxRule(Decimal("7.25"), "item")
    usual = totals(pieces, [], tax, HALF, "USD")
    with localcontext() as poor:
        poor.prec = 3
        poor.rounding = "ROUND_DOWN"
        assert totals(pieces, [], tax, HALF, "USD") == usual


amounts = st.decimals(0, 10**5, places=3)
lines = st.builds(Line, quantity=st.decimals(0, 500, places=2), unit_price=amounts, taxable=st.booleans())
moneys = st.sampled_from(["JPY", "USD", "KWD"])
bases: st.SearchStrategy[Literal["item", "invoice"]] = st.sampled_from(["item", "invoice"])
rates = st.decimals(0, Decimal("99.999"), places=3)
shares = st.decimals(0, 100, places=2)


@given(st.lists(st.lists(lines, max_size=4), max_size=4), rates, bases, shares, moneys, st.data())
def test_every_quote_adds_up(
    piece_lines: list[list[Line]],
    rate: Decimal,
    basis: Literal["item", "invoice"],
    share: Decimal,
    currency: str,
    data: st.DataObject,
) -> None:
    pieces = [PieceLines(str(n), tuple(of_piece)) for n, of_piece in enumerate(piece_lines)]
    price = st.integers(0, 10**6).map(lambda units: Decimal(units).scaleb(-minor_units(currency)))
    options = [
        Option(str(n), one, n % 2 == 0)
        for n, one in enumerate(data.draw(st.lists(price, max_size=3), label="options"))
    ]
    tax, deposit = TaxRule(rate, basis), DepositRule(share=share)
    found = totals(pieces, options, tax, deposit, currency)

    assert found.balance + found.deposit == found.total
    assert found.total == found.subtotal + found.tax
    assert found.subtotal == sum(found.pieces.values()) + found.options
    assert 0 <= found.deposit <= found.total
    assert 0 <= found.taxable <= found.subtotal
    figures = [*found.pieces.values(), found.options, found.subtotal, found.taxable, found.tax, found.total]
    for figure in [*figures, found.deposit, found.balance]:
        assert figure.as_tuple().exponent == -minor_units(currency)

    # The order of lines and pieces does not matter.
    turned = [PieceLines(p.key, tuple(reversed(p.lines))) for p in reversed(pieces)]
    assert totals(turned, list(reversed(options)), tax, deposit, currency) == found

    # Another line never makes it cheaper.
    more = [*pieces, PieceLines("more", (data.draw(lines, label="one more"),))]
    dearer = totals(more, options, tax, deposit, currency)
    assert dearer.total >= found.total
    assert dearer.tax >= found.tax
    assert dearer.deposit >= found.deposit


@given(
    st.lists(lines, min_size=1, max_size=4),
    st.lists(st.tuples(st.integers(-(10**6), 10**6), st.booleans()), max_size=4),
    rates,
    bases,
)
def test_a_checked_offer_adds_up_whatever_is_ticked(
    of_piece: list[Line], offered: list[tuple[int, bool]], rate: Decimal, basis: Literal["item", "invoice"]
) -> None:
    pieces = [PieceLines("a", tuple(of_piece))]
    options = [Option(str(n), Decimal(cents).scaleb(-2), taxed) for n, (cents, taxed) in enumerate(offered)]
    tax = TaxRule(rate, basis)
    try:
        check_offer(pieces, options, tax, HALF, "USD")
    except ValueError:
        return
    for ticked in range(2 ** len(options)):
        chosen = [option for n, option in enumerate(options) if ticked >> n & 1]
        assert totals(pieces, chosen, tax, HALF, "USD").total >= 0


SHEEN = OptionGroup("sheen", ("matt", "gloss"))
MATT, GLOSS = Option("matt", Decimal(0), True), Option("gloss", Decimal(45), True)


def test_one_of_a_group_is_chosen() -> None:
    pieces = [piece("a", "100")]
    assert totals(pieces, [GLOSS], NO_TAX, HALF, "USD", groups=[SHEEN]).total == 145
    for chosen, sentence in (([], "choose one of “sheen”"), ([MATT, GLOSS], "choose only one of “sheen”")):
        with pytest.raises(ValueError, match=sentence):
            totals(pieces, chosen, NO_TAX, HALF, "USD", groups=[SHEEN])
    with pytest.raises(ValueError, match="twice"):
        check_choices([SHEEN, SHEEN], ["matt"])


def test_an_offer_with_groups_is_checked() -> None:
    pieces = [piece("a", "100")]
    check_offer(pieces, [MATT, GLOSS], NO_TAX, DepositRule(sum=Decimal(100)), "USD", groups=[SHEEN])
    with pytest.raises(ValueError, match="more than the whole quote"):
        check_offer(pieces, [MATT, GLOSS], NO_TAX, DepositRule(sum=Decimal(101)), "USD", groups=[SHEEN])
    for group in (
        OptionGroup("sheen", ("matt",)),
        OptionGroup("sheen", ()),
        OptionGroup("sheen", ("matt", "x")),
    ):
        with pytest.raises(ValueError, match="at least two options"):
            check_offer(pieces, [MATT, GLOSS], NO_TAX, HALF, "USD", groups=[group])
    bare = Option("matt", Decimal(-101), True)
    with pytest.raises(ValueError, match="below zero"):
        check_offer(pieces, [bare, GLOSS], NO_TAX, HALF, "USD", groups=[SHEEN])
    # The cheapest of the group is not the least taxed one, which goes below zero with the taxed reduction.
    untaxed, taxed = Option("matt", Decimal(-50), False), Option("gloss", Decimal(-30), True)
    mixed = [PieceLines("a", (Line(Decimal(1), Decimal(20), True), Line(Decimal(1), Decimal(200), False)))]
    three = OptionGroup("sheen", ("matt", "gloss", "satin"))
    with pytest.raises(ValueError, match="tax would be below zero"):
        check_offer(
            mixed, [untaxed, taxed, Option("satin", Decimal(0), True)], NO_TAX, HALF, "USD", groups=[three]
        )


def test_rush_and_discount_worked_by_hand() -> None:
    pieces = [piece("a", "300.00"), piece("b", "100.00", taxable=False)]
    tax = TaxRule(Decimal(10), "invoice")
    # rush 15 % of 400 = 60, 45 of it taxed; 10 % off 460 = 46, of which 345/460 = 34.50 from the taxed part
    for basis in ("invoice", "item"):
        found = totals(
            pieces,
            [],
            TaxRule(Decimal(10), "item" if basis == "item" else "invoice"),
            HALF,
            "USD",
            rush_percent=Decimal(15),
            discount=Discount(percent=Decimal(10)),
        )
        assert (found.rush, found.discount, found.subtotal) == (Decimal(60), Decimal(46), Decimal(414))
        assert (found.taxable, found.tax) == (Decimal("310.50"), Decimal("31.05"))
        assert found.total == Decimal("445.05")
    all_of_it = totals(pieces, [], tax, HALF, "USD", discount=Discount(sum=Decimal(1000)))
    assert all_of_it.discount == 400
    assert all_of_it.subtotal == all_of_it.tax == all_of_it.total == 0


@pytest.mark.parametrize(
    ("rush", "discount", "sentence"),
    [
        ("-1", None, "Rush"),
        ("201", None, "not believable"),
        ("0", Discount(percent=Decimal(101)), "not believable"),
        ("0", Discount(percent=Decimal(-1)), "below zero"),
        ("0", Discount(sum=Decimal(-1)), "below zero"),
        ("0", Discount(sum=Decimal("0.001")), "has more"),
        ("0", Discount(Decimal(1), Decimal(1)), "not both"),
    ],
)
def test_rush_and_discount_that_cannot_be(rush: str, discount: Discount | None, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        totals([piece("a", "1")], [], NO_TAX, HALF, "USD", rush_percent=Decimal(rush), discount=discount)


discounts = st.builds(Discount, percent=shares) | st.builds(Discount, sum=st.integers(0, 10**6).map(Decimal))
option_prices = st.integers(-(10**5), 10**6).map(lambda units: Decimal(units).scaleb(-2))


@given(
    st.lists(lines, min_size=1, max_size=5),
    st.lists(st.builds(Option, st.uuids().map(str), option_prices, st.booleans()), max_size=3),
    rates,
    bases,
    st.decimals(0, 100, places=1),
    discounts,
)
def test_a_discount_never_goes_below_zero_and_everything_adds_up(
    of_piece: list[Line],
    options: list[Option],
    rate: Decimal,
    basis: Literal["item", "invoice"],
    rush: Decimal,
    discount: Discount,
) -> None:
    pieces, tax = [PieceLines("a", tuple(of_piece))], TaxRule(rate, basis)
    try:
        plain = totals(pieces, options, tax, HALF, "USD", rush_percent=rush)
    except ValueError:
        return  # the options take off more than there is, which is refused with a discount or without
    found = totals(pieces, options, tax, HALF, "USD", rush_percent=rush, discount=discount)
    assert 0 <= found.discount <= plain.subtotal
    assert found.subtotal == found.pieces["a"] + found.options + found.rush - found.discount >= 0
    assert found.subtotal == plain.subtotal - found.discount
    assert found.total == found.subtotal + found.tax == found.deposit + found.balance
    assert 0 <= found.taxable <= plain.taxable
    assert found.tax >= 0
    if basis == "invoice":
        assert found.tax <= plain.tax
