// General colour rendering index Ra (CIE 13.3-1995): how near eight test colours come to what they look like in
// a reference light of the same colour temperature. `xyz`: X, Y, Z of a white sheet, then of the test colours.

const TEST_COLOURS = 8;
const LIGHT_NAMES = Array.from({ length: TEST_COLOURS + 1 }, (_, n) =>
  ["X", "Y", "Z"].map((letter) => `${letter}${n || ""}`),
).flat();

function openRendering(rendering, read) {
  for (const name of ["black", "daylight"]) rendering[name].xyz = read(rendering[name].xyz);
  return rendering;
}

// The same in the reference light: a black body below 5000 K, daylight above.
function referenceLight(kelvin, rendering) {
  const mired = 1e6 / kelvin;
  const { first, step, xyz } = mired > rendering.turn ? rendering.black : rendering.daylight;
  const n = 3 * (TEST_COLOURS + 1);
  const at = Math.max(0, Math.min(xyz.length / n - 1.000001, (mired - first) / step));
  const i = Math.floor(at);
  return Array.from({ length: n }, (_, k) => xyz[n * i + k] + (at - i) * (xyz[n * (i + 1) + k] - xyz[n * i + k]));
}

// CIE 1960 u, v and Y of each, Y of the sheet 100.
function uvY(xyz) {
  const light = 100 / xyz[1];
  return Array.from({ length: TEST_COLOURS + 1 }, (_, n) => {
    const [x, y, z] = [xyz[3 * n], xyz[3 * n + 1], xyz[3 * n + 2]];
    const sum = x + 15 * y + 3 * z;
    return [(4 * x) / sum, (6 * y) / sum, light * y];
  });
}

const cOf = ([u, v]) => (4 - u - 10 * v) / v;
const dOf = ([u, v]) => (1.708 * v + 0.404 - 1.481 * u) / v;

// u, v as an eye sees them that is used to the reference light instead (von Kries, as CIE 13.3 has it).
function adapted(colour, from, to) {
  const c = (cOf(to) / cOf(from)) * cOf(colour);
  const d = (dOf(to) / dOf(from)) * dOf(colour);
  const below = 16.518 + 1.481 * c - d;
  return [(10.872 + 0.404 * c - 4 * d) / below, 5.52 / below, colour[2]];
}

function uniform([u, v, y], [u0, v0]) {
  const w = 25 * Math.cbrt(y) - 17;
  return [13 * w * (u - u0), 13 * w * (v - v0), w];
}

// NaN where it has no meaning: no colour temperature, or too far from white.
function renderingIndex(xyz, kelvin, duv, rendering) {
  if (!(Math.abs(duv) <= rendering.limit)) return NaN;
  const here = uvY(xyz);
  const there = uvY(referenceLight(kelvin, rendering));
  let sum = 0;
  for (let n = 1; n <= TEST_COLOURS; n++) {
    const seen = uniform(adapted(here[n], here[0], there[0]), there[0]);
    const wanted = uniform(there[n], there[0]);
    sum += 100 - 4.6 * Math.hypot(...seen.map((value, k) => value - wanted[k]));
  }
  return sum / TEST_COLOURS;
}
