"""Charts of the wind: how often each speed blows, from where, and when."""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats, percent
from yieldest.report.chart import (
    Chart,
    along_speed,
    drawn,
    finish,
    known_or_none,
    legend,
    line_of,
    rule_at,
    write,
)
from yieldest.report.palette import CALM_TO_STRONG, colour
from yieldest.units import as_shown, in_reader_units, length, number, speed, speed_unit
from yieldest.wind.weibull import share_above

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from yieldest.model.build_estimate import BuildEstimate
    from yieldest.model.site_wind import SiteWind
    from yieldest.wind.breakdown import Directions
from yieldest.wind.data_recovery import without_months
from yieldest.wind.hidden_spread import LONG_S
from yieldest.wind.record import Record

_COMPASS = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW",
    "NNW",
)  # fmt: skip
_MONTHS = tuple(calendar.month_abbr)[1:]
_HOURS = 24
_TILE = np.array([(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)])


def distribution_chart(wind: SiteWind) -> Chart:
    """Return how often each speed blows: the readings as steps, the fit as a line."""
    distribution, readings, mean = wind.distribution, wind.readings, wind.mean_speed_ms
    top = distribution.scale_ms * 3.2
    if readings is not None:
        top = max(float(readings.speed_ms.max()), distribution.scale_ms * 2)
    edges = np.arange(np.ceil(top) + 1)
    fitted = -np.diff(share_above(edges, distribution.shape, distribution.scale_ms))
    fitted = (1 - distribution.calm_share) * fitted
    fitted[0] += distribution.calm_share
    counted = None
    if readings is not None:
        hours, _ = np.histogram(readings.speed_ms, edges, weights=readings.weight)
        counted = hours / hours.sum()
    most = int(np.argmax(fitted if counted is None else counted))
    message = (
        f"At {length(distribution.height_m)} the wind blows most often at {number(most, 'm/s')} to "
        f"{speed(most + 1)}; the mean is {speed(mean, '.2f')}."
    )
    if counted is not None:
        off = float(np.abs(counted - fitted).max())
        message += f" Readings and fit differ by {percent(off)} of the time at most in a class."

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        if counted is not None:
            look: dict[str, Any] = {
                "color": colour("blue-soft"),
                "edgecolor": colour("blue"),
                "linewidth": 0.8,
            }
            axes.stairs(100 * counted, edges, fill=True, label="readings", **look)
        axes.plot(edges[:-1] + 0.5, 100 * fitted, color=colour("orange"), label="fitted")
        rule_at(axes, mean)
        top = ("data", "axes fraction")
        write(axes, f"mean {speed(mean, '.2f')}", (mean, 1), (4, -10), xycoords=top)
        axes.set(ylabel="share of time (%)", xlim=(0, edges[-1]))
        along_speed(axes, "wind speed")
        axes.legend(loc="upper right")

    return Chart(
        "wind-speeds",
        "How often each wind speed blows",
        message,
        in_reader_units(distribution.provenance.method),
        {
            "speed from (m/s)": edges[:-1].tolist(),
            "speed to (m/s)": edges[1:].tolist(),
            **({} if counted is None else {"readings (% of time)": (100 * counted).tolist()}),
            "fitted (% of time)": (100 * fitted).tolist(),
        },
        draw,
    )


def steps_to_hub_chart(builds: Sequence[BuildEstimate]) -> Chart:
    """Return the mean wind at every step from the mast to the hub of each build."""
    shown = drawn(builds)
    corrections = list(dict.fromkeys(step.step for _, build in shown for step in build.wind.steps))
    start = shown[0][1].wind.steps[0].before_ms
    parts = [
        f"{style.letter} has {speed(build.distribution.mean_speed_ms, '.2f')} at its hub, give or "
        f"take {percent(build.wind.standard_uncertainty)} (one standard uncertainty)"
        for style, build in shown
    ]

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for style, build in shown:
            steps = build.wind.steps
            speeds = [start, *(step.after_ms for step in steps)]
            places = [0, *(1 + corrections.index(step.step) for step in steps)]
            axes.plot(speeds, places, **line_of(style, build.name))
            axes.errorbar(
                speeds[-1],
                places[-1],
                xerr=speeds[-1] * build.wind.standard_uncertainty,
                color=colour(style.colour),
                capsize=4,
                linewidth=1,
            )
        axes.set_yticks(range(len(corrections) + 1), ["as measured", *corrections])
        ylim = (-0.4, len(corrections) + 0.4)
        finish(axes, grid="both", ylim=ylim)
        along_speed(axes, "mean wind speed")
        legend(figure)

    lines = [(style.letter, step) for style, build in shown for step in build.wind.steps]
    return Chart(
        "correction-steps",
        "From the mast to the hub",
        f"Measured: {speed(start, '.1f')}. " + "; ".join(parts) + ".",
        "each step multiplies the mean speed by its factor; whiskers are one standard uncertainty",
        {
            "build": [letter for letter, _ in lines],
            "step": [step.step for _, step in lines],
            "before (m/s)": [step.before_ms for _, step in lines],
            "factor (ratio)": [step.factor for _, step in lines],
            "after (m/s)": [step.after_ms for _, step in lines],
            "uncertainty of the factor (ratio)": [step.standard_uncertainty for _, step in lines],
        },
        draw,
        1.5 + 0.45 * len(corrections) + 0.2 * len(shown),
    )


def rose_chart(directions: Directions | None) -> Chart | None:
    """Return from where the wind blows, by time and by energy; None without directions."""
    if directions is None:
        return None
    sectors = directions.sectors
    names = [_compass(360 * number / len(sectors)) for number in range(len(sectors))]
    time_share = floats([sector.share for sector in sectors])
    energy_share = floats([sector.energy_share for sector in sectors])
    often, strong = int(time_share.argmax()), int(energy_share.argmax())
    message = (
        f"The wind blows most often from {names[often]} ({percent(time_share[often])} of "
        f"the time); most energy comes from {names[strong]} "
        f"({percent(energy_share[strong])} of it)."
    )

    def draw(figure: Figure) -> None:
        from matplotlib.ticker import MaxNLocator  # noqa: PLC0415

        axes = figure.add_subplot(projection="polar")
        axes.set_theta_zero_location("N")  # type: ignore[attr-defined]
        axes.set_theta_direction(-1)  # type: ignore[attr-defined]
        middle = np.arange(len(sectors)) * 2 * np.pi / len(sectors)
        width = 2 * np.pi / len(sectors)
        look: dict[str, Any] = {
            "color": colour("orange-soft"),
            "edgecolor": colour("orange"),
            "linewidth": 0.8,
        }
        axes.bar(middle, 100 * energy_share, width, label="energy in the wind", **look)
        axes.bar(middle, 100 * time_share, width / 2, label="time", color=colour("blue"), lw=0)
        axes.set_xticks(middle, names)
        finish(axes, grid="both", xlabel="share by direction the wind comes from (%)")
        axes.spines["polar"].set_visible(False)
        axes.yaxis.set_major_locator(MaxNLocator(3))
        axes.yaxis.set_major_formatter("{x:g} %")
        # Where the petals are shortest nothing hides the scale.
        axes.set_rlabel_position(np.degrees(middle[int(energy_share.argmin())]) + 15)  # type: ignore[attr-defined]
        figure.legend(loc="outside lower left", ncols=2)

    return Chart(
        "wind-directions",
        "From where the wind blows",
        message,
        f"readings in {len(sectors)} sectors, calms in none; energy by the cube of the speed",
        {
            "from": names,
            "middle (degrees)": [360 * number / len(sectors) for number in range(len(sectors))],
            "time (%)": (100 * time_share).tolist(),
            "energy in the wind (%)": (100 * energy_share).tolist(),
        },
        draw,
        3.9,
    )


def month_hour_chart(record: Record) -> Chart | None:
    """Return the mean speed by month and hour of day; None for daily or coarser readings."""
    if record.data_recovery.interval_s >= LONG_S:
        return None
    month = record.time.astype("datetime64[M]").astype(np.int64) % 12
    hours = record.time.astype("datetime64[h]").astype(np.int64) % _HOURS
    known = np.isfinite(record.speed_ms)
    cell = (month * _HOURS + hours)[known]
    count = np.bincount(cell, minlength=12 * _HOURS)
    total = np.bincount(cell, record.speed_ms[known], minlength=12 * _HOURS)
    count, total = count.reshape(12, _HOURS), total.reshape(12, _HOURS)
    mean, by_month, by_hour = (_mean(total.sum(axis), count.sum(axis)) for axis in ((), 1, 0))
    sure = without_months(by_month, record.data_recovery.missing_months)
    message = ""
    if np.isfinite(sure).sum() > 1:
        windiest, calmest = int(np.nanargmax(sure)), int(np.nanargmin(sure))
        message = (
            f"{calendar.month_name[windiest + 1]} is the windiest month of the record (mean "
            f"{speed(sure[windiest], '.1f')}), {calendar.month_name[calmest + 1]} the calmest "
            f"({speed(sure[calmest], '.1f')}); "
        )
    utc = " UTC" if record.in_utc else ""
    message += f"within the day it blows hardest around {int(np.nanargmax(by_hour))}:00{utc}."
    message = message[0].upper() + message[1:]

    return Chart(
        "wind-months-hours",
        "When it blows, by month and hour of day",
        message,
        "mean of the readings of each month and hour, as they stand in the record",
        {
            "month": _MONTHS,
            "mean speed (m/s)": known_or_none(by_month),
            **{f"{hour:02d}:00 (m/s)": known_or_none(mean[:, hour]) for hour in range(_HOURS)},
        },
        lambda figure: _speed_map(figure, as_shown(1.0, "m/s")[0] * mean),
        3.6,
    )


def _compass(degrees: float) -> str:
    """Return the nearest of the sixteen points of the compass."""
    return _COMPASS[round(degrees / 22.5) % len(_COMPASS)]


def _mean(total: FloatArray, count: npt.NDArray[np.int64]) -> FloatArray:
    """Return the means, NaN where nothing was counted."""
    return floats(np.divide(total, count, out=np.full(total.shape, np.nan), where=count > 0))


def _speed_map(figure: Figure, mean: FloatArray) -> None:
    from matplotlib.cm import ScalarMappable  # noqa: PLC0415
    from matplotlib.colors import BoundaryNorm, ListedColormap  # noqa: PLC0415
    from matplotlib.patches import PathPatch  # noqa: PLC0415
    from matplotlib.path import Path  # noqa: PLC0415
    from matplotlib.ticker import MaxNLocator  # noqa: PLC0415

    locator = MaxNLocator(len(CALM_TO_STRONG))
    steps = floats(locator.tick_values(float(np.nanmin(mean)), float(np.nanmax(mean))))
    steps = steps if steps.size > 2 else np.linspace(steps[0], steps[-1] + 1, 3)
    picks = np.linspace(0, len(CALM_TO_STRONG) - 1, steps.size - 1).round().astype(int)
    tints = [CALM_TO_STRONG[pick] for pick in picks]
    axes = figure.add_subplot()
    around = [Path.MOVETO, *3 * [Path.LINETO], Path.CLOSEPOLY]
    known, step_of = np.isfinite(mean), np.digitize(mean, steps[1:-1])
    # One shape for all the tiles of a step: pcolormesh would write each of the 288 by itself.
    for step in np.unique(step_of[known]).tolist():
        corners = np.argwhere(known & (step_of == step))[:, np.newaxis, ::-1] + _TILE
        shape = Path(corners.reshape(-1, 2), np.tile(around, len(corners)))
        # Without its edge hair lines show between the tiles.
        axes.add_artist(PathPatch(shape, color=tints[step], linewidth=0.4, joinstyle="round"))
    axes.grid(False)
    axes.set(xlabel="hour of day", xticks=range(0, _HOURS + 1, 6), xlim=(0, _HOURS), ylim=(12, 0))
    axes.set_yticks(np.arange(12) + 0.5, _MONTHS)
    scale = ScalarMappable(BoundaryNorm(steps, steps.size - 1), ListedColormap(tints))
    bar = figure.colorbar(scale, ax=axes, pad=0.02, drawedges=False)
    bar.outline.set_visible(False)
    bar.set_label(f"mean wind speed ({speed_unit()})")
