// Contour lines of a grid, after smoothing it enough that noise makes no islands.

// Mean over a square of cells; cells without a value neither give nor take.
function smoothed(values, nx, ny, reach) {
  const found = new Float64Array(values.length).fill(NaN);
  for (let j = 0; j < ny; j++) {
    for (let i = 0; i < nx; i++) {
      let sum = 0;
      let count = 0;
      for (let b = Math.max(0, j - reach); b <= Math.min(ny - 1, j + reach); b++) {
        for (let a = Math.max(0, i - reach); a <= Math.min(nx - 1, i + reach); a++) {
          const value = values[b * nx + a];
          if (Number.isFinite(value)) ((sum += value), count++);
        }
      }
      if (count && Number.isFinite(values[j * nx + i])) found[j * nx + i] = sum / count;
    }
  }
  return found;
}

// Line pieces [x0, y0, x1, y1] where values at cell middles cross a level; coordinates in cells.
function contourPieces(values, nx, ny, level) {
  const pieces = [];
  for (let j = 0; j + 1 < ny; j++) {
    for (let i = 0; i + 1 < nx; i++) {
      const corner = [
        values[j * nx + i],
        values[j * nx + i + 1],
        values[(j + 1) * nx + i + 1],
        values[(j + 1) * nx + i],
      ];
      if (corner.every(Number.isFinite)) square(corner, i, j, level, pieces);
    }
  }
  return pieces;
}

const CORNERS = [
  [0, 0],
  [1, 0],
  [1, 1],
  [0, 1],
];

function square(corner, i, j, level, pieces) {
  const ends = [];
  for (let e = 0; e < 4; e++) {
    const a = corner[e];
    const b = corner[(e + 1) % 4];
    if (a < level === b < level) continue;
    const t = (level - a) / (b - a);
    const [x0, y0] = CORNERS[e];
    const [x1, y1] = CORNERS[(e + 1) % 4];
    ends.push(i + 0.5 + x0 + t * (x1 - x0), j + 0.5 + y0 + t * (y1 - y0));
  }
  if (ends.length === 4) pieces.push(ends);
  if (ends.length === 8) saddle(corner, ends, level, pieces);
}

// Four crossings: the mean says which pairs belong together.
function saddle(corner, ends, level, pieces) {
  const high = corner.reduce((sum, value) => sum + value, 0) / 4 >= level;
  const pairs =
    corner[0] >= level === high
      ? [
          [0, 1],
          [2, 3],
        ]
      : [
          [3, 0],
          [1, 2],
        ];
  for (const [a, b] of pairs) pieces.push([ends[2 * a], ends[2 * a + 1], ends[2 * b], ends[2 * b + 1]]);
}

function drawContours(sheet, values, surface, scale) {
  const [ny, nx] = surface.shape;
  const soft = smoothed(smoothed(values, nx, ny, 1), nx, ny, 1);
  const stepX = surface.xEdges[1] - surface.xEdges[0];
  const stepY = surface.yEdges[1] - surface.yEdges[0];
  for (const level of scale.levels) {
    sheet.pen.beginPath();
    for (const [x0, y0, x1, y1] of contourPieces(soft, nx, ny, level)) {
      sheet.pen.moveTo(sheet.x(surface.xEdges[0] + x0 * stepX), sheet.y(surface.yEdges[0] + y0 * stepY));
      sheet.pen.lineTo(sheet.x(surface.xEdges[0] + x1 * stepX), sheet.y(surface.yEdges[0] + y1 * stepY));
    }
    sheet.stroke(scale.ink(level), 1.1);
  }
}
