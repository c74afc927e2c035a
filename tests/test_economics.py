"""Cash flows and measures against numpy-financial, closed forms and the worked example of docs."""

import re
from dataclasses import asdict
from pathlib import Path

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from yieldest.economics.bill_of_materials import BillItem, BillOfMaterials
from yieldest.economics.cash_flow import Expenditure, Prices, cash_flow, loan_flow, nominal, real
from yieldest.economics.evaluation import (
    CapitalRecoveryDiffers,
    EmbodiedNotStated,
    NoSingleRateOfReturn,
    NotPaidBack,
)
from yieldest.economics.measures import (
    benefit_cost_ratio,
    capital_recovery_factor,
    cost_per_kwh,
    cost_per_kwh_by_capital_recovery,
    internal_rates_of_return,
    payback_years,
    present_value,
    simple_payback_years,
)
from yieldest.economics.terms import EconomicTerms
from yieldest.errors import InputError
from yieldest.provenance import Provenance

WORKED = Path(__file__).parents[1] / "docs" / "economics.md"
rates = st.floats(0.0, 0.3)
small_rates = st.floats(-0.03, 0.08)

TERMS = EconomicTerms(
    discount_rate=0.05,
    life_years=5,
    price_per_kwh=0.30,
    maintenance_share_per_year=0.0,
    wage_per_hour=0.0,
    inflation=0.02,
    loan={"share": 0.5, "interest_rate": 0.06, "years": 4},
)


def changed(terms, **values):
    return terms.model_copy(update=values)


PARTLY_USED = changed(TERMS, self_consumption_share=0.6, export_price_per_kwh=0.08)


def laid_out(capital, replacements, upkeep, kwh, price, *, salvage=0.0, life=None, **terms):
    years = np.asarray(replacements, dtype=float)
    paid = Expenditure(capital, years, upkeep, np.zeros(years.shape), salvage)
    return cash_flow(paid, kwh, EconomicTerms(**terms), Prices(price, life_years=life))


def bill(*items):
    return BillOfMaterials(items, Provenance("bill.csv", "test"))


EXAMPLE = bill(
    BillItem("machine", 1, 850, maintenance_per_year=20, salvage_share=50 / 850),
    BillItem("battery", 1, 150, life_years=3),
)


def worked_results():
    """The last table of the worked example: label to what stands there."""
    rows = re.findall(r"^\| ([a-z][^|]+) \| ([0-9.]+) \|$", WORKED.read_text("utf-8"), re.M)
    return dict(rows)


def test_the_worked_example_of_the_handbook_is_what_the_package_says():
    cost = EXAMPLE.evaluate(1000.0, TERMS)
    ours = {
        "present value of the cost": float(present_value(cost.flow.cost, 0.05)),
        "cost per kWh": cost.cost_per_kwh,
        "cost per kWh by the capital recovery factor": cost.cost_per_kwh_by_capital_recovery,
        "net present value": cost.net_present_value,
        "benefit over cost": cost.benefit_cost_ratio,
        "simple payback, years": cost.simple_payback_years,
        "payback, years": cost.payback_years,
        "discounted payback, years": cost.discounted_payback_years,
        "rate of return": cost.internal_rate_of_return,
        "cost per used kWh, of 60 %": EXAMPLE.evaluate(1000.0, PARTLY_USED).cost_per_used_kwh,
        "loan payment, nominal": cost.with_loan.payment_nominal,
        "nominal discount rate": cost.nominal.discount_rate,
    }
    printed = worked_results()
    assert set(printed) == set(ours)
    for label, text in printed.items():
        places = len(text.partition(".")[2])
        assert ours[label] == pytest.approx(float(text), abs=0.5000001 * 10**-places), label


@given(st.floats(0.1, 1.0), st.floats(0.0, 0.2), st.floats(100.0, 5000.0))
def test_at_the_cost_of_a_used_kwh_a_build_pays_just_so(used, export, kwh):
    terms = changed(TERMS, self_consumption_share=used, export_price_per_kwh=export)
    cost = EXAMPLE.evaluate(kwh, terms).cost_per_used_kwh
    just_so = EXAMPLE.evaluate(kwh, changed(terms, price_per_kwh=cost))
    assert just_so.net_present_value == pytest.approx(0.0, abs=1e-6)


def test_where_every_kwh_is_used_a_used_one_costs_what_each_costs():
    cost = EXAMPLE.evaluate(1000.0, TERMS)
    assert cost.cost_per_used_kwh == pytest.approx(cost.cost_per_kwh, rel=1e-12)
    none_used = EXAMPLE.evaluate(1000.0, changed(PARTLY_USED, self_consumption_share=0.0))
    assert none_used.cost_per_used_kwh is None


def test_the_worked_example_by_numpy_financial():
    flow = [-1000, 280, 280, 130, 280, 330]
    cost = EXAMPLE.evaluate(1000.0, TERMS)
    assert cost.flow.net == pytest.approx(flow)
    assert cost.net_present_value == pytest.approx(npf.npv(0.05, flow), rel=1e-9)
    assert cost.internal_rate_of_return == pytest.approx(npf.irr(flow), rel=1e-9)
    assert cost.with_loan.payment_nominal == pytest.approx(-npf.pmt(0.06, 4, 500), rel=1e-9)


def test_simple_payback_by_hand_leaves_the_replacement_out():
    """1000 over 1000 kWh x 0.30 - 20 = 280 a year is 3.571 years. The battery of year 3 leaves the
    balance at -1000 + 280 + 280 + 130 + 280 = -30 after four, made good by 330 in the fifth."""
    cost = EXAMPLE.evaluate(1000.0, TERMS)
    assert cost.simple_payback_years == pytest.approx(1000 / 280)
    assert cost.payback_years == pytest.approx(4 + 30 / 330)
    granted = EXAMPLE.evaluate(1000.0, changed(TERMS, grant=300.0))
    assert granted.simple_payback_years == pytest.approx(700 / 280)


def test_simple_payback_may_lie_beyond_the_life_and_needs_a_saving():
    long = EXAMPLE.evaluate(200.0, TERMS)
    assert long.simple_payback_years == pytest.approx(1000 / 40)
    assert NotPaidBack(5) in long.provenance.warnings
    assert EXAMPLE.evaluate(50.0, TERMS).simple_payback_years is None  # 15 earned, 20 for upkeep
    assert EXAMPLE.evaluate(1000.0, changed(TERMS, price_per_kwh=None)).simple_payback_years is None


@given(st.floats(1, 1e5), st.floats(1, 1e4), st.integers(1, 60))
def test_simple_payback_is_the_payback_of_level_years(capital, saving, life):
    simple = float(simple_payback_years(capital, saving))
    flow = np.r_[-capital, np.full(life, saving)]
    assert simple * saving == pytest.approx(capital)
    if simple <= life * (1 - 1e-9):
        assert payback_years(flow) == pytest.approx(simple, rel=1e-9)


def test_simple_payback_broadcasts():
    found = simple_payback_years([100.0, 200.0], [[50.0], [-1.0]])
    assert found == pytest.approx(np.array([[2.0, 4.0], [np.nan, np.nan]]), nan_ok=True)


@given(st.floats(0.001, 0.3), st.integers(1, 50), st.floats(1, 1e5))
def test_a_loan_is_paid_back_to_nothing(rate, years, amount):
    flow = loan_flow(amount, rate, years, life_years=years + 3)
    assert npf.npv(rate, flow) == pytest.approx(0.0, abs=1e-9 * amount * years)
    assert -flow[1] == pytest.approx(-npf.pmt(rate, years, amount), rel=1e-9)
    assert (flow[years + 1 :] == 0).all()


@given(rates, small_rates, st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=30))
def test_real_and_nominal_give_one_present_value(rate, inflation, flow):
    at_nominal = (1 + rate) * (1 + inflation) - 1
    assert present_value(nominal(flow, inflation), at_nominal) == pytest.approx(
        float(present_value(flow, rate)), rel=1e-9, abs=1e-6
    )
    assert real(nominal(flow, inflation), inflation) == pytest.approx(np.array(flow), abs=1e-6)


def test_the_nominal_rate_of_return_is_higher_by_inflation():
    cost = EXAMPLE.evaluate(1000.0, TERMS)
    assert cost.nominal.internal_rate_of_return == pytest.approx(
        (1 + cost.internal_rate_of_return) * 1.02 - 1, rel=1e-9
    )
    assert cost.nominal.net_present_value == pytest.approx(cost.net_present_value, rel=1e-9)


def test_a_loan_at_the_nominal_discount_rate_changes_no_present_value():
    loan = changed(TERMS.loan, interest_rate=TERMS.nominal_discount_rate)
    cost = EXAMPLE.evaluate(1000.0, changed(TERMS, loan=loan))
    assert cost.with_loan.net_present_value == pytest.approx(cost.net_present_value, rel=1e-9)
    dear = EXAMPLE.evaluate(1000.0, changed(TERMS, loan=changed(loan, interest_rate=0.2)))
    assert dear.with_loan.net_present_value < cost.net_present_value


@given(st.floats(100, 1e4), st.floats(0, 300), st.floats(10, 1e4), rates, st.integers(1, 40),
       st.floats(0, 500))  # fmt: skip
def test_both_forms_of_the_cost_per_kwh_agree_for_level_years(
    capital, upkeep, kwh, rate, life, later
):
    replacements = np.zeros(life + 1)
    replacements[life // 2] = later if life // 2 else 0.0
    flow = laid_out(capital, replacements, upkeep, kwh, 0.0)
    by_recovery = cost_per_kwh_by_capital_recovery(
        capital, present_value(replacements, rate), upkeep, kwh, rate, life
    )
    assert by_recovery == pytest.approx(
        float(cost_per_kwh(flow.cost, flow.energy_kwh, rate)), rel=1e-9
    )


def test_ageing_sets_the_two_forms_apart_and_says_so():
    cost = EXAMPLE.evaluate(1000.0, changed(TERMS, degradation_per_year=0.05))
    assert cost.cost_per_kwh_by_capital_recovery < cost.cost_per_kwh
    assert cost.provenance.warnings == (
        CapitalRecoveryDiffers(cost.cost_per_kwh_by_capital_recovery, cost.cost_per_kwh),
    )


@given(rates, small_rates, st.floats(0, 0.05), st.integers(1, 40))
def test_worth_grows_and_fades_as_a_geometric_series(rate, rise, fade, life):
    """Present value of a growing annuity: the sum of q^(t-1) / (1 + r)^t (textbook)."""
    flow = laid_out(0, np.zeros(life + 1), 0, 100, 1, real_price_escalation_per_year=rise,
                     degradation_per_year=fade)  # fmt: skip
    q = (1 + rise) * (1 - fade) / (1 + rate)
    series = life if abs(q - 1) < 1e-12 else (1 - q**life) / (1 - q)
    assert present_value(flow.value, rate) == pytest.approx(100 / (1 + rate) * series, rel=1e-6)


def test_a_used_and_a_sold_kwh_are_worth_their_prices():
    flow = laid_out(
        0, np.zeros(3), 0, 100, 0.30, self_consumption_share=0.4, export_price_per_kwh=0.05
    )
    assert flow.value == pytest.approx([0, 15.0, 15.0])
    dumped = laid_out(0, np.zeros(3), 0, 100, 0.30, self_consumption_share=0.4)
    assert dumped.value == pytest.approx([0, 12.0, 12.0])


def test_a_grant_never_exceeds_the_cost():
    cost = EXAMPLE.evaluate(1000.0, changed(TERMS, grant=5000.0))
    assert cost.grant == cost.capital_cost
    assert cost.flow.cost[0] == 0
    share = EXAMPLE.evaluate(1000.0, changed(TERMS, grant_share=0.3))
    assert share.flow.cost[0] == pytest.approx(700)


@given(st.floats(100, 1e4), st.floats(1, 3e3), rates)
def test_benefit_over_cost_is_above_one_just_when_it_pays(capital, income, rate):
    cost, value = [capital, 10, 10, 10], [0, income, income, income]
    net = present_value(np.array(value) - np.array(cost), rate)
    assert (benefit_cost_ratio(value, cost, rate) > 1) == (net > 0)


def test_a_shorter_life_ends_the_flow_early():
    replacements = np.array([0, 0, 0, 90.0, 0, 0])
    flow = laid_out(500, replacements, 10, 100, 1, salvage=40, life=[3, 5])
    assert flow.cost == pytest.approx(
        np.array([[500, 10, 10, -30, 0, 0], [500, 10, 10, 100, 10, -30]])
    )
    assert flow.energy_kwh[0] == pytest.approx([0, 100, 100, 100, 0, 0])


def test_draws_along_an_axis_are_each_like_the_one():
    random = np.random.default_rng(3)
    capital, kwh, price, rate = (
        random.uniform(low, high, (4, 50))
        for low, high in ((500, 3000), (100, 2000), (0.1, 0.5), (0.0, 0.1))
    )
    later = np.array([0, 0, 0, 120.0, 0, 0, 0])
    flow = laid_out(capital, later, 0.02 * capital, kwh, price, degradation_per_year=0.01)
    many = (
        present_value(flow.net, rate),
        cost_per_kwh(flow.cost, flow.energy_kwh, rate),
        payback_years(flow.net, rate),
        benefit_cost_ratio(flow.value, flow.cost, rate),
    )
    i = (2, 17)
    alone = laid_out(
        capital[i], later, 0.02 * capital[i], kwh[i], price[i], degradation_per_year=0.01
    )
    assert many[0][i] == pytest.approx(float(present_value(alone.net, rate[i])), rel=1e-12)
    assert many[1][i] == pytest.approx(
        float(cost_per_kwh(alone.cost, alone.energy_kwh, rate[i])), rel=1e-12
    )
    assert many[2][i] == pytest.approx(float(payback_years(alone.net, rate[i])), nan_ok=True)
    assert many[3].shape == (4, 50)


@pytest.mark.parametrize(
    ("flow", "rates_of_return"),
    [
        ([-1000, 500, 500, 500], None),
        ([-1000, -10, 2, 1], None),
        ([0, 5, 7], []),
        ([-5, -3], []),
        ([-100, 230, -132], [0.1, 0.2]),  # (x - 1/1.1)(x - 1/1.2) by hand
    ],
)
def test_rates_of_return_one_none_and_several(flow, rates_of_return):
    found = internal_rates_of_return(flow)
    expected = [npf.irr(flow)] if rates_of_return is None else rates_of_return
    assert found == pytest.approx(np.array(expected), rel=1e-9)


@given(st.floats(100, 1e5), st.lists(st.floats(1, 1e4), min_size=1, max_size=60))
def test_the_one_rate_of_return_makes_the_present_value_zero(capital, income):
    flow = np.array([-capital, *income])
    (rate,) = internal_rates_of_return(flow)
    scale = float(present_value(np.abs(flow), rate))
    assert float(present_value(flow, rate)) == pytest.approx(0.0, abs=1e-9 * scale)


def test_several_rates_of_return_are_counted_in_a_warning():
    # A dear clearing away at the end turns the flow twice.
    parts = bill(BillItem("machine", 1, 100, scrap_value=-332))
    cost = parts.evaluate(1000.0, changed(TERMS, life_years=2, price_per_kwh=0.23, loan=None))
    assert cost.internal_rate_of_return is None
    assert NoSingleRateOfReturn(2) in cost.provenance.warnings


def test_labour_is_shown_with_and_without_a_wage():
    parts = bill(BillItem("machine", 1, 400, labour_hours=30))
    cost = parts.evaluate(1000.0, changed(TERMS, wage_per_hour=20.0, loan=None))
    assert (cost.capital_cost, cost.capital_cost_without_wage) == (1000, 400)
    assert cost.cost_per_kwh > cost.cost_per_kwh_without_wage
    # What an hour earns, paid for every hour at once, would eat the whole gain.
    at_that_wage = changed(TERMS, wage_per_hour=cost.return_to_own_labour_per_hour, loan=None)
    assert parts.evaluate(1000.0, at_that_wage).net_present_value == pytest.approx(0, abs=1e-9)


def test_energy_and_carbon_payback_by_hand():
    parts = bill(
        BillItem("blades", 3, 10, embodied_kwh=40, embodied_carbon_kg=10, life_years=3),
        BillItem("mast", 1, 300),
    )
    terms = changed(TERMS, grid_carbon_kg_per_kwh=0.4)
    cost = parts.evaluate(500.0, terms)
    # Three blades, twice in five years: 240 kWh and 60 kg against 500 kWh and 200 kg a year.
    assert cost.energy_payback_years == pytest.approx(0.48)
    assert cost.carbon_payback_years == pytest.approx(0.30)
    assert EmbodiedNotStated("energy", 1, 2) in cost.provenance.warnings


def test_upkeep_of_the_bill_stands_instead_of_the_assumed_share():
    assumed = EconomicTerms(life_years=5, price_per_kwh=0.3)
    assert EXAMPLE.evaluate(1000.0, assumed).maintenance_per_year == pytest.approx(20)
    plain = bill(BillItem("machine", 1, 1000))
    assert plain.evaluate(1000.0, assumed).maintenance_per_year == pytest.approx(20)  # 2 %
    stated = changed(assumed, maintenance_share_per_year=0.01)
    assert EXAMPLE.evaluate(1000.0, stated).maintenance_per_year == pytest.approx(30)


def test_a_loan_longer_than_the_life_is_refused():
    with pytest.raises(ValueError, match=r"loan\.years is 20"):
        EconomicTerms(life_years=10, loan={"share": 0.5, "interest_rate": 0.05, "years": 20})


def test_the_recovery_factor_is_numpy_financials_payment():
    lives = np.arange(1, 41)
    for rate in (0.0, 0.01, 0.05, 0.2):
        expected = [-npf.pmt(rate, life, 1) for life in lives.tolist()]
        assert capital_recovery_factor(rate, lives) == pytest.approx(np.array(expected), rel=1e-9)


def assert_alike(one, other, where):
    """Compare all numbers, names and kinds in two nested results."""
    assert type(one) is type(other), where
    if isinstance(one, dict):
        assert list(one) == list(other), where
        for key, value in one.items():
            assert_alike(value, other[key], f"{where} {key}")
    elif isinstance(one, tuple | list):
        for i, (value, its) in enumerate(zip(one, other, strict=True)):
            assert_alike(value, its, f"{where} {i}")
    elif isinstance(one, float | np.ndarray):
        np.testing.assert_allclose(one, other, rtol=1e-12, atol=1e-9, err_msg=where)
    else:
        assert one == other, where


@pytest.mark.parametrize(
    ("key", "values"),
    [
        ("discount_rate", [0.0, 0.05, 0.2]),
        ("life_years", [4, 9, 6]),
        ("price_per_kwh", [0.0, 0.1, 0.5]),
        ("maintenance_share_per_year", [0.0, 0.04, 0.01]),
        ("wage_per_hour", [0.0, 15.0, 40.0]),
        ("self_consumption_share", [0.0, 0.4, 1.0]),
        ("real_price_escalation_per_year", [0.0, 0.02, -0.01]),
        ("degradation_per_year", [0.0, 0.02, 0.3]),
        ("grant", [0.0, 300.0, 9000.0]),
        ("inflation", [0.0, 0.02, 0.1]),
        ("grid_carbon_kg_per_kwh", [0.1, 0.35, 0.5]),
        ("loan", [changed(TERMS.loan, years=years) for years in (1, 3, 4)]),
    ],
)
def test_variants_computed_together_are_those_computed_alone(key, values):
    parts = bill(
        BillItem("blade", 3, 40, labour_hours=4, price_breaks=((9, 30.0),), embodied_kwh=50),
        BillItem("battery", 1, 150, "site", life_years=2.5, group="store", scrap_value=-5),
        BillItem("mast", 1, 300, "array", 20, salvage_share=0.1, maintenance_in_years=((5, 40),)),
    )
    variants = [changed(PARTLY_USED, **{key: value}) for value in values]
    kwh, counts = [900.0, 0.0, 2500.0], [1, 3, 4]
    together = parts.evaluate_all(kwh, variants, counts)
    for cost, made, terms, count in zip(together, kwh, variants, counts, strict=True):
        alone = parts.evaluate(made, terms, count=count)
        assert_alike(asdict(cost), asdict(alone), key)


@pytest.mark.parametrize(
    ("stated", "named"),
    [
        ({"lifetime": 15}, ["lifetime", "there is no such option", "life_years"]),
        ({"life_years": 0}, ["life_years is 0", "greater than or equal to 1"]),
        ({"loan": {"share": 0.5, "term": 4}}, ["loan", "interest_rate"]),
        ({"grant": 1.0, "grant_share": 0.1}, ["grant and grant_share exclude each other"]),
    ],
)
def test_a_key_that_terms_do_not_have_is_refused_in_one_sentence(stated, named):
    with pytest.raises(InputError) as refused:
        EXAMPLE.evaluate(1000.0, **stated)
    said = str(refused.value)
    assert said.endswith(".")
    assert "\n" not in said
    for words in named:
        assert words in said


def test_keys_stated_beside_terms_are_added_to_them():
    cost = EXAMPLE.evaluate(1000.0, TERMS, price_per_kwh=0.4, loan=None)
    assert cost.net_present_value == pytest.approx(
        EXAMPLE.evaluate(1000.0, changed(TERMS, price_per_kwh=0.4)).net_present_value
    )
    assert cost.with_loan is None


def test_it_is_said_what_upkeep_was_reckoned_with(run, yard):
    """A share that the plan states comes on top of what the bill states; one assumed does not."""

    def said():
        return " ".join(run("estimate", yard, "--draws", "0", "--full").out.split())

    assert "upkeep 2 % of the capital cost a year, on top of what the bill states," in said()
    plan = yard / "plan.toml"
    text = plan.read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if "maintenance_share_per_year" not in line]
    plan.write_text("\n".join(kept), encoding="utf-8")
    assert "upkeep 2 % of the capital cost a year where the bill states none," in said()
