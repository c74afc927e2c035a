"""Bills: sums by hand, years, and what is refused."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from yieldest.defaults import WORKING_DAY, Assumed
from yieldest.economics.bill_of_materials import (
    NO_GROUP,
    OWN_LABOUR,
    PAID_LABOUR,
    BillItem,
    BillOfMaterials,
)
from yieldest.economics.prices import number_as_written
from yieldest.economics.read_bill import (
    CarriageCountedOnce,
    ItemsLastAsBuild,
    PriceRisesWithNumber,
    PricesBeforeTax,
    SumApart,
    read_bill,
)
from yieldest.economics.terms import EconomicTerms
from yieldest.errors import InputError
from yieldest.provenance import Provenance

items = st.builds(
    BillItem,
    name=st.just("part"),
    quantity=st.floats(0, 100),
    unit_price=st.floats(0, 500),
    scope=st.sampled_from(["unit", "array", "site"]),
    life_years=st.none() | st.floats(0.5, 30),
    labour_hours=st.floats(0, 50),
    group=st.sampled_from(["", "rotor", "mast"]),
    tax_share=st.floats(0, 0.3),
    waste_share=st.floats(0, 0.3),
    paid_labour=st.floats(0, 500),
    shared_by=st.floats(1, 5),
    embodied_kwh=st.none() | st.floats(0, 100),
)


def bill(*lines):
    return BillOfMaterials(tuple(lines), Provenance("bill.csv", "test"))


@pytest.fixture
def written(tmp_path):
    """Write a bill and read it."""

    def read(text, currency="EUR"):
        path = tmp_path / "bill.csv"
        path.write_text(text, encoding="utf-8")
        return read_bill(path, currency)

    return read


def test_an_old_bill_without_the_new_columns_reads_as_before(written):
    parts = written("item,quantity,unit price\nblade,3,20\nhub,1,40\n")
    assert parts.capital_cost(2, wage_per_hour=0) == pytest.approx(2 * 100)
    assert not parts.states_groups
    assert not parts.states_maintenance


def test_every_column_worked_by_hand(written):
    parts = written(
        "item,quantity,unit price,scope,life years,labour hours,group,currency,price breaks,"
        "tax (%),waste (%),salvage (%),scrap value,paid labour,shared by,upkeep per year,"
        "embodied energy (kWh),embodied carbon (kg)\n"
        "blade,3,20,per unit,4,5,Rotor,EUR,10:18 20:15,19,10,25,1,,,,30,8\n"
        "lathe,1,600,per site,,,tools,EUR,,19,,,,,3,12,,\n"
        "crane day,0,0,per array,,,mast,EUR,,19,,,,300,,2:40 5:60,,\n"
    )
    blade, lathe, crane = parts.items
    # One machine: 3.3 blades bought at 20; four: 13.2 at 18; seven: 23.1 at 15; all with 19 % tax.
    assert [blade.parts_cost(n) for n in (1, 4, 7)] == pytest.approx(
        [3.3 * 20 * 1.19, 13.2 * 18 * 1.19, 23.1 * 15 * 1.19]
    )
    assert lathe.cost(4, 10) == pytest.approx(200 * 1.19)
    assert crane.cost(4, 10) == pytest.approx(300 * 1.19)
    assert blade.own_hours(4) == 20
    assert parts.capital_cost(4, 10) == pytest.approx(282.744 + 238 + 357 + 200)
    assert parts.cost_by_group(4, 10) == pytest.approx(
        {PAID_LABOUR: 357, "rotor": 282.744, "tools": 238, OWN_LABOUR: 200}
    )
    expenditure = parts.expenditure(4, EconomicTerms(life_years=6, wage_per_hour=10))
    # Blades again at the end of year 4, with their labour, less 12 worn-out blades at 1 each.
    assert expenditure.replacement_costs == pytest.approx([0, 0, 0, 0, 482.744 - 12, 0, 0])
    assert expenditure.maintenance_per_year == pytest.approx(4)  # a third of the lathe's 12
    assert expenditure.maintenance_in_years == pytest.approx([0, 0, 40, 0, 0, 60, 0])
    assert expenditure.salvage_value == pytest.approx(12 * 18 * 0.25)
    made = parts.embodied([4], life_years=6)[0]
    assert made.energy_kwh == pytest.approx(13.2 * 30 * 2)
    assert made.carbon_kg == pytest.approx(13.2 * 8 * 2)
    assert made.items_without_energy == 2


def test_a_price_break_begins_at_its_number():
    screw = BillItem("screw", 1, 9, price_breaks=((10, 7), (20, 6)))
    assert [screw.price_each(n) for n in (1, 9, 10, 19, 20, 50)] == [9, 9, 7, 7, 6, 6]


def test_scrap_that_costs_money_lowers_what_the_end_brings():
    battery = BillItem("battery", 4, 60, life_years=5, scrap_value=-3)
    expenditure = bill(battery).expenditure(1, EconomicTerms(life_years=10))
    assert expenditure.replacement_costs[5] == pytest.approx(240 + 12)
    assert expenditure.salvage_value == pytest.approx(-12)


def test_nothing_is_replaced_in_the_last_year():
    assert BillItem("part", 1, 1, life_years=5).replacement_years(15) == [5, 10]
    assert BillItem("part", 1, 1, life_years=2.5).replacement_years(6) == [2, 5]
    assert BillItem("part", 1, 1).replacement_years(15) == []


def test_the_dearest_items_come_first():
    parts = bill(*(BillItem(f"part {price}", 1, price) for price in (3, 9, 1, 7, 5, 8)))
    assert [item.cost for item in parts.dearest([1], 0)[0]] == [9, 8, 7, 5, 3]
    assert parts.dearest([1], 0)[0][0].share == pytest.approx(9 / 33)


@given(st.lists(items, min_size=1, max_size=6), st.integers(1, 12), st.floats(0, 50))
def test_groups_sum_to_the_capital_cost(lines, count, wage):
    parts = bill(*lines)
    total = parts.capital_cost(count, wage)
    assert sum(parts.cost_by_group(count, wage).values()) == pytest.approx(total, abs=1e-9)
    assert NO_GROUP in parts.cost_by_group(count, wage) or all(
        item.group or item.parts_cost(count) == 0 for item in lines
    )
    without_wage = parts.capital_cost(count, 0)
    assert total == pytest.approx(without_wage + wage * parts.labour_hours(count), abs=1e-6)


@given(st.lists(items, min_size=1, max_size=6), st.integers(1, 12), st.integers(1, 25))
def test_more_machines_never_cost_less_without_price_breaks(lines, count, life):
    parts = bill(*lines)
    terms = EconomicTerms(life_years=life, wage_per_hour=5.0)
    fewer, more = (parts.expenditure(n, terms) for n in (count, count + 1))
    assert more.capital_cost >= fewer.capital_cost - 1e-9
    assert (more.replacement_costs >= fewer.replacement_costs - 1e-9).all()


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("item,quantity\nblade,3\n", ["unit price", "'item', 'quantity'"]),
        ("stuff,how many,unit price\nblade,3,5\n", ["as the item or the quantity", "docs/bill.md"]),
        ("item,quantity,unit price\nblade,3,\n", ["line 2", "unit price is missing"]),
        ("item,quantity,unit price\nblade,-3,20\n", ["line 2", "quantity -3", "below zero"]),
        ("item,quantity,unit price\nblade,3,-20\n", ["line 2", "unit price -20"]),
        ("item,quantity,unit price,currency\na,1,2,EUR\nb,1,2,USD\n",
         ["line 3", "'USD'", "one currency"]),
        ("item,quantity,unit price,currency\na,1,2,GBP\n", ["line 2", "'GBP'", "'EUR'"]),
        ("item,quantity,unit price,price breaks\na,1,9,50:7 10:8\n",
         ["line 2", "10 does not lie above 50"]),
        ("item,quantity,unit price,price breaks\na,1,9,ten for 8\n",
         ["line 2", "'ten'", "10:8.50"]),
        ("item,quantity,unit price,tax\na,1,9,0.19\n", ["'tax'", "tax (%)"]),
        ("item,quantity,unit price,embodied energy\na,1,9,3\n", ["embodied energy (kWh)"]),
        ("item,quantity,unit price,shared by\na,1,9,0\n", ["line 2", "shared by 0"]),
        ("item,quantity,unit price,upkeep per year\na,1,9,-5\n", ["line 2", "upkeep '-5'"]),
        ("item,quantity,unit price,upkeep per year\na,1,9,0:5\n", ["line 2", "year 0"]),
        ("item,quantity,unit price,upkeep per year\na,1,9,a lot\n", ["line 2", "'a lot'"]),
        ("item,quantity,unit price,life years\na,1,9,0.2\n", ["line 2", "half a year"]),
        ("item,quantity,unit price,scope\na,1,9,per week\n", ["line 2", "per unit"]),
        ("item,quantity,unit price\n ,1,9\n", ["line 2", "no name"]),
        ("item,quantity,unit price\na,1,1e300\n", ["line 2", "1e+300", "beyond anything"]),
        ("item,quantity,unit price,scrap value\na,1,1,-1e300\n", ["line 2", "beyond anything"]),
    ],
)  # fmt: skip
def test_a_bad_bill_is_one_sentence(written, text, named):
    with pytest.raises(InputError) as refused:
        written(text)
    message = str(refused.value)
    assert "\n" not in message
    assert "bill.csv" in message
    for words in named:
        assert words in message


def test_a_price_that_rises_with_the_number_is_doubted(written):
    parts = written("item,quantity,unit price,price breaks\na,1,9,10:11\n")
    assert parts.provenance.warnings == (PriceRisesWithNumber("bill.csv", "a"),)


def test_a_plan_may_ask_for_the_life_of_every_item(run, yard, edit):
    refused = run("estimate", yard, "--set", 'economics.item_life="required"')
    assert refused.code == 2
    assert "'frame and tail' states no life" in refused.err
    assert "economics.item_life" in refused.err
    assert run("check", yard, "--set", "economics.item_life=required").code == 2
    assert (
        run("estimate", yard, "--draws", 0, "--set", "economics.item_life=as the build").code == 0
    )


def test_a_bill_in_another_money_than_the_plan_is_refused(run, yard, edit):
    edit(yard / "bill.csv", "labour hours", "labour hours,currency")
    text = (yard / "bill.csv").read_text()
    lines = [line + ",JPY" if line[:1] not in "#i" else line for line in text.splitlines()]
    (yard / "bill.csv").write_text("\n".join(lines) + "\n")
    refused = run("estimate", yard)
    assert refused.code == 2
    assert "'JPY'" in refused.err


SPREADSHEET = (
    "Parts for the machine,,,\n,,,\nItem,Qty,Price each,Total\n"
    '"Board 1,5 m",2,"€ 18,50","€ 37,00"\n'
    ',,,\nBearing,1,€ 45,€ 45\n\nMast,1,"€ 1.134,60","€ 1.134,60"\n'
)


def test_a_spreadsheet_reads_with_title_blank_lines_and_signs(written):
    parts = written(SPREADSHEET)
    assert [item.name for item in parts.items] == ["Board 1,5 m", "Bearing", "Mast"]
    assert parts.capital_cost(1, wage_per_hour=0) == pytest.approx(2 * 18.5 + 45 + 1134.6)


@pytest.mark.parametrize(
    "name",
    [
        *("TOTAL:", "Sub-total", "Sum of parts", "Total (incl. VAT)", "Grand total", "Net total"),
        *("Summe", "Gesamt", "Zwischensumme", "Gesamtbetrag:", "Nettosumme", "Gesamt netto"),
        *("Sous-total", "Total HT", "Suma", "Suma częściowa", "Razem", "Total general", "Subtotal"),
        *("Totale parziale", "Totale", "Subtotaal", "Totaal", "Delsumma", "Summa", "Soma", "I alt"),
    ],
)
def test_a_sum_below_the_parts_is_checked_and_never_counted(written, name):
    parts = written(SPREADSHEET + f"{name},,,1216.60\n")
    assert parts.capital_cost(1, wage_per_hour=0) == pytest.approx(1216.6)
    assert parts.provenance.warnings == ()
    parts = written(SPREADSHEET + f"{name},,,1316.60\n")
    assert parts.capital_cost(1, wage_per_hour=0) == pytest.approx(1216.6)
    (apart,) = parts.provenance.warnings
    assert apart.place.endswith("line 9")
    assert (apart.name, apart.stated) == (name, 1316.6)
    assert apart.computed == pytest.approx(1216.6)


def test_subtotals_are_those_of_their_part_of_the_bill(written):
    parts = written(
        "item,quantity,unit price\nhub,1,100\nblade,3,20\nSub-total,,160\nmast,1,300\n"
        "Subtotal,,300\nTotal,,460\n"
    )
    assert [item.name for item in parts.items] == ["hub", "blade", "mast"]
    assert parts.provenance.warnings == ()


@pytest.mark.parametrize(
    "name", ["Shipping", "Delivery to the farm", "P&P", "Versand", "Frais de port", "Spedizione"]
)
def test_carriage_without_a_quantity_is_one_piece_and_said(written, name):
    parts = written(f"Item,Qty,Price each,Total\nhub,2,50,100\n{name},,,12.50\nTotal,,,112.50\n")
    assert parts.capital_cost(1, 0) == pytest.approx(112.5)
    (said,) = (f for f in parts.provenance.assumed if isinstance(f, CarriageCountedOnce))
    assert (said.place[-6:], said.name, said.scope) == ("line 3", name, "unit")
    assert parts.provenance.warnings == ()
    frame = pd.DataFrame({"item": ["hub", name], "quantity": [2, None], "price": [50, 12.5]})
    assert read_bill(frame).capital_cost(1, 0) == pytest.approx(112.5)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("VAT 20 %,,,20", ["'VAT 20 %'", "a tax on the lines above", "'tax (%)'"]),
        ("VAT,,20%,20", ["a tax on the lines above"]),
        ("MwSt,,19 %,", ["'MwSt'", "a tax on the lines above"]),
        ("zzgl. 19 % MwSt.,,,19", ["a tax on the lines above"]),
        ("TVA,,,20", ["'TVA'", "a tax on the lines above"]),
        (",,VAT 20 %,20", ["'VAT 20 %'", "a tax on the lines above"]),
        ("Discount -10 %,,,-10", ["'Discount -10 %'", "lower their prices"]),
        ("Discount,1,-10,-10", ["lower their prices"]),
        ("Rabatt,,10 %,", ["lower their prices"]),
        ("Remise,,,-10", ["lower their prices"]),
    ],
)
def test_lines_of_tax_and_discount_say_what_to_do(written, line, words):
    with pytest.raises(InputError) as refused:
        written(f"Item,Qty,Price each,Total\nhub,2,50,100\n{line}\n")
    for each in ("line 3", *words):
        assert each in str(refused.value)
    assert "quantity is missing" not in str(refused.value)


BILLS = {
    "German": "Artikel;Menge;Einzelpreis (€);Lebensdauer (Jahre);Arbeitszeit (Std.)\n"
    "Flügel;3;18,50;6;4\nMast;1;300,- €;;\nSumme;;355,50;;\n",
    "French": "Désignation;Quantité;Prix unitaire (€);Durée de vie (ans);Heures\n"
    "pale;3;18,50;6;4\nmât;1;300,-- €;;\nSous-total;;355,50;;\n",
    "Spanish": "Descripción;Cantidad;Precio unitario;Vida útil (años);Horas\n"
    "pala;3;18,50 €;6;4\nmástil;1;300;;\nSuma;;355,50;;\n",
    "Italian": "Articolo;Quantità;Prezzo unitario;Durata (anni);Ore di lavoro\n"
    "pala;3;18,50;6;4\npalo;1;300 Euro;;\nTotale parziale;;355,50;;\n",
    "Dutch": "Onderdeel;Aantal;Stukprijs (EUR);Levensduur (jaar);Uren\n"
    "wiek;3;18,50;6;4\nmast;1;300;;\nSubtotaal;;355,50;;\n",
}


@pytest.mark.parametrize("language", BILLS)
def test_a_bill_may_be_headed_in_another_language(written, language):
    parts = written(BILLS[language])
    assert parts.capital_cost(1, 0) == pytest.approx(355.5)
    assert (parts.items[0].life_years, parts.items[0].labour_hours) == (6, 4)
    assert parts.provenance.warnings == ()


def test_a_line_whose_total_is_not_its_pieces_at_their_price_is_shown(written):
    parts = written("Part,Qty,Each,Cost\nhub,1,100,100\nblade,3,20,50\n")
    assert parts.capital_cost(1, 0) == pytest.approx(160)
    assert [type(found) for found in parts.provenance.warnings] == [SumApart]


def test_a_bill_with_totals_of_lines_alone_has_prices(written):
    parts = written("part,qty,line total\nhub,1,100\nblade,3,60\n")
    assert [item.unit_price for item in parts.items] == [100, 20]


def test_a_cost_that_may_be_of_a_piece_or_of_a_line_is_settled_by_the_sum(written):
    text = "Part,Qty,Cost\nhub,1,100\nblade,3,60\n"
    with pytest.raises(InputError, match=r"one piece .*280\.00.* whole line .*160\.00"):
        written(text)
    assert written(text + "Total,,160\n").capital_cost(1, 0) == pytest.approx(160)
    assert written(text + "Total,,280\n").capital_cost(1, 0) == pytest.approx(280)


def test_lines_keep_their_number_below_blank_rows(written):
    with pytest.raises(InputError, match="line 9: the quantity is missing"):
        written(SPREADSHEET + "Bolts,,35,\n")


@pytest.mark.parametrize(
    ("price", "currency", "number"),
    [
        ("€ 18,50", "EUR", 18.5),
        ("18,50 €", "EUR", 18.5),
        ("EUR 1.234,5", "EUR", 1234.5),
        ("$1,234.50", "USD", 1234.5),
        ("£7", "GBP", 7.0),
        ("$5", "EUR", "another currency"),
        ("USD 5", "EUR", "another currency"),
        ("£1,150", "GBP", "can be 1150 or 1.15"),
        ("1.134", "EUR", "can be 1134 or 1.134"),
        ("about 5", "EUR", "is not a number"),
        ("Fr. 300.-", "CHF", 300.0),
        ("CHF 300.\N{EN DASH}", "CHF", 300.0),
        ("Fr 1'300.-", "CHF", 1300.0),
        ("300,- €", "EUR", 300.0),
        ("1.300,- €", "EUR", 1300.0),
        ("1.300,--", "EUR", 1300.0),
        ("300 Euro", "EUR", 300.0),
        ("US$ 30", "USD", 30.0),
    ],
)
def test_prices_are_read_where_they_can_mean_one_thing_only(written, price, currency, number):
    text = f'item,quantity,unit price\nhub,1,"{price}"\n'
    if isinstance(number, str):
        with pytest.raises(InputError, match=f"line 2: .* {number}"):
            written(text, currency)
    else:
        assert written(text, currency).capital_cost(1, wage_per_hour=0) == pytest.approx(number)


@pytest.mark.parametrize(
    ("headings", "cells", "found"),
    [
        ("quantity,life,hours", "2 pcs,8 years,90 min", (2, 8, 1.5)),
        ("quantity,life (months),hours (min)", "2,8 yrs.,2 h", (2, 8, 2)),
        ("quantity,life (months),hours (min)", "2,18 months,30", (2, 1.5, 0.5)),
        ("quantity,life,hours", "12 m,18 Monate,2 days", (12, 1.5, 2 * WORKING_DAY.value)),
        ("quantity,life,hours", "1,8 moons,1", "'8 moons' .* follow: years, months"),
        ("quantity,life,hours", "1,8,1 h 30 min", "'1 h 30 min' .* follow: hours, days, min"),
        ("quantity,life,hours", "1 dozen,8,1", "'1 dozen' .* is not a number"),
    ],
)
def test_a_unit_in_a_cell_goes_before_that_of_the_heading(written, headings, cells, found):
    text = f"item,unit price,{headings}\nhub,100,{cells}\n"
    if isinstance(found, str):
        with pytest.raises(InputError, match=f"line 2: {found}"):
            written(text)
    else:
        item = written(text).items[0]
        assert (item.quantity, item.life_years, item.labour_hours) == pytest.approx(found)


@given(st.integers(0, 10**9))
def test_a_price_survives_the_marks_of_both_customs(cents):
    text = f"{cents / 100:,.2f}"
    german = text.translate(str.maketrans(",.", ".,"))
    assert number_as_written(text, None) == pytest.approx((cents / 100,))
    assert number_as_written(german, None) == pytest.approx((cents / 100,))


@pytest.mark.parametrize(("proof", "price"), [("12.50", 1150), ("12,50", 1.15)])
def test_one_cell_that_proves_the_mark_speaks_for_all(written, proof, price):
    parts = written(f'item,qty,Price (£)\nmast,1,"£1,150"\nbolts,4,"{proof}"\n', "GBP")
    assert parts.items[0].unit_price == pytest.approx(price)


def test_units_of_headings_are_converted(written):
    parts = written(
        "Part,Qty,Price (cents),life (months),My hours,Notes\nbolt,4,25,30,0.5,from the shop\n"
    )
    (bolt,) = parts.items
    assert (bolt.unit_price, bolt.life_years, bolt.labour_hours) == pytest.approx((0.25, 2.5, 0.5))
    assert parts.provenance.warnings == ()
    by_minute = written("part,qty,unit cost,labour (min)\nblade,1,20,90\n")
    in_words = written("part,qty,unit cost,labour (minutes)\nblade,1,20,45\n")
    assert in_words.items[0].labour_hours == pytest.approx(0.75)
    hired = written("part,qty,unit cost,paid labour (cents)\nblade,1,20,4500\n")
    assert hired.items[0].paid_labour == pytest.approx(45)
    by_day = written("part,qty,each,labour (days)\nblade,1,20,1.5\n")
    assert by_minute.items[0].labour_hours == pytest.approx(1.5)
    assert by_day.items[0].labour_hours == pytest.approx(12)
    assert Assumed(WORKING_DAY) in by_day.provenance.assumed


@pytest.mark.parametrize(
    ("heading", "currency"),
    [
        *(("Price (p)", "GBP"), ("Price, pence", "GBP"), ("Cost each in p", "GBP")),
        *(("Price (c)", "USD"), ("Price ¢", "USD"), ("Preis (Ct)", "EUR")),
        *(("Price (öre)", "SEK"), ("Price (øre)", "DKK"), ("Preis (Rp.)", "CHF")),
        *(("Prix (centimes)", "EUR"), ("Price (grosz)", "PLN"), ("Price (paise)", "INR")),
    ],
)  # fmt: skip
def test_hundredths_of_a_currency_are_never_read_as_whole_ones(written, heading, currency):
    text = f'item,quantity,"{heading}"\nmast,1,32000\n'
    assert written(text, currency).items[0].unit_price == pytest.approx(320)
    with pytest.raises(InputError, match="another currency than the plan's JPY"):
        written(text, "JPY")


@pytest.mark.parametrize(
    ("heading", "mark"),
    [
        *(("Price (k)", "k"), ("Price (£k)", "k"), ("Price (k£)", "k"), ("price (1000s)", "1000s")),
        *(("Cost (total)", "total"), ("Price (per dozen)", "dozen"), ("Unit price (£/100)", "100")),
        *(("life (weeks)", "weeks"), ("life (m)", "m"), ("labour (weeks)", "weeks")),
        *(("scrap value (%)", "%"), ("paid labour (h)", "h"), ("upkeep (per month)", "month")),
        *(("upkeep (p)", "p"), ("Price %", "%"), ("price breaks (p)", "p"), ("shared by (%)", "%")),
    ],
)  # fmt: skip
def test_a_unit_that_is_not_understood_is_refused(written, heading, mark):
    priced = heading.lower().startswith(("price (", "cost", "unit", "price %"))
    heads = ["item", "quantity", *([] if priced else ["unit price"]), f'"{heading}"']
    text = f"{','.join(heads)}\nmast,1{',5' * (len(heads) - 2)}\n"
    with pytest.raises(InputError, match=f"'{mark}' in the heading .* is not understood"):
        written(text, "GBP")


def test_a_quantity_by_the_dozen_is_refused(written):
    for heading in ("Price (pounds)", "Price in pounds", "Price £", "Price (GBP)"):
        assert written(f"item,qty,{heading}\nbolt,2,5\n", "GBP").capital_cost(1, 0) == 10
    with pytest.raises(InputError, match="'dozen' in the heading"):
        written("item,Qty (dozen),price\nbolt,2,5\n")
    assert written("item,Qty (pcs),price (EUR/pc)\nbolt,2,5\n").capital_cost(1, 0) == 10


def test_a_heading_with_pounds_and_pence_is_refused(written):
    with pytest.raises(InputError, match="names both £ and p"):
        written("item,quantity,Price (£ p)\nbolt,2,5\n", "GBP")


def test_prices_before_tax_are_said_or_taxed_and_never_taxed_twice(written):
    for heading in ("Price (ex VAT)", "Price (excl. VAT)", "Price (net)", "Preis netto", "Prix HT"):
        parts = written(f"item,quantity,{heading}\nmast,1,100\n")
        assert parts.provenance.warnings == (PricesBeforeTax("bill.csv", heading),)
        taxed = written(f"item,quantity,{heading},VAT (%)\nmast,1,100,20\n")
        assert taxed.provenance.warnings == ()
        assert taxed.capital_cost(1, 0) == pytest.approx(120)
    assert written("item,quantity,Price (incl. VAT)\nmast,1,9\n").provenance.warnings == ()
    with pytest.raises(InputError, match=r"have the tax in them, and 'tax \(%\)' would add it"):
        written("item,quantity,Price (incl. VAT),tax (%)\nmast,1,100,20\n")


def test_cells_in_hundredths_and_whole_money_mix(written):
    parts = written("item,quantity,price\nbolt,10,35p\nmast,1,£320\nnut,1,5 p\n", "GBP")
    assert [item.unit_price for item in parts.items] == pytest.approx([0.35, 320, 0.05])
    assert written("item,quantity,Price (p)\nbolt,1,35p\n", "GBP").capital_cost(
        1, 0
    ) == pytest.approx(0.35)
    with pytest.raises(InputError, match=r"line 3: '£320' .* in another unit than its heading"):
        written("item,quantity,Price (p)\nbolt,10,35\nmast,1,£320\n", "GBP")
    with pytest.raises(InputError, match=r"line 2: '35p' .* another currency than the plan's EUR"):
        written("item,quantity,price\nbolt,10,35p\n")


PARTS = "item;quantity;unit price\nblade;3;20,50\nhub;1;40\n"


@pytest.mark.parametrize(
    "above",
    ["My bill of parts\n", "My bill of parts;;\n", "Parts 2026\n\nfor 2 machines\n", '"Bill"\n',
     "Stückliste für 2,4 m\n", "Stückliste für 2,4 m;;\n", "3 blades\n", "# Larch\nMy bill\n",
     "Prices in EUR\n", "Prices in € (before: in USD)\n", "Bought from USD Ltd\n",
     "Prices: euro;;\n", "USD Ltd: list of prices\n", "Weights in pounds\n",
     "Prices to try\n", '"Mast, rotor";;\n'],
)  # fmt: skip
@pytest.mark.parametrize("delimiter", [";", ",", "\t"])
def test_a_title_of_one_cell_may_stand_above_a_bill(written, above, delimiter):
    parts = PARTS.replace(",", ".") if delimiter == "," else PARTS
    parts, above = (text.replace(";", delimiter) for text in (parts, above))
    assert [item.unit_price for item in written(above + parts).items] == [20.5, 40]


@pytest.mark.parametrize("title", ["Mast, rotor, prices in EUR;;", "My bill, May;;"])
def test_a_title_may_hold_marks_that_part_no_cells_of_its_bill(written, title):
    assert [item.name for item in written(f"{title}\n{PARTS}").items] == ["blade", "hub"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("item\nblade\nhub\n", "no column was recognised as the quantity"),
        ("My bill\nitem\nblade\nhub\n", "no column was recognised as the item"),
        ("item\nblade, larch\nhub\n", "no column was recognised as the item"),
        ("item\nblade,3,20\n", "line 2: 3 cells where the heading has 1"),
        ("My bill\nblade,3,20\nhub,1,40\n", "line 2: 3 cells where the heading has 1"),
        ("My bill\nMy parts\n", "no column was recognised as the item"),
    ],
)
def test_a_title_makes_no_bill_of_what_is_none(written, text, words):
    with pytest.raises(InputError, match=words):
        written(text)


@pytest.mark.parametrize(
    "title",
    ["Prices in USD;;", "Prices in USD", "My bill (in $)", "All prices are US$", "USD;;", "$",
     "Currency: GBP", "Währung = CHF", "prices in usd", "Prices (£)", "Prices in pounds",
     "Preise in Kč", "Prix en CHF", "Prices in USD, 1 USD = 0.92 EUR;;", '"Prices in USD"'],
)  # fmt: skip
def test_a_title_in_another_currency_stops_the_run(written, title):
    text = f"# invented\n{title}\n{PARTS}".replace(",", ".")
    with pytest.raises(InputError, match=r"line 2: the title .* another currency than the plan's"):
        written(text)
    assert written(text, None).items[0].unit_price == 20.5


@pytest.mark.parametrize("heading", ["Price (£)", "unit price [USD]", "Cost in GBP", "price kr"])
def test_a_heading_in_another_currency_stops_the_run(written, heading):
    text = f"item,quantity,{heading}\nmast,1,300\n"
    with pytest.raises(InputError, match="another currency than the plan's EUR"):
        written(text)
    assert written(text, None).items[0].unit_price == 300


def test_scrap_and_salvage_stay_within_the_price(written):
    with pytest.raises(InputError, match=r"line 2: the scrap value .* 12, is above its price of 9"):
        written("item,quantity,unit price,scrap value\nmotor,1,9,12\n")
    with pytest.raises(InputError, match=r"line 2: .* 120 % of its price"):
        written("item,quantity,unit price,salvage (%)\nmotor,1,9,120\n")
    free = written("item,quantity,unit price,scrap value\nold motor,1,0,12\n")
    assert free.items[0].scrap_value == 12


NOTEBOOK = (
    "Part,Qty,Cost each (€),My hours,Life (years),Notes\n"
    "Blades,3,20,6,6,larch\nGenerator,1,180,10,12,\nBattery bank,1,400,1,8,second hand\n"
    "Tools,1,90,,,\nTotal,,730,,,\n"
)


def test_several_machines_need_a_bill_that_says_what_they_share(run, yard, edit):
    (yard / "bill.csv").write_text(NOTEBOOK, encoding="utf-8")
    refused = run("estimate", yard, "--draws", 0)
    assert refused.code == 2
    sentence, *pasted = refused.err.splitlines()
    assert "no scope column" in sentence
    assert "scope_default" in sentence
    assert [line.rsplit(",", 1)[1] for line in pasted] == [
        *("scope", "per unit", "per unit", "per array", "per site"),
    ]
    # What it offers, pasted over the bill, is a bill.
    (yard / "bill.csv").write_text("\n".join(pasted) + "\n", encoding="utf-8")
    builds = run("estimate", yard, "--draws", 0, "--json").json["builds"]
    assert [build["capital_cost"] for build in builds] == pytest.approx([730, 970])
    # Or the plan says it for all of them.
    (yard / "bill.csv").write_text(NOTEBOOK, encoding="utf-8")
    edit(yard / "plan.toml", "count = 2\n", 'count = 2\nscope_default = "per unit"\n')
    builds = run("estimate", yard, "--draws", 0, "--json").json["builds"]
    assert [build["capital_cost"] for build in builds] == pytest.approx([730, 1460])


def test_one_machine_needs_no_scopes_until_there_are_more(run, yard):
    (yard / "bill.csv").write_text(NOTEBOOK, encoding="utf-8")
    one = ("--set", "build.1.count=1")
    assert run("check", yard, *one).code == 0
    assert "no scope column" in run("estimate", yard, *one, "--sweep", "build.0.count=1:3:3").err


def test_a_bill_may_say_per_machine(written):
    parts = written("item,quantity,unit price,scope\nblade,3,20,per machine\n")
    assert parts.capital_cost(2, 0) == pytest.approx(120)


def test_an_item_of_brackets_alone_is_read_at_once(tmp_path):
    """Looking for the end of each open bracket would take longer than anybody waits."""
    brackets = "[" * 200_000
    path = tmp_path / "bill.csv"
    path.write_text(f"item,quantity,unit price\nmast,1,320\n{brackets},2,5\n", encoding="utf-8")
    assert [item.name for item in read_bill(path, "EUR").items] == ["mast", brackets]


def test_a_data_frame_is_read_as_its_file_would_be(written):
    frame = pd.DataFrame(
        {
            "item": ["blade", "mast"],
            "quantity": [3, 1],
            "unit price": ["1.200,50 EUR", "40"],
            "life (years)": [8.0, None],
            "scope": ["per unit", "per site"],
        }
    )
    of_frame = read_bill(frame, "EUR")
    text = 'blade,3,"1.200,50 EUR",8,per unit\nmast,1,40,,per site\n'
    of_file = written("item,quantity,unit price,life (years),scope\n" + text)
    assert of_frame.items == of_file.items
    assert of_frame.provenance.assumed == (ItemsLastAsBuild("data frame", 1, 2),)
    with pytest.raises(InputError, match=r"data frame, row 2: .*below zero"):
        read_bill(frame.assign(quantity=[3, -1]))


def test_a_bill_is_evaluated_on_terms_by_name_and_shown(written):
    parts = written("item,quantity,unit price,life (years)\nmast,1,300,\nrotor,1,500,8\n")
    cost = parts.evaluate(900, life_years=15, price_per_kwh=0.34)
    # 800 over 900 x 0.34 less the assumed 2 % of 800.
    assert cost.simple_payback_years == pytest.approx(800 / (306 - 16))
    terms = EconomicTerms(life_years=15, price_per_kwh=0.34)
    assert parts.evaluate(900, terms).net_present_value == cost.net_present_value
    frame = cost.flow.to_frame()
    assert frame.index.name == "year"
    assert frame["net"].to_numpy() == pytest.approx(cost.flow.net)
    assert frame.loc[8, "cost"] == pytest.approx(500 + 16)
    assert list(parts.to_frame()["name"]) == ["mast", "rotor"]
    for shown in (parts, cost, cost.flow):
        assert "<table" in shown._repr_html_()
    with pytest.raises(ValueError, match="lifetime"):
        parts.evaluate(900, lifetime=15)
