// What the 3-D library is given: meshes with a value on each triangle, and lines.

function meshTrace(tank, part, scale) {
  const [x, y, z] = [0, 1, 2].map((k) => part.vertices.filter((_, i) => i % 3 === k));
  const [i, j, k] = [0, 1, 2].map((c) => part.faces.filter((_, n) => n % 3 === c));
  return {
    type: "mesh3d",
    x,
    y,
    z,
    i,
    j,
    k,
    intensity: painted(tank, part, scale),
    intensitymode: "cell",
    cmin: 0,
    cmax: scale.top,
    colorscale: stops(scale),
    showscale: false,
    hoverinfo: "skip",
    flatshading: true,
    visible: !part.hidden,
    opacity: part.sheet ? 0.82 : 1,
    lighting: part.sheet
      ? { ambient: 1, diffuse: 0, specular: 0, fresnel: 0 }
      : { ambient: 0.84, diffuse: 0.3, specular: 0, fresnel: 0, roughness: 1 },
    lightposition: { x: 0, y: -1e5, z: 1e5 },
  };
}

// Value of each triangle; where next to nothing of a cell is open, what little light it caught.
function painted(tank, part, scale) {
  const open = tank.openDensity(part.surface);
  const whole = tank.density(part.surface);
  return Float32Array.from(part.cell, (c) =>
    Math.min(Number.isFinite(open[c]) ? open[c] : whole[c], scale.top),
  );
}

// The soil as a body: its edges go down to the bottom.
function skirtTrace(tank) {
  const { vertices } = tank.soilMesh;
  const nx = tank.soilGround.shape[1] + 1;
  const count = vertices.length / 3;
  const ny = count / nx;
  const ring = [];
  for (let i = 0; i < nx; i++) ring.push(i);
  for (let j = 1; j < ny; j++) ring.push(j * nx + nx - 1);
  for (let i = nx - 2; i >= 0; i--) ring.push((ny - 1) * nx + i);
  for (let j = ny - 2; j >= 0; j--) ring.push(j * nx);
  const at = (v, k) => vertices[3 * v + k];
  const n = ring.length;
  const i = [];
  const j = [];
  const k = [];
  for (let a = 0; a + 1 < n; a++) {
    i.push(a, a + 1);
    j.push(a + 1, n + a + 1);
    k.push(n + a, n + a);
  }
  const twice = (c) => [...ring.map((v) => at(v, c)), ...ring.map((v) => (c < 2 ? at(v, c) : 0))];
  return {
    type: "mesh3d",
    x: twice(0),
    y: twice(1),
    z: twice(2),
    i,
    j,
    k,
    color: themeInk("soil"),
    hoverinfo: "skip",
    lighting: { ambient: 0.9, diffuse: 0.2, specular: 0, fresnel: 0 },
  };
}

// Edges of the tank, its water line, its lamps; then the spot and what it sees of the lamps.
function lineTraces(tank) {
  const [l, w, h] = tank.size;
  const ink = themeInk("frame");
  const box = (z) => [
    [0, 0, z],
    [l, 0, z],
    [l, w, z],
    [0, w, z],
    [0, 0, z],
  ];
  const posts = [
    [0, 0],
    [l, 0],
    [l, w],
    [0, w],
  ].map(([x, y]) => [
    [x, y, 0],
    [x, y, h],
  ]);
  const lamps = tank.fixtures.map((fixture) => [...fixture.corners, fixture.corners[0]]);
  return [
    lineTrace([box(0), box(h), ...posts], ink, 3),
    lineTrace(tank.water > 0 ? [box(tank.water)] : [], "#3d8fa8", 4),
    lineTrace(lamps, themeInk("lamp"), 8),
    lineTrace([], "#d9a03c", 2),
    lineTrace([], "#b5478f", 2),
    skirtTrace(tank),
    {
      type: "scatter3d",
      mode: "markers",
      x: [],
      y: [],
      z: [],
      hoverinfo: "skip",
      marker: { size: 7, color: "#b3261e", line: { color: "#fff", width: 2 } },
    },
  ];
}

function stops(scale) {
  return Array.from({ length: 33 }, (_, i) => [i / 32, scale.css((i / 32) * scale.top)]);
}

function lineTrace(lines, colour, width) {
  return {
    type: "scatter3d",
    mode: "lines",
    ...pointsOf(lines),
    hoverinfo: "skip",
    line: { color: colour, width },
    connectgaps: false,
  };
}

function pointsOf(lines) {
  const joined = lines.flatMap((line) => [...line, [null, null, null]]);
  return { x: joined.map((p) => p[0]), y: joined.map((p) => p[1]), z: joined.map((p) => p[2]) };
}

// A grid surface as triangles; cells in which nothing is open are left out.
function gridMesh(surface, tank) {
  if (surface.asMesh) return surface.asMesh;
  const [ny, nx] = surface.shape;
  const side = surface.name.split(" ")[1];
  const place = {
    front: (u, v) => [u, 0, v],
    back: (u, v) => [u, tank.size[1], v],
    left: (u, v) => [0, u, v],
    right: (u, v) => [tank.size[0], u, v],
  };
  const at = place[side] ?? ((u, v) => [u, v, surface.centre[2]]);
  const vertices = surface.yEdges.flatMap((v) => surface.xEdges.flatMap((u) => at(u, v)));
  const faces = [];
  const cell = [];
  for (let c = 0; c < surface.cells; c++) {
    if (surface.open && surface.open[c] < LEAST_OPEN) continue;
    const a = Math.floor(c / nx) * (nx + 1) + (c % nx);
    const b = a + 1;
    const d = a + nx + 1;
    faces.push(a, b, d + 1, a, d + 1, d);
    cell.push(c, c);
  }
  surface.asMesh = {
    vertices: Float32Array.from(vertices),
    faces: Uint32Array.from(faces),
    cell: Uint32Array.from(cell),
  };
  return surface.asMesh;
}
