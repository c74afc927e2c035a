"""The command `yieldest map`: many cells at once."""

from importlib.util import find_spec
from pathlib import Path

from yieldest.cli.options import MOSTLY, Command, Units, pairs, print_json
from yieldest.errors import InputError

NEEDED = ("xarray", "dask", "distributed", "h5netcdf", "h5py", "zarr", "matplotlib")

PANELS = {
    MOSTLY: "output plan pictures units full",
    "When the grid does not say it, and for very large grids (docs/scale.md)": (
        "height variable scheduler"
    ),
}

WORDS = {
    "grid": ("GRID", "A Zarr store, or NetCDF files that continue each other."),
    "output": ("FILE", "What to write: a name that ends in .nc or .zarr.", "--out", "-o"),
    "plan": ("PLAN", "The plan whose builds to map; without it only the wind is."),
    "pictures": ("DIR", "Also draw quick pictures into a folder."),
    "full": ("", "Print all the rest: heights, methods, assumptions, warnings, cautions."),
    "height": ("METRES", "Height of the winds above ground, where the grid does not say it."),
    "variable": ("ROLE=NAME", "Which variable is what, such as speed=ws; again for another."),
    "scheduler": ("ADDRESS", "A dask scheduler to share the work; else this machine works alone."),
}


def map_cells(
    grid: list[Path],
    output: Path,
    plan: Path | None = None,
    pictures: Path | None = None,
    height: float | None = None,
    variable: list[str] | None = None,
    scheduler: str | None = None,
    units: Units = None,
    full: bool = False,
    as_json: bool = False,
) -> None:
    """Make maps of wind, energy, cost and payback from gridded winds.

    The grid holds wind speeds or components over time, or Weibull parameters, or how often each
    class of speeds blows, with the attributes of the CF conventions. Read more: docs/scale.md.

    Example: yieldest map winds.nc --plan demo-sites/hill-yard --out maps.nc

    Example: yieldest map winds.nc --out wind-only.nc --pictures pictures
    """
    absent = [name for name in NEEDED if find_spec(name) is None]
    if absent:
        raise InputError(
            f"maps need libraries that are not installed ({', '.join(absent)}); install them with "
            "python -m pip install 'yieldest[grid]', or '.[grid]' in a clone."
        )
    import xarray as xr

    from yieldest.files.whole_output import refuse_inputs
    from yieldest.maps.blocks import in_blocks, regions_of
    from yieldest.maps.grid import ROLES, open_grid
    from yieldest.maps.make_maps import recipe_for
    from yieldest.maps.map_summary import print_map_summary, summary_of
    from yieldest.maps.workers import workers
    from yieldest.maps.write_maps import write_maps
    from yieldest.model.inputs import input_files
    from yieldest.plan import load_plan
    from yieldest.report.progress import cells_bar
    from yieldest.units import shown_in

    stated = None if plan is None else load_plan(plan)
    shown = units or ("metric" if stated is None else stated.units)
    refuse_inputs(output, [*grid, *([] if stated is None else input_files(stated))])
    opened = open_grid(grid, dict(pairs("--variable", "ROLE=NAME", variable, ROLES)))
    recipe = recipe_for(opened, stated, height)
    blocks = in_blocks(opened, recipe)
    with workers(scheduler, blocks, recipe) as work, cells_bar() as progress:
        regions = regions_of(blocks, recipe, work.blocks)
        command = f"yieldest map {opened.name}"
        write_maps(blocks, recipe, regions, work.maps, output, progress, command)
    engine = "zarr" if output.suffix == ".zarr" else "h5netcdf"
    with xr.open_dataset(output, engine=engine) as maps:
        drawn = []
        if pictures is not None:
            from yieldest.maps.map_pictures import write_pictures

            with shown_in(shown):
                drawn = write_pictures(maps, pictures)
        summary = summary_of(maps, output, drawn)
    if as_json:
        print_json(summary)
    else:
        from yieldest.report.terminal import console

        with shown_in(shown):
            print_map_summary(summary, console(), full=full)


COMMAND = Command(map_cells, WORDS, PANELS)
