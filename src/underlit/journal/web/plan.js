// The map from above: light on the soil or on one level of the water, what stands there, and the chosen spot.

const PLAN_PAD = [52, 10, 10, 44];

function drawPlan(state) {
  const { tank, surface } = state;
  const { values, sure } = state.difference ? differenceOf(state) : { values: tank.openDensity(surface) };
  const scale = state.difference
    ? differenceScale(state, values)
    : state.scale(state.level ? "tank" : "soil");
  const [length, width] = tank.size;
  const glass = tank.glass;
  const sheet = new Sheet(el("plan"), [-glass, length + glass, -glass, width + glass], PLAN_PAD);
  state.planSheet = sheet;
  sheet.path([
    [-glass, -glass],
    [length + glass, -glass],
    [length + glass, width + glass],
    [-glass, width + glass],
  ]);
  sheet.fill(themeInk("glass"));
  sheet.path([
    [0, 0],
    [length, 0],
    [length, width],
    [0, width],
  ]);
  sheet.fill(themeInk("faint"));
  sheet.cells(surface.xEdges, surface.yEdges, (c) => {
    if (!Number.isFinite(values[c])) return null;
    return scale.rgb(sure && !sure[c] ? 0.25 * values[c] : values[c]);
  });
  if (el("show-bands").checked) drawContours(sheet, values, surface, scale);
  if (el("show-things").checked) drawThings(sheet, tank, state.level > 0);
  if (el("show-lamps").checked) drawLampOutlines(sheet, tank);
  if (el("show-zones").checked) drawZoneOutlines(sheet, tank);
  drawMeters(sheet, tank, surface, values);
  if (state.spot) drawCross(sheet, state.spot.place);
  sheet.axes("cm from the left", "cm from the front");
  drawScale(el("plan-scale"), scale);
  describe(el("plan"), planWords(state, values));
  el("plan-caption").textContent = planCaption(state);
  el("plan-reading").textContent = spotWords(state);
  fillPlanTable(state, values);
}

function levelWords(state) {
  const { surface, level } = state;
  if (!level) return "on the soil";
  const height = surface.centre[2];
  const depth = state.tank.water - height;
  return `${cm(height)} cm above the bottom` + (depth > 0 ? `, ${cm(depth)} cm under the surface` : "");
}

function planCaption(state) {
  const what = state.difference ? "PPFD of B less that of A" : "PPFD";
  const where = state.level
    ? `on the horizontal plane ${levelWords(state)}`
    : "on a horizontal plane just above the soil";
  const pale = state.difference ? " Pale cells differ by less than two standard errors." : "";
  return `${what} ${where}, in ${UNIT}.${pale}`;
}

function planWords(state, values) {
  const known = Array.from(values)
    .filter(Number.isFinite)
    .sort((a, b) => a - b);
  if (!known.length) return `Map from above. ${planCaption(state)} Nothing is open here.`;
  const [low, middle, high] = [0.1, 0.5, 0.9].map((q) => short(known[Math.round(q * (known.length - 1))], 2));
  return `Map from above. ${planCaption(state)} A tenth of the area is below ${low}, half below ${middle}, nine tenths below ${high}.`;
}

// B less A on the shown surface of B; A is read at the same place, on the level nearest in height. `sure`:
// two standard errors or more.
function differenceOf(state) {
  const [a, b] = state.tanks;
  const there = state.surface;
  const here = state.level ? nearestPlane(a, there.centre[2]) : a.soilGround;
  const light = [a.openDensity(here), b.openDensity(there)];
  const errors = [a.openErrors(here), b.openErrors(there)];
  const values = new Float32Array(there.cells);
  const sure = new Uint8Array(there.cells);
  for (let c = 0; c < there.cells; c++) {
    const other = gridCell(here, there.centre[3 * c], there.centre[3 * c + 1]);
    values[c] = light[1][c] - light[0][other];
    sure[c] = Math.abs(values[c]) >= 2 * Math.hypot(errors[1][c], errors[0][other]);
  }
  return { values, sure };
}

function nearestPlane(tank, height) {
  return tank.planes.reduce((best, plane) =>
    Math.abs(plane.centre[2] - height) < Math.abs(best.centre[2] - height) ? plane : best,
  );
}

function differenceScale(state, values) {
  const sizes = Float32Array.from(values).filter(Number.isFinite).map(Math.abs).sort();
  const reach = sizes.length ? sizes[Math.floor(0.995 * (sizes.length - 1))] : 1;
  return new Scale(roundUp(reach), [], state.shared.differenceRamp, true);
}

function drawThings(sheet, tank, faint) {
  for (const outline of tank.outlines) {
    if (!faint) {
      sheet.pen.beginPath();
      for (const line of outline.standing) sheet.extend(pairs(line));
      hatch(sheet);
    }
    sheet.pen.beginPath();
    for (const line of outline.above) sheet.extend(pairs(line));
    sheet.haloed(1.1, [], 1.4);
  }
}

// Where a stone stands, nothing can grow: grey stripes.
function hatch(sheet) {
  sheet.fill(themeInk("hardscape"));
  sheet.pen.save();
  sheet.pen.clip("evenodd");
  for (let px = -sheet.height; px < sheet.width; px += 7)
    sheet.line(px, sheet.height, px + sheet.height, 0, "rgba(0,0,0,0.45)");
  sheet.pen.restore();
}

function pairs(flat) {
  return Array.from({ length: flat.length / 2 }, (_, i) => [flat[2 * i], flat[2 * i + 1]]);
}

function drawLampOutlines(sheet, tank) {
  for (const fixture of tank.fixtures) {
    sheet.path(fixture.corners);
    sheet.stroke("rgba(0,0,0,0.55)", 3.4);
    sheet.stroke("#ffc76a", 1.8, [7, 5]);
  }
}

function drawZoneOutlines(sheet, tank) {
  const labels = [];
  const small = sheet.width < 500;
  for (const zone of tank.zones) {
    if (!zone.outline) continue;
    sheet.path(zone.outline);
    sheet.stroke("rgba(255,255,255,0.9)", small ? 2.4 : 4);
    sheet.stroke("#11603a", small ? 1.3 : 2, [1, small ? 3 : 4]);
    const corner = zone.outline.reduce((best, point) =>
      point[0] - point[1] < best[0] - best[1] ? point : best,
    );
    labels.push([
      small ? zone.name : `${zone.name} ${zone.band.join("–")}`,
      sheet.x(corner[0]) + 6,
      sheet.y(corner[1]) + 11,
    ]);
  }
  for (const [words, px, py] of labels) {
    const fits = Math.min(px, sheet.width - 7 * words.length - 4);
    sheet.text(words, fits, py, { colour: "#0b4a2c", halo: "rgba(255,255,255,0.92)", size: small ? 11 : 12.5 });
  }
}

function drawMeters(sheet, tank, surface, values) {
  for (const meter of tank.meters) {
    for (const [x, y] of meter.points) {
      const value = values[gridCell(surface, x, y)];
      sheet.pen.beginPath();
      sheet.pen.arc(sheet.x(x), sheet.y(y), 3, 0, 7);
      sheet.fill("#fff");
      sheet.stroke("#111", 1.2);
      sheet.text(short(value, 3), sheet.x(x) + 6, sheet.y(y) - 6, { halo: "#fff", colour: "#111", size: 11 });
    }
  }
}

function drawCross(sheet, [x, y]) {
  const px = sheet.x(x);
  const py = sheet.y(y);
  for (const [colour, width] of [
    ["#fff", 4],
    ["#b3261e", 2],
  ]) {
    sheet.pen.beginPath();
    sheet.pen.arc(px, py, 6, 0, 7);
    for (const [dx, dy] of [
      [1, 0],
      [-1, 0],
      [0, 1],
      [0, -1],
    ]) {
      sheet.pen.moveTo(px + 6 * dx, py + 6 * dy);
      sheet.pen.lineTo(px + 12 * dx, py + 12 * dy);
    }
    sheet.stroke(colour, width);
  }
}

// The same map as a small table, in the places of a sketch: back row on top.
function fillPlanTable(state, values) {
  const { surface, tank } = state;
  const columns = Math.max(3, Math.min(7, Math.round(tank.size[0] / 0.15)));
  const rows = 3;
  const cells = Array.from({ length: rows * columns }, () => []);
  for (let c = 0; c < surface.cells; c++) {
    if (!Number.isFinite(values[c])) continue;
    const i = Math.min(columns - 1, Math.floor((surface.centre[3 * c] / tank.size[0]) * columns));
    const j = Math.min(rows - 1, Math.floor((surface.centre[3 * c + 1] / tank.size[1]) * rows));
    cells[j * columns + i].push(values[c]);
  }
  const mean = (list) => (list.length ? short(list.reduce((a, b) => a + b, 0) / list.length, 3) : DASH);
  const head = Array.from(
    { length: columns },
    (_, i) => `${cm((i / columns) * tank.size[0])}–${cm(((i + 1) / columns) * tank.size[0])} cm`,
  );
  const body = ["front", "middle", "back"]
    .map((name, j) => [name, ...head.map((_, i) => mean(cells[j * columns + i]))])
    .reverse();
  fillTable(el("plan-table"), ["from the left", ...head], body);
}

// PPFD at a place of the map; with two tanks on it, of both.
function planReading(state, [x, y]) {
  const read = (tank, surface) => {
    const light = tank.cell(surface, gridCell(surface, x, y));
    return withError(light.value, light.error);
  };
  if (!state.difference) return read(state.tank, state.surface);
  const [a, b] = state.tanks;
  const other = state.level ? nearestPlane(a, state.surface.centre[2]) : a.soilGround;
  return `A ${read(a, other)}, B ${read(b, state.surface)}`;
}
