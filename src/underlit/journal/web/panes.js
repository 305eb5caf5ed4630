// The inside of the panes, folded out as seen from the front: where algae will be wiped.

function drawPanes(state) {
  for (const side of ["left", "front", "right", "back"]) {
    el(`pane-${side}`).closest("figure").hidden = !state.tank.byName.has(`pane ${side}`);
  }
  const scale = state.scale("panes");
  for (const pane of state.tank.panes) drawPane(state, pane, scale);
  drawScale(el("panes-scale"), scale);
}

function drawPane(state, pane, scale) {
  const { tank } = state;
  const side = pane.name.split(" ")[1];
  const canvas = el(`pane-${side}`);
  const [ny, nx] = pane.shape;
  const values = tank.openDensity(pane);
  const sheet = new Sheet(canvas, [0, pane.xEdges[nx], 0, pane.yEdges[ny]], [40, 6, 8, 40], 260);
  sheet.path([
    [0, 0],
    [pane.xEdges[nx], 0],
    [pane.xEdges[nx], pane.yEdges[ny]],
    [0, pane.yEdges[ny]],
  ]);
  sheet.fill(themeInk("soil"));
  const dry = (c) => tank.water > 0 && pane.centre[3 * c + 2] > tank.water;
  sheet.cells(pane.xEdges, pane.yEdges, (c) => (Number.isFinite(values[c]) ? scale.rgb(values[c]) : null));
  drawPaneSoil(sheet, tank, side, pane.xEdges);
  drawAir(sheet, tank, pane.xEdges[nx], pane.yEdges[ny]);
  if (tank.water > 0)
    sheet.line(sheet.x(0), sheet.y(tank.water), sheet.x(pane.xEdges[nx]), sheet.y(tank.water), "#3d8fa8");
  const wet = Array.from(values).filter((value, c) => Number.isFinite(value) && !dry(c));
  sheet.axes(side === "left" || side === "right" ? "cm from the front" : "cm from the left", "");
  const [middle, most] = [0.5, 0.9].map((q) => quantileOf(wet, q));
  describe(
    canvas,
    `Inside of the ${side} pane. Median under water ${short(middle, 2)}, a tenth gets more than ${short(most, 2)} ${UNIT}.`,
  );
  canvas.onclick = (event) => {
    const frame = canvas.getBoundingClientRect();
    const [x, y] = sheet.at(event.clientX - frame.left, event.clientY - frame.top);
    if (x >= 0 && y >= 0 && x < pane.xEdges[nx] && y < pane.yEdges[ny])
      chooseCell(state, pane, gridCell(pane, x, y));
  };
}

// The soil along a pane, as it lies, over cells that it only partly fills.
function drawPaneSoil(sheet, tank, side, edges) {
  const place = {
    front: (u) => [u, 0],
    back: (u) => [u, tank.size[1]],
    left: (u) => [0, u],
    right: (u) => [tank.size[0], u],
  }[side];
  const line = edges.slice(0, -1).flatMap((u, i) => {
    const height = tank.soilHeight(...place((u + edges[i + 1]) / 2));
    return [
      [u, height],
      [edges[i + 1], height],
    ];
  });
  sheet.path([[0, 0], ...line, [edges[edges.length - 1], 0]]);
  sheet.fill(themeInk("soil"));
}

// Above the water the pane matters little: shown pale.
function drawAir(sheet, tank, wide, high) {
  if (!(tank.water > 0)) return;
  sheet.path([
    [0, tank.water],
    [wide, tank.water],
    [wide, high],
    [0, high],
  ]);
  sheet.pen.globalAlpha = 0.75;
  sheet.fill(themeInk("paper"));
  sheet.pen.globalAlpha = 1;
}

function quantileOf(list, q) {
  const sorted = Float64Array.from(list).sort();
  return sorted.length ? sorted[Math.round(q * (sorted.length - 1))] : NaN;
}
