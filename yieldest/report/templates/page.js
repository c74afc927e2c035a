"use strict";
// Energy is looked up in tables that yieldest computed; the few sums of money are its own sums in
// economics/cash_flow.py and economics/measures.py, and a test holds them to those.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const { builds, terms, words, figures } = data;
  const form = document.getElementById("sliders");
  const sliders = new Map([...form.querySelectorAll(".slider")].map((one) => [one.dataset.key, one]));
  const stated = new Map(data.sliders.map((one) => [one.key, one]));
  const verdict = document.getElementById("verdict");
  const planned = { verdict: [...verdict.childNodes], cells: new Map() };
  const rows = [...document.querySelectorAll("#builds tbody tr")];
  rows.forEach((row) => row.querySelectorAll("td").forEach((cell) => {
    const [value, range] = cell.children;
    planned.cells.set(cell, [value.textContent, range.textContent, value.className]);
  }));
  planned.labels = rows.map((row) => row.cells[0].textContent);
  const places = builds.map((build) => ({ ...build.stated }));
  const chosen = () => Number(form.querySelector("input[name=build]:checked").value);

  const setting = (key, otherwise) => {
    const slider = sliders.get(key);
    return slider ? stated.get(key).stops[Number(slider.querySelector("input").value)] : otherwise;
  };

  // Sums by year of an expenditure, own work at a wage.
  const byYear = (build, count, wage, years) => {
    const [unpaid, ofWage] = build.paid[count];
    const at = (key) => unpaid[key] + wage * ofWage[key];
    const spread = (key) => {
      const sums = new Array(years + 1).fill(0);
      for (const [y, sum] of unpaid[key]) if (y <= years) sums[y] += sum;
      for (const [y, sum] of ofWage[key]) if (y <= years) sums[y] += wage * sum;
      return sums;
    };
    return {
      capital: at("capital_cost"), upkeep: at("maintenance_per_year"), salvage: at("salvage_value"),
      again: spread("replacement_costs"), extra: spread("maintenance_in_years"),
    };
  };

  // Present values and balances of one case; `by` holds what the draws multiply or add.
  const money = (paid, s, kwh, by) => {
    const life = Math.max(1, Math.floor(s.life * by.life + 0.5));
    const rate = s.rate + by.discount_rate;
    const used = s.used(kwh * by.usual_year), sells = (1 - used) * s.exported * by.price;
    const earns = used * s.price * by.price + sells;
    const capital = by.bill * paid.capital;
    const grant = Math.min(terms.grant + terms.grant_share * capital, capital);
    let balance = grant - capital, discounted = balance, cost = capital - grant, energy = 0, sold = 0;
    const balances = [balance];
    let back = balance < 0 ? null : 0;
    for (let y = 1; y <= life; y += 1) {
      let spent = by.bill * by.upkeep * (paid.upkeep + paid.extra[y]);
      if (y < life) spent += by.bill * paid.again[y];
      else spent -= by.bill * paid.salvage;
      const made = kwh * by.usual_year * (1 - terms.degradation) ** (y - 1);
      const risen = made * (1 + terms.escalation) ** (y - 1), worth = (1 + rate) ** -y;
      const net = risen * earns - spent;
      const before = balance;
      balance += net;
      discounted += net * worth;
      cost += spent * worth;
      energy += made * worth;
      sold += risen * sells * worth;
      balances.push(balance);
      if (balance < 0) back = null;
      else if (before < 0) back = y - 1 - before / net;
    }
    return {
      balances, payback_years: back, net_present_value: discounted,
      cost_per_kwh: energy > 0 ? cost / energy : null, capital_cost: capital, life,
      cost_per_used_kwh: energy * used > 0 ? (cost - sold) / (energy * used) : null,
    };
  };

  // Straight on beyond the outermost quantiles, as in model/scenarios.py.
  const follow = (value, here, there) => {
    let piece = 0;
    while (piece < here.length - 2 && here[piece + 1] <= value) piece += 1;
    const width = here[piece + 1] - here[piece];
    const part = width > 0 ? (value - here[piece]) / width : 0;
    return there[piece] + part * (there[piece + 1] - there[piece]);
  };

  const between = (value, here, there) =>
    value <= here[0] ? there[0] : value >= here.at(-1) ? there.at(-1) : follow(value, here, there);

  // What has no value comes last, as the worst.
  const ends = (values) => {
    const sorted = values.map((one) => (one === null ? Infinity : one)).sort((a, b) => a - b);
    return [0.05, 0.95].map((level) => {
      const place = level * (sorted.length - 1), below = Math.floor(place);
      const found = sorted[below] + (place - below) * (sorted[Math.min(below + 1, sorted.length - 1)] - sorted[below]);
      return Number.isFinite(found) ? found : null;
    });
  };

  const central = { usual_year: 1, life: 1, price: 1, discount_rate: 0, bill: 1, upkeep: 1 };

  const resultOf = (build, place) => {
    const wind = sliders.get("wind").querySelector("input").value;
    const at = stated.get("wind").stated;
    const kwh = build.kwh[wind][place.height][place.count];
    const s = {
      price: setting("price", terms.stated_price),
      used: (made) => (build.used ? Math.min(1, here * between(made, ...build.used_at) / there) : setting("used", terms.used)),
      wage: setting("wage", terms.wage), life: setting("life", 1), rate: setting("rate", 0),
      bill: setting("bill", 1),
    };
    const here = build.used?.[wind][place.height][place.count], there = build.used && between(kwh, ...build.used_at);
    // What a sold kWh earns follows what a bought one costs.
    s.exported = terms.stated_price ? build.export * s.price / terms.stated_price : build.export;
    const found = { net_kwh_per_year: kwh, ranges: {} };
    if (build.used) {
      found.self_consumption_share = s.used(kwh);
      // Hours without power are known at the plan's own energy alone.
      if (kwh !== build.kwh[at][build.stated.height][build.stated.count]) found.hours_without_power = undefined;
    }
    const { draws } = build;
    const carried = (key, name) => draws[key].map((one) => follow(
      one, build[name][at][build.stated.height], build[name][wind][place.height]));
    if (draws) found.ranges.net_kwh_per_year = ends(carried("one_year", "one_quantiles").map((one) => one * kwh));
    if (!build.paid.length) return found;
    const scale = (by) => ({ ...by, bill: by.bill * s.bill });
    const longest = Math.max(s.life, ...(draws ? draws.life.map((one) => Math.floor(s.life * one + 0.5)) : []));
    const paid = byYear(build, place.count, s.wage, longest);
    Object.assign(found, money(paid, s, kwh, scale(central)));
    found.labour_hours = build.paid[place.count][1].capital_cost;
    if (!draws) return found;
    const usual = carried("usual_year", "usual_quantiles");
    const cases = usual.map((one, i) => money(paid, s, kwh, scale({
      usual_year: one, life: draws.life[i], price: draws.price[i],
      discount_rate: draws.discount_rate[i], bill: draws.bill[i], upkeep: draws.upkeep[i],
    })));
    for (const key of ["cost_per_kwh", "cost_per_used_kwh", "payback_years", "net_present_value"]) {
      found.ranges[key] = ends(cases.map((one) => one[key]));
    }
    found.chance = cases.filter((one) => one.net_present_value >= 0).length / cases.length;
    found.band = Array.from({ length: s.life + 1 }, (_, y) =>
      ends(cases.map((one) => one.balances[Math.min(y, one.life)])));
    return found;
  };

  const minus = (text) => text.replace("-", "\u2212");
  const written = (value, digits) => {
    if (value === null) return words.never;
    if (value === 0) return "0";
    const whole = digits > 2 && Math.abs(value) >= 1;
    const shown = whole ? Math.min(digits, 1 + Math.floor(Math.log10(Math.abs(value)))) : digits;
    return minus(value.toLocaleString("en", { minimumSignificantDigits: shown, maximumSignificantDigits: shown }));
  };
  const amount = (value) => {
    const text = written(Math.abs(value), 3);
    return `${value < 0 ? "\u2212" : ""}${data.sign === null ? `${text} ${data.currency}` : data.sign + text}`;
  };
  const chance = (share) =>
    share > 0.99 ? words.over : share < 0.01 ? words.below : `${(100 * share).toFixed(0)}\u00a0%`;
  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, key) => values[key]);

  const who = (i) => (builds.length > 1 ? `${builds[i].letter}, “${builds[i].name}”` : `“${builds[i].name}”`);
  const sentence = (results) => {
    const priced = results.map((one, i) => [one.net_present_value, i]).filter(([npv]) => npv !== undefined && terms.priced);
    if (!priced.length) {
      const [kwh, i] = results.map((one, place) => [one.net_kwh_per_year, place]).sort((a, b) => b[0] - a[0])[0];
      return fill(words.energy, { who: who(i), kwh: written(kwh, 3) });
    }
    const [gain, i] = priced.sort((a, b) => b[0] - a[0])[0];
    const { chance: share, payback_years: back } = results[i];
    const likely = share === undefined ? gain > 0 : share >= data.likely;
    return fill(gain < 0 ? words.lose : likely ? words.make : words.edge, {
      who: who(i), years: written(back, 2), amount: amount(Math.abs(gain)), life: setting("life", 1),
      chance: share === undefined ? "" : fill(words.chance, { chance: chance(share) }),
    });
  };

  // As long as a sentence on each build can be, for which room is kept.
  const longest = () => builds.flatMap((_, i) => ["make", "edge", "lose", "energy"].map((key) => fill(words[key], {
    who: who(i), years: "88.8", kwh: "88,888", amount: amount(88888), life: 88, chance: fill(words.chance, { chance: words.over }),
  })));

  const tabulate = (results) => {
    const price = setting("price", terms.stated_price);
    rows.forEach((row, i) => {
      const [label, stated_] = planned.labels[i].split(words.bought.split("{")[0]);
      row.cells[0].textContent = stated_ === undefined || price === terms.stated_price ? planned.labels[i]
        : label + fill(words.bought, { price: price.toFixed(2) });
    });
    for (const row of rows) {
      const { key } = row.dataset, figure = figures[key];
      // Builds beyond those that are drawn stay as they are.
      const cells = [...row.querySelectorAll("td")].filter((cell) => results[cell.dataset.build]);
      const of = cells.map((cell) => results[cell.dataset.build]);
      const texts = cells.map((cell, i) => {
        const value = of[i][key];
        const [shown, range] = cell.children;
        if (!(key in of[i])) return (shown.textContent = planned.cells.get(cell)[0]);
        shown.dataset.value = value ?? "";
        shown.textContent = value === undefined ? words.unknown : key === "chance" ? chance(value)
          : figure.share ? `${written(100 * value, figure.digits)}\u00a0%` : written(value, figure.digits);
        const both = of[i].ranges[key];
        if (both) {
          range.dataset.value = both.map((one) => (one === null ? "" : one)).join(" ");
          range.textContent = both[0] === null && both[1] === null ? "" : both.map((one) => written(one, 2)).join(` ${words.to} `);
        }
        return shown.textContent;
      });
      if (!figure || !figure.better || cells.length < 2) continue;
      const sign = figure.better === "higher" ? -1 : 1;
      const values = of.map((one) => sign * (one[key] ?? Infinity));
      const best = values.indexOf(Math.min(...values));
      const alone = values[best] < Infinity && texts.filter((text) => text === texts[best]).length === 1;
      cells.forEach((cell, i) => { cell.children[0].className = alone && i === best ? "best" : ""; });
    }
  };

  const drawing = document.getElementById("live");
  const draw = (results) => {
    const shown = results.map((one, i) => ({ ...one, ...builds[i] })).filter((one) => one.balances);
    if (!drawing || !shown.length || !terms.priced) return;
    drawing.hidden = false;
    drawing.previousElementSibling.classList.add("static");
    const width = Math.max(280, drawing.clientWidth || 560);
    // Beside the table it ends where the table does.
    const [table, here] = [rows[0].closest("table"), drawing].map((one) => one.getBoundingClientRect());
    const beside = here.left > table.right;
    const height = width < 480 ? 260 : Math.min(400, Math.max(300, beside ? table.bottom - here.top : 0));
    const years = shown[0].balances.length - 1;
    const all = shown.flatMap((one) => [one.net_present_value, ...one.balances, ...(one.band || []).flat()]);
    const step = ((span) => {
      const size = 10 ** Math.floor(Math.log10(span / 5));
      return [1, 2, 5, 10].map((times) => times * size).find((one) => span / one <= 6);
    })(Math.max(...all, 0) - Math.min(...all, 0) || 1);
    const low = Math.floor(Math.min(...all, 0) / step) * step;
    const high = Math.max(low + step, Math.ceil(Math.max(...all, 0) / step) * step);
    const said = (sum) => (Math.abs(sum) < step / 2 ? "0"
      : `${sum < 0 ? "\u2212" : ""}${data.sign ?? ""}${Math.abs(sum).toLocaleString("en")}`);
    const [right, top, bottom] = [26, 12, 40], left = 14 + 8 * Math.max(said(low).length, said(high).length);
    const x = (y) => left + (y / years) * (width - left - right);
    const y = (sum) => top + ((high - sum) / (high - low)) * (height - top - bottom);
    const space = "http://www.w3.org/2000/svg";
    const root = document.createElementNS(space, "svg");
    const add = (tag, attributes, text) => {
      const one = document.createElementNS(space, tag);
      for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
      if (text !== undefined) one.textContent = text;
      root.append(one);
    };
    root.setAttribute("viewBox", `0 0 ${width} ${height}`);
    root.setAttribute("role", "img");
    root.setAttribute("aria-label", sentence(results));
    for (let sum = low; sum <= high + step / 2; sum += step) {
      const look = Math.abs(sum) < step / 2 ? "zero" : "axis";
      add("line", { x1: left, x2: width - right, y1: y(sum), y2: y(sum), class: look });
      add("text", { x: left - 8, y: y(sum) + 4, "text-anchor": "end" }, said(sum));
    }
    const every = [1, 2, 5, 10, 20].find((one) => years / one <= 8);
    for (let year = 0; year <= years; year += every) {
      add("text", { x: x(year), y: height - bottom + 18, "text-anchor": "middle" }, year);
    }
    add("text", { x: width - right, y: height - 4, "text-anchor": "end" }, words.axis);
    const line = (sums) => sums.map((sum, year) => `${x(year)},${y(sum)}`).join(" ");
    for (const one of shown) {
      if (!one.band) continue;
      const points = `${line(one.band.map(([least]) => least))} ${one.band.map(([, most], year) => `${x(year)},${y(most)}`).reverse().join(" ")}`;
      add("polygon", { points, fill: `var(--${one.colour})`, "fill-opacity": 0.13 });
    }
    const ends_ = [];
    for (const one of shown) {
      const stroke = `var(--${one.colour})`;
      add("polyline", { points: line(one.balances), fill: "none", stroke, "stroke-width": 2.5, "stroke-dasharray": one.dashes });
      const worth = y(one.net_present_value), edge = width - right;
      add("path", { d: `M${edge} ${worth - 6}l6 6l-6 6l-6 -6z`, fill: "var(--paper)", stroke, "stroke-width": 2 });
      let at = y(one.balances[years]) + 5;
      while (ends_.some((other) => Math.abs(other - at) < 15)) at += 15;
      ends_.push(at);
      add("text", { x: edge + 9, y: at, class: `mark ink-${one.colour}` }, one.letter);
    }
    const marks = [];
    for (const one of shown.filter((each) => each.payback_years)) {
      const middle = x(one.payback_years), stroke = `var(--${one.colour})`;
      let at = y(0) - 12;
      while (marks.some(([across, up]) => Math.abs(across - middle) < 90 && Math.abs(up - at) < 15)) at -= 17;
      marks.push([middle, at]);
      add("circle", { cx: middle, cy: y(0), r: 5.5, fill: stroke, stroke: "var(--paper)", "stroke-width": 2 });
      add("text", { x: Math.max(middle, left + 90), y: at, "text-anchor": "end", class: `mark halo ink-${one.colour}` },
        `${one.letter} ${fill(words.years, { years: written(one.payback_years, 2) })}`.trim());
    }
    drawing.replaceChildren(root);
  };

  const spelled = (key, stop) => stated.get(key).said.replace("{}",
    (stop * stated.get(key).times).toLocaleString("en", stated.get(key).decimals
      ? { minimumFractionDigits: stated.get(key).decimals, maximumFractionDigits: stated.get(key).decimals }
      : { maximumSignificantDigits: 3 }));

  const show = () => {
    const set = [];
    for (const [key, slider] of sliders) {
      const input = slider.querySelector("input"), own = stated.get(key).own;
      const build = builds[chosen()];
      const stops = own ? build.stops[key] : stated.get(key).stops;
      const text = spelled(key, stops[Number(input.value)]);
      slider.querySelector("output").textContent = own && builds.length > 1 ? `${build.letter}: ${text}` : text;
      input.setAttribute("aria-valuetext", text);
      const { label } = stated.get(key);
      if (own) {
        builds.forEach((each, i) => {
          if (places[i][key] !== each.stated[key]) set.push(`${label} ${spelled(key, each.stops[key][places[i][key]])}${each.letter && ` (${each.letter})`}`);
        });
      } else if (Number(input.value) !== stated.get(key).stated) set.push(`${label} ${text}`);
    }
    const results = builds.map((build, i) => resultOf(build, places[i]));
    const moved = set.length > 0;
    const lead = document.getElementById("lead");
    lead.textContent = moved ? fill(words.lead_set, { what: set.join(", ") }) : words.lead_plan;
    lead.classList.toggle("set", moved);
    tabulate(results);
    draw(results);
    if (moved) {
      const said = document.createElement("p");
      said.textContent = sentence(results);
      verdict.replaceChildren(said);
    } else {
      verdict.replaceChildren(...planned.verdict);
      // At the plan itself all its draws speak, not those that the page carries.
      for (const [cell, [value, range, best]] of planned.cells) {
        [cell.children[0].textContent, cell.children[1].textContent, cell.children[0].className] = [value, range, best];
      }
    }
    clearTimeout(show.waiting);
    show.waiting = setTimeout(() => { document.getElementById("spoken").textContent = moved ? sentence(results) : ""; }, 700);
  };

  const turnTo = () => {
    for (const [key, slider] of sliders) {
      if (!stated.get(key).own) continue;
      const input = slider.querySelector("input");
      input.max = builds[chosen()].stops[key].length - 1;
      input.value = places[chosen()][key];
    }
  };
  const reset = () => {
    builds.forEach((build, i) => { places[i] = { ...build.stated }; });
    for (const [key, slider] of sliders) {
      const input = slider.querySelector("input"), of = stated.get(key);
      if (of.own) continue;
      input.max = of.stops.length - 1;
      input.value = of.stated;
    }
    turnTo();
    show();
  };
  form.addEventListener("input", (event) => {
    const { key } = event.target.closest(".slider")?.dataset ?? {};
    if (key === undefined) turnTo();
    else if (stated.get(key).own) places[chosen()][key] = Number(event.target.value);
    show();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  document.getElementById("back").addEventListener("click", reset);
  // Nothing below the answer jumps while a slider moves.
  const hold = () => {
    const shown = [...verdict.childNodes], said = document.createElement("p");
    verdict.style.minHeight = "";
    const heights = [verdict.getBoundingClientRect().height];
    verdict.replaceChildren(said);
    for (const text of longest()) {
      said.textContent = text;
      heights.push(verdict.getBoundingClientRect().height);
    }
    verdict.replaceChildren(...shown);
    verdict.style.minHeight = `${Math.max(...heights)}px`;
  };
  form.hidden = false;
  reset();
  hold();
  let wide = innerWidth;
  addEventListener("resize", () => { if (innerWidth !== wide) { wide = innerWidth; hold(); show(); } });
  document.getElementById("printed").textContent = `, ${new Date().toLocaleDateString("en", { dateStyle: "long" })}`;
  // A link to what is folded away opens it.
  const open = () => { const to = document.getElementById(location.hash.slice(1)); if (to instanceof HTMLDetailsElement) to.open = true; };
  addEventListener("hashchange", open);
  open();
})();
