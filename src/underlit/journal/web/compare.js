// Two tanks side by side, at the settings that each has now.

function drawComparison(state) {
  if (state.tanks.length < 2) return;
  const [a, b] = state.tanks;
  const soil = [a, b].map((tank) => zoneReport(tank, wholeReport(tank)));
  const rows = [
    pairRow("soil: median PPFD", soil[0].median, soil[1].median),
    pairRow("soil: mean PPFD", soil[0].mean, soil[1].mean),
    pairRow("soil: P10 over median", soil[0].evenness, soil[1].evenness),
    pairRow("power, W", exact(a.power()), exact(b.power())),
    pairRow("PPF, µmol s⁻¹", exact(a.ppf()), exact(b.ppf())),
    pairRow("soil: mean PPFD per watt", perWatt(soil[0], a), perWatt(soil[1], b)),
    pairRow("energy a year, kWh", exact(a.kwhPerYear()), exact(b.kwhPerYear())),
    ...(a.tariff > 0 && b.tariff > 0
      ? [pairRow(`cost a year, ${a.day.currency}`, exact(a.costPerYear()), exact(b.costPerYear()))]
      : []),
  ];
  for (const zone of a.zones) {
    const other = b.zones.find((each) => each.name === zone.name);
    if (!other) continue;
    const [ra, rb] = [zoneReport(a, zone), zoneReport(b, other)];
    rows.push(pairRow(`${zone.name}: median PPFD`, ra.median, rb.median));
    rows.push([
      `${zone.name}: verdict`,
      verdictWords(ra),
      verdictWords(rb),
      ra.verdict === rb.verdict ? "the same" : "",
    ]);
  }
  fillTable(el("compare-table"), ["quantity", "A", "B", "B less A"], rows);
  drawPair(state);
}

const perWatt = (soil, tank) => scaled(soil.mean, 1 / tank.power());

function pairRow(name, a, b) {
  const { value, error } = difference(a, b);
  const sign = value > 0 ? "+" : "";
  const number = (each) => (each.error === 0 ? short(each.value) : withError(each.value, each.error));
  const words = number({ value, error }).replace(/^-/, "−");
  const sure = error > 0 && Math.abs(value) < 2 * error ? ", not sure" : "";
  return [name, number(a), number(b), `${sign}${words}${sure}`];
}

// Both soils on one scale.
function drawPair(state) {
  const scale = state.scale("soil");
  state.tanks.forEach((tank, n) => {
    const canvas = el(`pair-${"AB"[n]}`);
    const soil = tank.soilGround;
    const values = tank.openDensity(soil);
    const sheet = new Sheet(canvas, [0, tank.size[0], 0, tank.size[1]], [40, 8, 8, 28], 300);
    sheet.path([
      [0, 0],
      [tank.size[0], 0],
      [tank.size[0], tank.size[1]],
      [0, tank.size[1]],
    ]);
    sheet.fill(themeInk("faint"));
    sheet.cells(soil.xEdges, soil.yEdges, (c) => (Number.isFinite(values[c]) ? scale.rgb(values[c]) : null));
    drawContours(sheet, values, soil, scale);
    drawThings(sheet, tank, false);
    sheet.axes("", "");
    const report = zoneReport(tank, wholeReport(tank));
    describe(
      canvas,
      `${"AB"[n]}, ${tank.title}: light on the soil, median ${withError(report.median.value, report.median.error)} ${UNIT}.`,
    );
    el(`pair-${"AB"[n]}-caption`).textContent = `${"AB"[n]}: ${tank.title}`;
  });
  drawScale(el("pair-scale"), scale);
}
