"""Tax beside the quote's own sums: on what is agreed later, and inside what is paid."""

from decimal import Decimal
from fractions import Fraction

from shopdesk.craft.money import exact, minor_units
from shopdesk.craft.pricing import TaxRule
from shopdesk.craft.rounding import EXACT, demand_decimal, half_up, ssuta_324


def tax_of_change(
    net: Decimal, rule: TaxRule, *, taxed_before: Decimal, tax_before: Decimal, currency: str
) -> Decimal:
    """The tax that a taxable change of `net` (below zero: it costs less) adds to what was agreed before.

    By item it is the tax on the change alone. By invoice it is the tax on the whole with the change, less the
    tax so far, so that the sum of both is what one invoice over everything would say (Streamlined Sales and
    Use Tax Agreement, section 324 B). `taxed_before` is what tax was taken on, without tax, and `tax_before`
    the tax on it.

    Raises `ValueError` with a sentence when the change takes off more than was taxed.
    """
    minor = minor_units(currency)
    for value, what in ((net, "A change"), (taxed_before, "What is taxed"), (tax_before, "A tax")):
        demand_decimal(value, what)
    taxed = EXACT.add(taxed_before, exact(net, currency))
    if taxed < 0:
        raise ValueError("It takes off more than the taxed work costs; the tax would be below zero.")

    def tax_on(amount: Decimal) -> Decimal:
        return ssuta_324(EXACT.multiply(rule.rate, amount).scaleb(-2, EXACT), minor)

    by_item = rule.basis == "item"
    added = tax_on(net) if by_item else half_up(EXACT.subtract(tax_on(taxed), tax_before), minor)
    if EXACT.add(tax_before, added) < 0:
        raise ValueError("It takes off more than the taxed work costs; the tax would be below zero.")
    return added


def tax_inside(gross: Decimal, *, of: Decimal, taxed: Decimal, rate: Decimal, currency: str) -> Decimal:
    """The tax in `gross`, which is a part of a price `of`, tax included, in whole units of the currency.

    `taxed` is how much of that price the tax at `rate` (percent) was taken on, with the tax itself; a part of
    the price holds it in the same proportion. Where everything is taxed this is gross x rate / (100 + rate),
    the fraction by which tax is taken out of a payment that includes it (Council Directive 2006/112/EC,
    article 65, from memory: tax on a payment on account falls due when it is received, on the amount that was
    received). Rounded half up; the rest of the payment is its net, so the two always add up to it.

    Raises `ValueError` for a price of nothing, a rate out of range, or more taxed than the price.
    """
    for value, what in ((gross, "A payment"), (of, "A price"), (taxed, "What is taxed"), (rate, "A rate")):
        demand_decimal(value, what)
    if not 0 <= rate < 100:
        raise ValueError("A tax rate is from zero to below 100 percent.")
    if of <= 0 or not 0 <= taxed <= of:
        raise ValueError("What is taxed is a part of a price above zero.")
    minor = minor_units(currency)
    share = Fraction(taxed) / Fraction(of)
    tax = Fraction(exact(gross, currency)) * share * Fraction(rate) / (100 + Fraction(rate))
    units = abs(tax) * 10**minor
    rounded = int(units) + (2 * (units - int(units)) >= 1)
    return half_up(Decimal(rounded if tax >= 0 else -rounded).scaleb(-minor), minor)
