// Key figures, lamps and their cost, where the light ends.

function fillTable(table, head, rows) {
  const key = JSON.stringify([head, rows]);
  if (table.dataset.key === key) return;
  table.dataset.key = key;
  const cells = (row) =>
    row.map((text, i) => (i ? make("td", {}, text) : make("th", { scope: "row" }, text)));
  const body = make("tbody", {}, ...rows.map((row) => make("tr", {}, ...cells(row))));
  const heading = make(
    "thead",
    {},
    make("tr", {}, ...head.map((text) => make("th", { scope: "col" }, text))),
  );
  table.replaceChildren(...(table.caption ? [table.caption] : []), heading, body);
}

function money(tank, value) {
  return `${short(value, value < 10 ? 2 : 3)} ${tank.day.currency}`.trim();
}

function keyFigures(tank) {
  const soil = zoneReport(tank, wholeReport(tank));
  const perDay = tank.fullHours() * MOL_PER_UMOL_HOUR;
  return [
    ["soil", "Soil, median PPFD", withError(soil.median.value, soil.median.error), UNIT],
    [
      "dli",
      "Soil, DLI",
      withError(soil.median.value * perDay, soil.median.error * perDay),
      "mol\u00a0m⁻²\u00a0d⁻¹",
    ],
    ["power", "Power", short(tank.power(), 3), "W"],
    ["energy", "Energy a year", short(tank.kwhPerYear(), 3), "kWh"],
    [
      "cost",
      "Cost a year",
      tank.tariff > 0 ? short(tank.costPerYear(), 3) : DASH,
      tank.tariff > 0 ? tank.day.currency : "no tariff",
    ],
  ];
}

function wholeReport(tank) {
  return Object.assign(tank.openSoil, { band: null, target: NaN, ceiling: Infinity, name: "all open soil" });
}

function drawKeys(state) {
  const figures = keyFigures(state.tank);
  const box = el("keys");
  if (!box.children.length) {
    box.append(
      ...figures.map(([id, name]) =>
        make(
          "div",
          { class: "key" },
          make("dt", {}, name),
          make("dd", {}, make("b", { id: `key-${id}` }), make("span", { id: `unit-${id}` })),
        ),
      ),
    );
  }
  for (const [id, , value, unit] of figures) {
    el(`key-${id}`).textContent = value;
    el(`unit-${id}`).textContent = unit;
  }
  drawVerdicts(state);
  drawColour(state.tank);
  el("command").textContent = commandWords(state.tank);
}

function drawColour(tank) {
  const samples = LIGHT_NAMES.map((name) => tank.soilSamples(name));
  const lux = ofSamples(tank.soilSamples("photopic"));
  const xyz = samples.slice(0, 3).map((each) => ofSamples(each).value);
  const lit = xyz[1] > 0;
  el("sheet").style.background = lit ? sheetColour(xyz) : "transparent";
  const share = (name) => ofSamples(tank.soilSamples(name)).value / ofSamples(tank.soilSamples("PAR")).value;
  const shares = ["blue", "green", "red"].map((name) => `${name} ${percent(share(name))} %`);
  const colour = lit ? colourWords(tank, samples[0].map((_, k) => samples.map((each) => each[k]))) : "";
  el("soil-colour").textContent = lit
    ? `${colour}; ${shares.join(", ")} of PAR; ${withError(lux.value, lux.error)} lx`
    : "no light";
}

// Colour temperature, Duv and Ra of light, from samples of X, Y, Z of a white sheet and the test colours.
function colourWords(tank, samples) {
  const [kelvin, duv, ra] = ofFunction((xyz) => {
    const found = temperature(xyz, tank.locus);
    return found ? [...found, renderingIndex(xyz, ...found, tank.rendering)] : [NaN, NaN, NaN];
  }, samples);
  if (!Number.isFinite(kelvin.value)) return "too far from white for a colour temperature";
  const index = Number.isFinite(ra.value)
    ? `Ra ${withError(ra.value, Math.max(ra.error, 0.1), 3)}`
    : "too far from white for an Ra";
  const sign = duv.value > -0.5e-4 ? "+" : "−";
  return `${withError(kelvin.value, Math.max(kelvin.error, 5), 3)} K, Duv ${sign}${Math.abs(duv.value).toFixed(4)}, ${index}`;
}

function drawLamps(state) {
  const { tank } = state;
  const rows = tank.channels.map((c, m) => [
    c.label,
    `${short(100 * tank.dims[m])}`,
    short(tank.dims[m] * c.power),
    short(tank.dims[m] * c.ppf),
    c.power > 0 ? short(c.ppf / c.power) : DASH,
  ]);
  rows.push([
    "all",
    "",
    short(tank.power()),
    short(tank.ppf()),
    tank.power() > 0 ? short(tank.ppf() / tank.power()) : DASH,
  ]);
  const seen = tank.lampLight();
  el("lamp-colour").textContent = seen[1] > 0 ? colourWords(tank, [seen]) : "none";
  fillTable(el("lamp-table"), ["channel", "setting, %", "power, W", "PPF, µmol s⁻¹", "µmol per joule"], rows);
  const prices = new Map(tank.channels.map((channel) => [channel.fixture, channel.price]));
  const price = [...prices.values()].some((each) => each !== null)
    ? [...prices.values()].reduce((sum, each) => sum + (each ?? 0), 0)
    : null;
  const years = [1, 3, 5].map((n) => [
    n === 1 ? "1 year" : `${n} years`,
    short(n * tank.kwhPerYear()),
    tank.tariff > 0 ? money(tank, n * tank.costPerYear()) : DASH,
    tank.tariff > 0 && price !== null ? money(tank, price + n * tank.costPerYear()) : DASH,
  ]);
  fillTable(el("cost-table"), ["after", "energy, kWh", "energy costs", "with the lamps' price"], years);
}

function drawEnds(state) {
  const ends = state.tank.ends().filter((end) => end.value >= 0.05);
  const most = ends.length ? ends[0].value : 1;
  fillTable(
    el("ends-table"),
    ["where 100 photons end", "photons", "in proportion"],
    ends.map((end) => [end.name, withError(end.value, end.error), ""]),
  );
  for (const [n, row] of [...el("ends-table").tBodies[0].rows].entries()) {
    row.lastElementChild.replaceChildren(
      make("span", { class: "stripe", style: `width:${(100 * ends[n].value) / most}%` }),
    );
  }
}

// One sentence on what has changed, for screen readers, once the reader has stopped.
function announce(state) {
  clearTimeout(state.announcing);
  state.announcing = setTimeout(() => {
    const { tank } = state;
    const figures = keyFigures(tank);
    const reports = tank.zones.map((zone) => zoneReport(tank, zone));
    const zones = reports.map((report) => `${report.zone.name} ${verdictWords(report)}`);
    const who = state.tanks.length > 1 ? `${"AB"[state.shown]}: ` : "";
    el("status").textContent =
      `${who}${verdictHeadline(reports)} ${figures.map(([, name, value, unit]) => `${name} ${value} ${unit}`).join(". ")}. ${zones.join(", ")}.`;
  }, 500);
}
