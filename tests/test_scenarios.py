"""The grid of results: the package's own values at its points, and an honest word in between."""

import numpy as np
import pytest

from yieldest import load
from yieldest.model.scenarios import what_if
from yieldest.report.estimate_json import as_dictionary


def grids_of(folder):
    estimate = load(folder).estimate()
    return [what_if(estimate, number) for number in range(len(estimate.builds))]


def test_the_plan_itself_is_a_point_of_the_grid(demo_grids):
    _, estimate, grids = demo_grids
    for grid, build in zip(grids, as_dictionary(estimate)["builds"], strict=True):
        for surface in grid.surfaces:
            stated = tuple(grid.axis(key).stated_index for key in surface.over)
            value = surface.values[stated]
            if build[surface.key] is None:
                assert np.isnan(value)
            else:
                assert value == pytest.approx(build[surface.key], rel=1e-12), surface.key


def test_a_scaled_bill_costs_what_a_bill_at_those_prices_costs(run, yard):
    grid = grids_of(yard)[0]
    half = grid.axis("bill_scale").values.tolist().index(0.5)
    bill = yard / "bill.csv"
    lines = bill.read_text(encoding="utf-8").splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("item"))
    price = lines[head].split(",").index("unit price")
    for i in range(head + 1, len(lines)):
        cells = lines[i].split(",")
        cells[price] = str(float(cells[price]) / 2)
        lines[i] = ",".join(cells)
    bill.write_text("\n".join(lines), encoding="utf-8")
    build = run("estimate", yard, "--json").json["builds"][0]
    for surface in grid.surfaces:
        if "bill_scale" in surface.over:
            place = tuple(
                half if key == "bill_scale" else grid.axis(key).stated_index for key in surface.over
            )
            assert surface.values[place] == pytest.approx(build[surface.key], rel=1e-12)


def test_fewer_machines_cost_what_the_estimate_says_of_fewer(run, demo_site):
    ladders = {
        one["build"]: one for one in run("estimate", demo_site, "--json").json["cost_by_number"]
    }
    seen = 0
    for grid in grids_of(demo_site):
        if grid.name in ladders:
            costs = dict(
                zip(grid.axis("count").values, grid.along("cost_per_kwh", "count"), strict=True)
            )
            for step in ladders[grid.name]["steps"]:
                assert costs[step["count"]] == pytest.approx(step["cost_per_kwh"], rel=1e-12)
                seen += 1
    assert seen >= 2


def test_results_move_the_way_they_must(demo_grids):
    for grid in demo_grids[2]:
        energy = grid.along("net_kwh_per_year", "hub_height_m")
        assert (np.diff(energy) > 0).all(), "higher is windier"
        cost = grid.along("cost_per_kwh", "discount_rate")
        assert (np.diff(cost) > 0).all(), "dearer money, dearer energy"
        scaled = grid.along("cost_per_kwh", "bill_scale")
        scales = grid.axis("bill_scale").values
        assert scaled / scales == pytest.approx(scaled[2] / scales[2]), "cost follows the bill"
        value = grid.along("net_present_value", "price_per_kwh")
        slope = np.diff(value) / np.diff(grid.axis("price_per_kwh").values)
        assert slope == pytest.approx(slope[0]), "value follows the price in a straight line"


def test_errors_between_the_points_are_measured(yard):
    for grid in grids_of(yard):
        assert grid.checked > 100
        for surface in grid.surfaces:
            assert 0 <= surface.usual_error <= surface.worst_error
        # What is a straight line in every axis has no error at all; what is not has some.
        assert grid.surface("capital_cost").worst_error < 1e-9
        assert grid.surface("net_kwh_per_year").worst_error > 0
        assert grid.surface("cost_per_kwh").worst_error > 0


def test_the_stated_error_holds_at_points_of_ones_own(yard, edit, run):
    grid = grids_of(yard)[0]
    heights = grid.axis("hub_height_m").values
    middle = (heights[2] + heights[3]) / 2
    energy = grid.along("net_kwh_per_year", "hub_height_m")
    plan = yard / "plan.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("hub_height_m = 12", f"hub_height_m = {middle}", 1), "utf-8")
    true = run("estimate", yard, "--json").json["builds"][0]["net_kwh_per_year"]
    off = abs(np.interp(middle, heights, energy) - true)
    assert 0 < off <= grid.surface("net_kwh_per_year").worst_error


def test_heights_that_the_package_refuses_are_left_out(yard, edit):
    edit(yard / "plan.toml", "# displacement_m = 0 ", "displacement_m = 7 ")
    for grid in grids_of(yard):
        heights = grid.axis("hub_height_m")
        assert heights.values.min() > 7
        assert heights.stated == 12
        assert np.isfinite(grid.surface("net_kwh_per_year").values).all()


@pytest.mark.parametrize(("count", "most"), [(1, 4), (6, 12), (40, 80), (10000, 20000)])
def test_the_number_of_machines_reaches_beyond_the_plans(yard, edit, count, most):
    edit(yard / "plan.toml", "# count = 1", f"count = {count}")
    counts = grids_of(yard)[0].axis("count")
    assert counts.values[0] == 1
    assert counts.stated == count
    assert counts.values[-1] == most
    assert (counts.values == np.round(counts.values)).all()


def test_without_price_or_bill_there_is_nothing_to_turn(yard, edit):
    edit(yard / "plan.toml", "price_per_kwh = 0.30 ", "# price_per_kwh = 0.30 ")
    grid = grids_of(yard)[0]
    assert grid.axis("price_per_kwh") is None
    assert grid.surface("payback_years") is None
    assert grid.surface("cost_per_kwh") is not None
    plan = yard / "plan.toml"
    plan.write_text(plan.read_text("utf-8").replace('bill = "bill.csv"', ""), "utf-8")
    grid = grids_of(yard)[0]
    assert [axis.key for axis in grid.axes] == ["hub_height_m", "count"]
    assert [surface.key for surface in grid.surfaces] == ["net_kwh_per_year"]
