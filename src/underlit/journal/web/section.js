// Two upright sections through the chosen spot: along the tank, and from front to back.

const SECTION_PAD = [52, 10, 10, 44];
const SECTION_ROWS = 90;

function drawSections(state) {
  const { tank } = state;
  for (const figure of el("sections").querySelectorAll("figure, .frame")) figure.hidden = !tank.planes.length;
  if (!tank.planes.length) return;
  const scale = state.scale("tank");
  const [x, y] = state.spot.place;
  const tallest = el("section-x").parentElement.clientWidth < 500 ? 300 : 420;
  drawSection(state, el("section-x"), 0, y, scale, tallest);
  drawSection(state, el("section-y"), 1, x, scale, tallest);
  el("section-x-caption").textContent = `${cm(y)} cm from the front`;
  el("section-y-caption").textContent = `${cm(x)} cm from the left`;
  drawScale(el("section-scale"), scale);
}

function drawSection(state, canvas, axis, at, scale, tallest) {
  const { tank } = state;
  const span = tank.size[axis];
  const high = tank.size[2];
  const lamps = tank.fixtures.map((fixture) => lampSpan(fixture, axis));
  const top = Math.max(high, ...lamps.map((lamp) => lamp[2])) + 0.03;
  const glass = tank.glass;
  const sheet = new Sheet(canvas, [-glass, span + glass, -glass, top], SECTION_PAD, tallest);
  drawGlass(sheet, span, high, glass);
  const grid = sectionGrid(tank, axis, at);
  const xEdges = grid.edges;
  const yEdges = Float64Array.from({ length: SECTION_ROWS + 1 }, (_, j) => (j / SECTION_ROWS) * grid.top);
  sheet.cells(
    xEdges,
    yEdges,
    (c) => (Number.isFinite(grid.values[c]) ? scale.rgb(grid.values[c]) : null),
    true,
  );
  drawContours(sheet, grid.values, { shape: [SECTION_ROWS, xEdges.length - 1], xEdges, yEdges }, scale);
  sheet.path([[0, 0], ...grid.soil, [span, 0]]);
  sheet.fill(themeInk("soil"));
  drawCut(sheet, tank, axis, at);
  if (tank.water > 0)
    sheet.line(sheet.x(0), sheet.y(tank.water), sheet.x(span), sheet.y(tank.water), "#3d8fa8");
  for (const [from, to, z] of lamps) {
    sheet.path(
      [
        [from, z],
        [to, z],
      ],
      false,
    );
    sheet.stroke(themeInk("lamp"), 5);
  }
  if (state.spot) drawCross(sheet, [state.spot.place[axis], state.spot.place[2]]);
  sheet.axes(axis ? "cm from the front" : "cm from the left", "cm high");
  describe(canvas, sectionWords(axis, at, grid));
}

function lampSpan(fixture, axis) {
  const along = fixture.corners.map((corner) => corner[axis]);
  const z = fixture.corners.map((corner) => corner[2]);
  return [Math.min(...along), Math.max(...along), z.reduce((a, b) => a + b, 0) / z.length];
}

function drawGlass(sheet, span, high, glass) {
  sheet.path([
    [-glass, high],
    [-glass, -glass],
    [span + glass, -glass],
    [span + glass, high],
    [span, high],
    [span, 0],
    [0, 0],
    [0, high],
  ]);
  sheet.fill(themeInk("glass"));
}

// Light in an upright plane: straight between the planes that were counted on, and the soil.
function sectionGrid(tank, axis, at) {
  const first = tank.planes[0];
  const edges = axis ? first.yEdges : first.xEdges;
  const n = edges.length - 1;
  const top = tank.water > 0 ? tank.water : tank.size[2];
  const values = new Float32Array(n * SECTION_ROWS).fill(NaN);
  const soil = [];
  for (let i = 0; i < n; i++) {
    const along = (edges[i] + edges[i + 1]) / 2;
    const place = axis ? [at, along] : [along, at];
    const height = tank.soilHeight(...place);
    soil.push([edges[i], height], [edges[i + 1], height]);
    const stops = columnStops(tank, place, height);
    for (let j = 0; j < SECTION_ROWS; j++) {
      const z = ((j + 0.5) / SECTION_ROWS) * top;
      if (z > height) values[j * n + i] = alongStops(stops, z);
    }
  }
  return { edges, values, soil, top };
}

function columnStops(tank, [x, y], height) {
  const read = (surface) => tank.openDensity(surface)[gridCell(surface, x, y)];
  const stops = [[height, read(tank.soilGround)]];
  for (const plane of tank.planes) {
    const z = plane.centre[2];
    const value = read(plane);
    if (z > height + 0.002 && Number.isFinite(value)) stops.push([z, value]);
  }
  return stops.filter((stop) => Number.isFinite(stop[1]));
}

function alongStops(stops, z) {
  if (!stops.length) return NaN;
  let i = 0;
  while (i < stops.length - 1 && stops[i + 1][0] < z) i++;
  if (i === stops.length - 1 || z <= stops[0][0]) return stops[Math.min(i, stops.length - 1)][1];
  const [z0, v0] = stops[i];
  const [z1, v1] = stops[i + 1];
  return v0 + ((z - z0) / (z1 - z0)) * (v1 - v0);
}

// Stones and wood where the plane cuts them.
function drawCut(sheet, tank, axis, at) {
  for (const piece of tank.pieces) {
    sheet.pen.beginPath();
    for (const loop of cutLoops(piece, 1 - axis, at))
      sheet.extend(loop.map((point) => [point[axis], point[2]]));
    sheet.fill(themeInk("hardscape"));
    sheet.stroke("#111", 1.1);
  }
}

// Closed lines in which a mesh meets the plane coordinate `axis` = `at`: chains of crossings, edge to edge.
function cutLoops({ vertices, faces }, axis, at) {
  const next = new Map();
  const points = new Map();
  const side = (v) => vertices[3 * v + axis] - at >= 0;
  const crossing = (a, b) => {
    const [low, high] = a < b ? [a, b] : [b, a],
      key = low * 1e7 + high;
    if (!points.has(key)) points.set(key, onEdge(vertices, low, high, axis, at));
    return key;
  };
  for (let f = 0; f < faces.length; f += 3) {
    const crossed = [];
    for (let e = 0; e < 3; e++) {
      const a = faces[f + e];
      const b = faces[f + ((e + 1) % 3)];
      if (side(a) !== side(b)) crossed.push([crossing(a, b), side(a)]);
    }
    if (crossed.length === 2) {
      const [from, to] = crossed[0][1] ? crossed : [crossed[1], crossed[0]];
      if (!next.has(from[0])) next.set(from[0], to[0]);
    }
  }
  return chained(next, points);
}

function onEdge(vertices, a, b, axis, at) {
  const t = (at - vertices[3 * a + axis]) / (vertices[3 * b + axis] - vertices[3 * a + axis]);
  return [0, 1, 2].map((k) => vertices[3 * a + k] + t * (vertices[3 * b + k] - vertices[3 * a + k]));
}

function chained(next, points) {
  const loops = [];
  for (const start of points.keys()) {
    const loop = [];
    for (let key = start; next.has(key);) {
      loop.push(points.get(key));
      const to = next.get(key);
      next.delete(key);
      key = to;
    }
    if (loop.length > 2) loops.push(loop);
  }
  return loops;
}

function sectionWords(axis, at, grid) {
  const known = Array.from(grid.values).filter(Number.isFinite);
  const high = known.length
    ? short(
        known.reduce((a, b) => Math.max(a, b)),
        2,
      )
    : DASH;
  const low = known.length
    ? short(
        known.reduce((a, b) => Math.min(a, b)),
        2,
      )
    : DASH;
  const where = axis
    ? `from front to back, ${cm(at)} cm from the left`
    : `along the tank, ${cm(at)} cm from the front`;
  return `Upright section ${where}. PPFD from ${low} to ${high} ${UNIT}.`;
}
