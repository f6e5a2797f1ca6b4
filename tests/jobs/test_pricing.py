"""Prices calculated: against examples that tax authorities and a standard publish, and rules that
hold for any list."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.offers.pricing import (
    DeckWork,
    Journey,
    MaterialUse,
    PricedLine,
    PriceTable,
    PricingError,
    Reductions,
    TaskRate,
    TaxRule,
    calculate_totals,
    cents,
    price_work,
    rounded_line,
)

D = Decimal
HST = TaxRule("HST", D(15))
RATES = [
    TaskRate("set_up", "job", D(60), D(45)),
    TaskRate("clean", "m2", D("3.20"), D(2)),
    TaskRate("coat", "m2", D("4.10"), D(4)),
    TaskRate("strip", "m2", D("9.50"), D(8)),
    TaskRate("clean", "m", D(3), D(3)),
    TaskRate("coat", "m", D(6), D(7)),
    TaskRate("strip", "m", D(14), D(12)),
]
LIST = PriceTable(rates=RATES, taxes=[HST])
RECOAT = DeckWork(0, "Back deck", {"set_up": 1, "clean": 1, "coat": 2}, area_m2=D(18))
AT_HOME = Journey("Lunenburg")
NO_REDUCTION = Reductions()


def line(amount: str, *taxes: str, kind: str = "work") -> PricedLine:
    return PricedLine(kind, "Work", D(1), "", D(amount), D(amount), taxes=taxes)


def priced(prices: PriceTable = LIST, *decks: DeckWork, **more: Any) -> Any:
    journey = more.pop("journey", AT_HOME)
    reductions = more.pop("reductions", NO_REDUCTION)
    return price_work(prices, decks or [RECOAT], journey, reductions, **more)


def amounts(found: Any) -> dict[str, Decimal]:
    return {each.words: each.amount for each in found.lines}


# Taxes


def test_two_taxes_come_out_as_in_the_example_of_revenu_quebec() -> None:
    # Revenu Québec, "Calculating the Taxes": a good for $100.00, GST 5 % $5.00, QST 9.975 % $9.98,
    # total $114.98.
    rules = [TaxRule("GST", D(5)), TaxRule("QST", D("9.975"))]

    for rounds_lines in (False, True):
        found = calculate_totals(
            [line("100", "GST", "QST")], rules, is_inclusive=False, rounds_lines=rounds_lines
        )

        assert [each.amount for each in found.taxes] == [D("5.00"), D("9.98")]
        assert (found.net, found.tax, found.total) == (D("100.00"), D("14.98"), D("114.98"))


def test_a_tax_inside_the_price_is_an_eleventh_of_the_sum_rounded_half_up() -> None:
    # Australian Taxation Office, media release 2000/36, "total invoice approach": add up what is
    # paid, divide once by 11, below half a cent down, otherwise up. A tax of 10 % is an eleventh of
    # a price that holds it.
    gst = TaxRule("GST", D(10))
    prices = ["12.35", "7.77", "0.31", "99.99"]

    found = calculate_totals(
        [line(price, "GST") for price in prices], [gst], is_inclusive=True, rounds_lines=False
    )

    paid = sum(map(D, prices))
    assert found.total == paid
    assert found.tax == (paid * 100 / 11 + D("0.5")) // 1 / 100 == D("10.95")


def test_several_lines_follow_the_arithmetic_of_en_16931() -> None:
    # EN 16931-1, as its validation artefacts 1.3.16 put it: BR-CO-10 (sum of line net amounts, each
    # with two decimals), BR-S-08 (base of a rate = sum of its lines), BR-CO-17 (base × rate,
    # rounded to two decimals), BR-CO-14 (sum of the taxes), BR-CO-15 (total with tax). Here written
    # out in whole cents, apart from our code.
    rules = [TaxRule("A", D(19)), TaxRule("B", D(7))]
    lines = [
        line("10.07", "A"),
        line("3.33", "B"),
        line("0.99", "A"),
        line("8.05", "B"),
        line("5.00"),
    ]

    found = calculate_totals(lines, rules, is_inclusive=False, rounds_lines=False)

    base_a = 1007 + 99
    base_b = 333 + 805
    free = 500
    tax_a = (base_a * 19 + 50) // 100
    tax_b = (base_b * 7 + 50) // 100
    assert [(each.base * 100, each.amount * 100) for each in found.taxes] == [
        (base_a, tax_a),
        (base_b, tax_b),
    ]
    assert found.net * 100 == base_a + base_b + free
    assert found.total * 100 == base_a + base_b + free + tax_a + tax_b


def test_rounding_on_every_line_and_once_differ_where_they_must() -> None:
    # Three lines of $0.10 at 15 %: 1.5 cents each is 2 cents on every line, and 4.5 → 5 cents once.
    lines = [line("0.10", "HST")] * 3

    once = calculate_totals(lines, [HST], is_inclusive=False, rounds_lines=False)
    each = calculate_totals(lines, [HST], is_inclusive=False, rounds_lines=True)

    assert (once.tax, each.tax) == (D("0.05"), D("0.06"))


MONEY = st.decimals(min_value=0, max_value=9_999, places=2)
TAXES = st.lists(st.decimals(min_value=0, max_value=30, places=3), min_size=1, max_size=3)


@st.composite
def taxed(draw: Any) -> tuple[list[PricedLine], list[TaxRule]]:
    rules = [TaxRule(f"T{place}", percent) for place, percent in enumerate(draw(TAXES))]
    names = st.lists(st.sampled_from(rules), unique=True).map(
        lambda found: tuple(sorted(rule.name for rule in found))
    )
    lines = draw(st.lists(st.builds(line, MONEY.map(str)), min_size=1, max_size=8))
    return [replace(each, taxes=draw(names)) for each in lines], rules


@given(taxed(), st.booleans(), st.booleans())
def test_totals_add_up_to_the_cent_whatever_the_taxes(
    case: tuple[list[PricedLine], list[TaxRule]], is_inclusive: bool, rounds_lines: bool
) -> None:
    lines, rules = case

    found = calculate_totals(lines, rules, is_inclusive=is_inclusive, rounds_lines=rounds_lines)

    written = sum((each.amount for each in lines), D(0))
    assert found.total == found.net + found.tax
    assert found.tax == sum(each.amount for each in found.taxes)
    assert written == (found.total if is_inclusive else found.net)
    numbers = [
        found.net,
        found.tax,
        found.total,
        *(n for tax in found.taxes for n in (tax.base, tax.amount)),
    ]
    assert all(number == cents(number) and number >= 0 for number in numbers)


@given(st.lists(MONEY, min_size=1, max_size=8), st.decimals(min_value=0, max_value=30, places=3))
def test_a_price_with_tax_taken_apart_and_put_together_again_is_the_same(
    prices: Sequence[Decimal], percent: D
) -> None:
    rule = TaxRule("T", percent)
    inside = calculate_totals(
        [line(str(price), "T") for price in prices], [rule], is_inclusive=True, rounds_lines=False
    )

    again = calculate_totals(
        [line(str(inside.net), "T")], [rule], is_inclusive=False, rounds_lines=False
    )

    assert abs(again.total - inside.total) <= D("0.01")  # a cent is all that rounding twice can do


def test_reductions_larger_than_the_rest_are_refused() -> None:
    with pytest.raises(PricingError, match="discounts are larger"):
        calculate_totals(
            [line("10", "HST"), line("-10.01", "HST")],
            [HST],
            is_inclusive=False,
            rounds_lines=False,
        )


# Lines


def test_a_recoat_is_priced_by_area_and_coats_and_once_a_visit() -> None:
    found = priced()

    assert amounts(found) == {
        "Clean": D("57.60"),  # 18 m² × 3.20
        "Seal, 2 coats": D("147.60"),  # 18 m² × 2 × 4.10
        "Set up and protect surrounds": D("60.00"),
    }
    assert found.totals.total == D("304.98")  # 265.20 and 15 %
    assert found.hours == {0: D("3.00")}  # 18 × 2 min + 36 × 4 min
    assert found.total_hours == D("3.75")


def test_two_decks_pay_a_price_a_visit_once() -> None:
    found = priced(LIST, RECOAT, replace(RECOAT, deck_index=1, name="Sun deck"))

    assert [each.words for each in found.lines].count("Set up and protect surrounds") == 1
    assert [each.deck_index for each in found.lines] == [0, 0, 1, 1, None]


def test_rails_are_priced_and_timed_for_every_pass() -> None:
    deck = replace(RECOAT, rail_m=D("12.5"))
    double = replace(deck, tasks={"strip": 2, "coat": 2})

    assert amounts(priced(LIST, deck))["Railing"] == D("187.50")  # 12.5 × (3 + 2 × 6)
    assert amounts(priced(LIST, double))["Railing"] == D("500.00")  # 12.5 × (2 × 14 + 2 × 6)
    assert priced(LIST, deck).hours[0] - priced().hours[0] == D("3.54")  # 12.5 × (3 + 14) min
    assert priced(LIST, double).hours[0] == D("15.12")  # 18 × 24 min and 12.5 × 38 min


def test_a_surface_without_a_price_costs_what_its_area_of_boards_costs() -> None:
    deck = replace(RECOAT, rail_m=D(10), stair_treads=D(5), screen_m2=D(4))
    boards = [rate for rate in RATES if rate.per != "m"]

    found = priced(replace(LIST, rates=boards), deck)

    assert {name: amount for name, amount in amounts(found).items() if name[:2] in "RaStSc"} == {
        # 3.20 and 2 × 4.10 are 11.40 a m²; of a metre, 1.6 m²: 5.12 + 2 × 6.56 = 18.24
        "Railing": D("182.40"),
        "Stairs": D("22.80"),  # 0.4 m²: 1.28 + 2 × 1.64 = 4.56 a tread
        "Screens": D("45.60"),
    }
    assert found.hours[0] == D("6.67")  # 18 + 16 + 2 + 4 m² at 10 min


def test_sanding_is_of_the_boards_alone_unless_it_has_a_price_of_its_own() -> None:
    rates = [TaskRate("sand", "m2", D(3), D(3))]
    deck = replace(RECOAT, tasks={"sand": 1}, rail_m=D(10))

    assert amounts(priced(replace(LIST, rates=rates), deck)) == {"Light sand": D("54.00")}
    both = [*rates, TaskRate("sand", "m", D(2))]
    assert amounts(priced(replace(LIST, rates=both), deck))["Railing"] == D("20.00")


def test_travel_is_charged_and_timed_for_each_day_on_site() -> None:
    prices = replace(LIST, travel_per_km=D(1), zones={"mahone bay": D(25)})
    far = Journey("Chester", D(30), visits=3)

    found = priced(prices, journey=far)
    zone = priced(prices, journey=replace(far, town="Mahone Bay"))

    assert amounts(found)["Travel to Chester"] == D("90.00")
    assert amounts(zone)["Travel to Mahone Bay"] == D("75.00")
    # An hour there and back at 60 km/h; of a crew of 16 hours a day for two people.
    assert (found.visits, found.total_hours) == (3, D("6.75"))
    two = priced(prices, journey=replace(far, day_hours=D(16)))
    assert (two.visits, two.total_hours) == (3, D("9.75"))


def test_work_that_fills_more_days_than_its_waits_is_driven_to_on_each() -> None:
    # 60 m² take 10 h with 45 min to set up; of a day of 8 h one is driven: 10.75 / 7 are two days.
    deck = replace(RECOAT, area_m2=D(60))
    journey = Journey("Chester", D(30), visits=1, day_hours=D(8))

    found = priced(replace(LIST, travel_per_km=D(1)), deck, journey=journey)

    assert (found.visits, amounts(found)["Travel to Chester"]) == (2, D("60.00"))


def test_a_price_an_hour_takes_the_minutes_of_the_task() -> None:
    rates = [TaskRate("clean", "m2", D(0), D(10)), TaskRate("clean", "hour", D(48))]
    deck = replace(RECOAT, tasks={"clean": 1})

    found = priced(replace(LIST, rates=rates), deck)

    assert [(each.quantity, each.unit, each.amount) for each in found.lines] == [
        (D("3.00"), "hour", D("144.00"))
    ]


def test_a_high_deck_costs_more_and_exactly_at_the_height_it_does_not() -> None:
    prices = replace(LIST, high_above_m=D("2.5"), high_percent=D(10))

    high = priced(prices, replace(RECOAT, height_m=D("2.6")))
    at_it = priced(prices, replace(RECOAT, height_m=D("2.5")))

    assert amounts(high)["High deck, 10 % on the work"] == D("20.52")  # of 205.20
    assert len(at_it.lines) == 3


def test_materials_carry_the_mark_up_by_the_litre() -> None:
    deck = replace(RECOAT, materials=[MaterialUse("Tidewood Deck Oil", D("4.2"), D("31.98"))])

    found = priced(replace(LIST, markup_percent=D(25)), deck).lines[-1]

    assert (found.kind, found.unit, found.unit_price) == ("material", "L", D("39.98"))  # 39.975
    assert found.amount == D("167.92")  # 4.20 × 39.98 = 167.916


def test_the_larger_of_two_reductions_counts_and_on_the_work_alone() -> None:
    prices = replace(
        LIST,
        off_season_months=[10],
        off_season_percent=D(10),
        early_percent=D(5),
        travel_per_km=D(1),
    )
    reductions = Reductions(month=10, is_early=True)

    found = priced(prices, reductions=reductions, journey=Journey("Chester", D(40)))

    assert amounts(found)["Off-season discount, 10 % on the work"] == D("-26.52")
    assert not any("early" in each.words for each in found.lines)


def test_the_minimum_charge_is_reached_before_travel_and_never_passed_by_it() -> None:
    prices = replace(LIST, minimum_charge=D(300), travel_per_km=D("1.50"), travel_free_km=D(15))

    found = priced(prices, journey=Journey("Chester", D("35.5"), is_estimate=True))

    assert amounts(found)["Up to the minimum charge"] == D("34.80")
    assert amounts(found)["Travel to Chester (distance estimated)"] == D("30.75")  # 20.5 km
    assert found.totals.net == D("330.75")


def test_the_charge_of_a_zone_goes_before_the_distance() -> None:
    prices = replace(LIST, zones={"mahone bay": D(25), "lunenburg": D(0)}, travel_per_km=D(2))

    there = priced(prices, journey=Journey("Mahone Bay ", D(80)))
    at_home = priced(prices, journey=Journey("Lunenburg", D(80)))

    assert there.lines[-1].amount == D("25.00")
    assert all(each.kind != "travel" for each in at_home.lines)


def test_each_kind_of_line_carries_its_own_taxes() -> None:
    taxes = [
        TaxRule("Work", D(15), on_materials=False, on_travel=False),
        TaxRule("Goods", D(5), on_work=False),
    ]
    deck = replace(RECOAT, materials=[MaterialUse("Oil", D(4), D(30))])

    found = priced(replace(LIST, taxes=taxes, zones={"lunenburg": D(10)}), deck)

    assert {each.kind: each.taxes for each in found.lines} == {
        "work": ("Work",),
        "material": ("Goods",),
        "travel": ("Goods",),
    }


def test_square_feet_are_priced_in_square_feet() -> None:
    # 0.95 a ft² is kept as 10.23 a m² (1 ft = 0.3048 m exactly); it must read 0.95 again, on 193.75
    # ft² for 18 m².
    rates = [TaskRate("clean", "m2", D("10.23"))]
    deck = replace(RECOAT, tasks={"clean": 1})

    found = priced(replace(LIST, rates=rates), deck, units="us").lines[0]

    assert (found.quantity, found.unit, found.unit_price, found.amount) == (
        D("193.75"),
        "ft²",
        D("0.95"),
        D("184.06"),
    )


@pytest.mark.parametrize(
    ("prices", "deck", "words"),
    [
        (LIST, replace(RECOAT, area_m2=D(0)), "Back deck has no area"),
        (LIST, replace(RECOAT, area_m2=D(999_999)), "hours. Check the area"),
        (LIST, replace(RECOAT, area_m2=D(99_999_999)), "Check its quantity and price"),
        (LIST, replace(RECOAT, tasks={"brighten": 1}), "no price for “Brighten”"),
        (
            replace(LIST, rates=[TaskRate("rails", "m2", D(4))]),
            replace(RECOAT, tasks={"rails": 1}),
            "priced per m²",
        ),
        (
            replace(LIST, rates=[TaskRate("clean", "hour", D(50))]),
            replace(RECOAT, tasks={"clean": 1}),
            "how long",
        ),
    ],
)
def test_what_cannot_be_priced_is_said_in_words(
    prices: PriceTable, deck: DeckWork, words: str
) -> None:
    with pytest.raises(PricingError, match=words):
        priced(prices, deck)


@given(
    st.decimals(min_value="0.01", max_value=9_999, places=3),
    st.decimals(min_value=-999, max_value=999, places=4),
)
def test_a_line_can_be_checked_from_what_is_printed(quantity: Decimal, price: Decimal) -> None:
    found = rounded_line("work", "Clean", quantity, "m²", price)

    assert found.amount == cents(found.quantity * found.unit_price)
    assert all(
        number == cents(number) for number in (found.quantity, found.unit_price, found.amount)
    )
