// Plant zones as bars, with their verdicts, and in a table.

const SIGNS = { "too dark": "▼▼", low: "▼", right: "✓", bright: "▲", "too bright": "▲▲" };

function verdictWords(report) {
  return report.sure ? report.verdict : `${report.verdict}, just`;
}

// One row for each plant zone: bar, verdict, numbers, and a button that dims to it.
function drawZones(state) {
  const { tank } = state;
  const reports = tank.zones.map((zone) => zoneReport(tank, zone));
  const top = roundUp(
    Math.max(...reports.map((r) => Math.max(r.p90.value * 1.08, r.zone.band[1] * 1.15)), 1),
  );
  const list = el("zone-bars");
  if (list.dataset.tank !== String(state.shown)) {
    list.dataset.tank = String(state.shown);
    list.replaceChildren(...reports.map((report, n) => zoneRow(state, n)));
  }
  reports.forEach((report, n) => drawZoneRow(tank, list.children[n], report, top));
  const perDay = tank.fullHours() * MOL_PER_UMOL_HOUR;
  const few = reports.some((r) => r.few.length);
  const e = (estimate, factor = 1) => withError(factor * estimate.value, factor * estimate.error);
  fillTable(
    el("zone-table"),
    [
      "zone",
      "read on",
      "band",
      "P10",
      "median",
      "P90",
      "in band, %",
      "over ceiling, %",
      "DLI",
      "dim all to, %",
      "bound by",
      "verdict",
      ...(few ? ["too few photons for"] : []),
    ],
    reports.map((r) => [
      r.zone.name,
      surfaceWords(tank, tank.byName.get(r.zone.surface)),
      r.zone.band.join("–"),
      e(r.p10),
      e(r.median),
      e(r.p90),
      e(r.inBand, 100),
      e(r.above, 100),
      e(r.median, perDay),
      e(r.dimTo),
      r.binds,
      verdictWords(r),
      ...(few ? [r.few.join(", ")] : []),
    ]),
  );
  el("zone-cautions").replaceChildren(...zoneCautions(tank, reports).map((text) => make("p", {}, text)));
}

function zoneRow(state, n) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "bar");
  svg.setAttribute("role", "img");
  const dim = make("button", { type: "button", class: "dim" }, "");
  dim.addEventListener("click", () => {
    const factor = Number(dim.dataset.factor);
    state.setDims(
      state.shown,
      state.tank.dims.map((value) => Math.min(1, value * factor)),
    );
  });
  return make(
    "li",
    { id: `zone-${n}` },
    make("h3", {}, ""),
    make("span", { class: "verdict" }, ""),
    svg,
    make("div", { class: "ticks", "aria-hidden": "true" }),
    make("p", { class: "words" }, ""),
    dim,
  );
}

function drawZoneRow(tank, row, report, top) {
  const { zone, median, p10, p90, dimTo } = report;
  const words = verdictWords(report);
  row.querySelector("h3").textContent = zone.name;
  const verdict = row.querySelector(".verdict");
  verdict.textContent = `${SIGNS[report.verdict]} ${words}`;
  verdict.dataset.verdict = report.verdict;
  drawBar(row.querySelector("svg"), report, top);
  drawTicks(row.querySelector(".ticks"), [0, ...zone.band, top], top);
  row.querySelector(".words").textContent =
    `Median ${withError(median.value, median.error)}; a tenth of the area gets less than ${about(p10)}, a tenth more than ${about(p90)}. Wanted ${zone.band.join("–")}, target ${short(zone.target)}.`;
  const dim = row.querySelector(".dim");
  const most = Math.max(...tank.dims);
  const possible = Number.isFinite(dimTo.value) && (dimTo.value / 100) * most <= 1.0005;
  dim.disabled = !possible || Math.abs(dimTo.value - 100) < 0.5;
  dim.dataset.factor = dimTo.value / 100;
  const bound = report.binds === "ceiling" ? "under the ceiling" : "to the target";
  if (!Number.isFinite(dimTo.value)) dim.textContent = "No light here";
  else
    dim.textContent = possible
      ? `Set all to ${withError(dimTo.value, dimTo.error)} % of now: ${bound}`
      : `Wants ${withError(dimTo.value, dimTo.error)} % of now: more than full`;
}

function drawBar(svg, report, top) {
  const { zone, p10, median, p90 } = report;
  const x = (value) => Math.max(0, Math.min(100, (100 * value) / top));
  const [low, high] = zone.band;
  const part = (kind, a, b, y, h) =>
    `<rect class="${kind}" x="${x(a)}" y="${y}" width="${Math.max(x(b) - x(a), 0.4)}" height="${h}"/>`;
  const mark = (kind, at, y, h, w) =>
    `<rect class="${kind}" x="${x(at) - w / 2}" y="${y}" width="${w}" height="${h}"/>`;
  svg.setAttribute("viewBox", "0 0 100 12");
  svg.setAttribute("preserveAspectRatio", "none");
  svg.innerHTML =
    part("ground", 0, top, 0, 12) +
    part("band", low, high, 0, 12) +
    part("range", p10.value, p90.value, 4, 4) +
    part("error", median.value - median.error, median.value + median.error, 2.6, 6.8) +
    mark("median", median.value, 1.4, 9.2, 0.7) +
    mark("ceiling", zone.ceiling, 0, 12, 0.5);
  svg.setAttribute(
    "aria-label",
    `${zone.name}: wanted ${low} to ${high}; median ${short(median.value)}, from ${short(p10.value)} to ${short(p90.value)}, on a scale up to ${short(top)}.`,
  );
}

// Numbers below a bar: its ends and the band's; what would touch is left out.
function drawTicks(box, values, top) {
  const kept = [];
  for (const value of [values[1], values[2], 0, top]) {
    if (value <= top && kept.every((other) => Math.abs(other - value) > 0.09 * top)) kept.push(value);
  }
  box.replaceChildren(
    ...kept.map((value) =>
      make(
        "span",
        { style: `left:${(100 * value) / top}%`, class: value === 0 ? "first" : value === top ? "last" : "" },
        short(value),
      ),
    ),
  );
}

function zoneCautions(tank, reports) {
  const found = tank.unread.map((text) => `Not read: ${text}`);
  const bright = reports.filter(({ zone, p90 }) => p90.value > zone.carbon);
  if (bright.length) {
    const each = bright.map(({ zone }) => `${zone.name} (over ${short(zone.carbon)})`);
    found.push(
      `A tenth of the area or more is brighter than is usual without added CO₂, where algae gain: ${each.join(", ")}; in ${UNIT}.`,
    );
  }
  for (const { zone, few } of reports) {
    if (few.length) found.push(tooFewWords(zone, few));
    if (zone.target < zone.band[0] || zone.target > zone.band[1])
      found.push(
        `${zone.name}: its target of ${short(zone.target)} lies outside its band of ${zone.band.join(" to ")}; the verdict goes by the band, the dimming by the target.`,
      );
  }
  return found;
}

function tooFewWords(zone, few) {
  const piece = zone.surface.startsWith("hardscape ") && zone.surface.slice(10);
  const larger = piece ? `a larger patch of ${piece}` : "larger cells";
  return `${zone.name}: its ${piece ? "patches" : "cells"} have too few photons for ${few.join(", ")}; the errors allow for that. More photons or ${larger} make it sharper.`;
}
