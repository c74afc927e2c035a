"use strict";
// Moves between results that were computed beforehand; no formula of wind or money is in here.
(() => {
  const grids = JSON.parse(document.getElementById("grids").textContent);
  const panel = document.getElementById("sliders");
  const sliders = [...panel.querySelectorAll(".slider")];
  const live = document.getElementById("live");
  const cells = [...document.querySelectorAll("#outcome tr[data-key]")];
  const spoken = document.getElementById("spoken");

  // A slider's position counts in parts of a step between grid points.
  const place = (slider) => {
    const parts = Number(slider.dataset.parts);
    const position = Number(slider.querySelector("input").value);
    return { step: Math.floor(position / parts), part: (position % parts) / parts };
  };
  const between = (values, { step, part }) =>
    part === 0 ? values[step] : values[step] + part * (values[step + 1] - values[step]);

  // Straight lines between grid points along every axis; null where a needed point has no value.
  const interpolate = (surface, places) => {
    let corners = [{ index: 0, weight: 1 }];
    surface.over.forEach((key, axis) => {
      const { step, part } = places[key];
      corners = corners.flatMap(({ index, weight }) => {
        const here = { index: index * surface.shape[axis] + step, weight: weight * (1 - part) };
        if (part === 0) return [here];
        return [here, { index: here.index + 1, weight: weight * part }];
      });
    });
    let sum = 0;
    for (const { index, weight } of corners) {
      if (surface.values[index] === null) return null;
      sum += weight * surface.values[index];
    }
    return sum;
  };

  const shown = (value, digits, none) =>
    value === null
      ? none
      : value.toLocaleString("en", { maximumSignificantDigits: digits, minimumSignificantDigits: value ? digits : 1 });

  const chosen = () => grids[Number(panel.querySelector("input[name=build]:checked").value)];

  const update = () => {
    const grid = chosen();
    const places = {};
    for (const slider of sliders) {
      const axis = grid.axes.find((one) => one.key === slider.dataset.key);
      if (!axis) continue;
      places[axis.key] = place(slider);
      const value = between(axis.values, places[axis.key]);
      const text = axis.said.replace("{}", (value * axis.times).toLocaleString("en", { maximumSignificantDigits: 3 }));
      slider.querySelector("output").textContent = text;
      slider.querySelector("input").setAttribute("aria-valuetext", text);
    }
    const said = [];
    for (const row of cells) {
      const surface = grid.surfaces.find((one) => one.key === row.dataset.key);
      row.hidden = !surface;
      if (!surface) continue;
      const value = interpolate(surface, places);
      const [planned, yours] = row.querySelectorAll("td > span");
      planned.textContent = shown(surface.stated, surface.digits, surface.none);
      yours.textContent = shown(value, surface.digits, surface.none);
      yours.dataset.value = value === null ? "" : String(value);
      said.push(`${row.querySelector("th").textContent}: ${yours.textContent}`);
    }
    clearTimeout(update.waiting);
    update.waiting = setTimeout(() => { spoken.textContent = said.join("; "); }, 700);
  };

  const reset = () => {
    const grid = chosen();
    for (const slider of sliders) {
      const axis = grid.axes.find((one) => one.key === slider.dataset.key);
      slider.hidden = !axis;
      if (!axis) continue;
      const input = slider.querySelector("input");
      slider.dataset.parts = axis.whole ? 1 : 20;
      input.max = (axis.values.length - 1) * slider.dataset.parts;
      input.value = axis.stated * slider.dataset.parts;
    }
    update();
  };

  panel.addEventListener("input", (event) => (event.target.name === "build" ? reset() : update()));
  document.getElementById("back").addEventListener("click", reset);
  reset();
  panel.hidden = false;
  live.hidden = false;

  let opened = [];
  addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    opened.forEach((one) => { one.open = true; });
  });
  addEventListener("afterprint", () => opened.forEach((one) => { one.open = false; }));
})();
