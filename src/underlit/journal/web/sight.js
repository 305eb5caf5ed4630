// Who shades a spot: rays go from it up through the level water surface to the lamps. They carry what the lamp
// sends that way; the first thing met takes it. Light by way of panes or other surfaces is left out.

const RAYS = 12000;
const MOST_TESTED = 420;
const SHOWN_RAYS = 36;

const minus = (a, b) => a.map((value, k) => value - b[k]);
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const unit = (a) => a.map((value) => value / Math.hypot(...a));
const along = (origin, direction, t) => origin.map((value, k) => value + t * direction[k]);

// First triangle that a ray meets beyond `least` and before `most` (Moller and Trumbore 1997).
function nearestFace({ vertices: v, faces }, [ox, oy, oz], [dx, dy, dz], least, most) {
  let best = null;
  for (let f = 0; f < faces.length; f += 3) {
    const a = 3 * faces[f];
    const b = 3 * faces[f + 1];
    const c = 3 * faces[f + 2];
    const e1x = v[b] - v[a];
    const e1y = v[b + 1] - v[a + 1];
    const e1z = v[b + 2] - v[a + 2];
    const e2x = v[c] - v[a];
    const e2y = v[c + 1] - v[a + 1];
    const e2z = v[c + 2] - v[a + 2];
    const px = dy * e2z - dz * e2y;
    const py = dz * e2x - dx * e2z;
    const pz = dx * e2y - dy * e2x;
    const det = e1x * px + e1y * py + e1z * pz;
    if (det > -1e-14 && det < 1e-14) continue;
    const sx = ox - v[a];
    const sy = oy - v[a + 1];
    const sz = oz - v[a + 2];
    const p = (sx * px + sy * py + sz * pz) / det;
    if (p < -1e-6 || p > 1 + 1e-6) continue;
    const qx = sy * e1z - sz * e1y;
    const qy = sz * e1x - sx * e1z;
    const qz = sx * e1y - sy * e1x;
    const q = (dx * qx + dy * qy + dz * qz) / det;
    if (q < -1e-6 || p + q > 1 + 1e-6) continue;
    const t = (e2x * qx + e2y * qy + e2z * qz) / det;
    if (t > least && t < most && (!best || t < best.t)) best = { t, face: f / 3 };
  }
  return best;
}

function whoShades(tank, spot) {
  const normal = spot.normal;
  const candidates = tank.fixtures.map(() => []);
  const [wide, deep] = spot.cellSize;
  const sides = basis(normal);
  for (let i = 0; i < RAYS; i++) {
    const direction = hemisphere(i, normal, sides);
    if (direction[2] <= 0.01) continue;
    const [x, y, z] = spot.middle; // light is counted on the whole cell, so rays start all over it
    const path = upward(
      tank,
      [x + wide * (((0.5 + 0.8191725 * i) % 1) - 0.5), y + deep * (((0.5 + 0.6710436 * i) % 1) - 0.5), z],
      direction,
    );
    if (path) tank.fixtures.forEach((fixture, n) => reach(tank, fixture, path, candidates[n]));
  }
  return tank.fixtures.map((fixture, n) => seen(tank, fixture, candidates[n], spot));
}

// Directions spread evenly over the cosine: the R2 sequence of Roberts (2018).
function hemisphere(i, normal, [right, ahead]) {
  const u = (0.5 + 0.7548776662466927 * (i + 1)) % 1;
  const v = (0.5 + 0.5698402909980532 * (i + 1)) % 1;
  const r = Math.sqrt(u);
  const phi = 2 * Math.PI * v;
  const a = r * Math.cos(phi);
  const b = r * Math.sin(phi);
  const c = Math.sqrt(1 - u);
  return normal.map((n, k) => a * right[k] + b * ahead[k] + c * n);
}

function basis(normal) {
  const right = unit(cross(Math.abs(normal[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0], normal));
  return [right, cross(normal, right)];
}

// A ray from a spot to the water surface and on into the air; null where it meets a pane first or stays inside.
function upward(tank, place, direction) {
  const wet = place[2] < tank.water - 1e-6;
  if (!wet) return { start: place, below: direction, turn: place, air: direction, share: 1 };
  const turn = along(place, direction, (tank.water - place[2]) / direction[2]);
  if (turn[0] < 0 || turn[1] < 0 || turn[0] > tank.size[0] || turn[1] > tank.size[1]) return null;
  const n = tank.waterIndex;
  const x = n * direction[0];
  const y = n * direction[1];
  const square = x * x + y * y;
  if (square >= 1) return null;
  const air = [x, y, Math.sqrt(1 - square)];
  const a = n * direction[2];
  const b = n * air[2];
  const s = ((a - air[2]) / (a + air[2])) ** 2;
  const p = ((direction[2] - b) / (direction[2] + b)) ** 2;
  return { start: place, below: direction, turn, air, share: 1 - (s + p) / 2 };
}

// Whether a ray ends on the glowing face of a fixture, and what the fixture sends along it.
function reach(tank, fixture, path, found) {
  const facing = -dot(path.air, fixture.aim);
  if (facing <= 1e-3) return;
  const t = dot(minus(path.turn, fixture.centre), fixture.aim) / facing;
  const end = along(path.turn, path.air, t);
  if (t <= 0 || !insideOf(fixture.corners, end)) return;
  if (fixture.shade > 0) {
    const mouth = fixture.corners.map((corner) => along(corner, fixture.aim, fixture.shade));
    if (!insideOf(mouth, along(end, path.air, -fixture.shade / facing))) return;
  }
  const rim = along(path.turn, path.air, (tank.size[2] - path.turn[2]) / path.air[2]);
  const open = rim[0] >= 0 && rim[1] >= 0 && rim[0] <= tank.size[0] && rim[1] <= tank.size[1];
  if (end[2] > tank.size[2] && !open) return;
  const weight = (path.share * fixture.intensity(Math.acos(Math.min(1, facing)))) / facing;
  if (weight > 0) found.push({ ...path, end, reach: t, weight });
}

function insideOf(corners, [x, y]) {
  let inside = false;
  for (let i = 0, j = corners.length - 1; i < corners.length; j = i++) {
    const [xi, yi] = corners[i];
    const [xj, yj] = corners[j];
    if (yi > y !== yj > y && x < xi + ((y - yi) / (yj - yi)) * (xj - xi)) inside = !inside;
  }
  return inside;
}

// Shares of a fixture's straight light: what arrives, and what each thing in the way takes.
function seen(tank, fixture, candidates, spot) {
  const stride = Math.max(1, candidates.length / MOST_TESTED);
  const tested = Array.from(
    { length: Math.min(candidates.length, MOST_TESTED) },
    (_, i) => candidates[Math.floor(i * stride)],
  );
  const total = tested.reduce((sum, ray) => sum + ray.weight, 0);
  const taken = new Map();
  const rays = [];
  let through = 0;
  tested.forEach((ray, i) => {
    const met = meet(tank, ray, spot);
    if (met) add(taken, met.name, ray.weight / total);
    else through += leafShare(tank, ray, taken, ray.weight / total);
    if (i % Math.ceil(tested.length / SHOWN_RAYS) === 0) rays.push(rayLine(ray, met));
  });
  const takenBy = [...taken].sort((a, b) => b[1] - a[1]);
  return { name: fixture.name, known: fixture.known, any: total > 0, through, takenBy, rays };
}

function add(sums, name, share) {
  sums.set(name, (sums.get(name) ?? 0) + share);
}

function rayLine(ray, met) {
  if (met)
    return { by: met.name, line: met.below ? [ray.start, met.place] : [ray.start, ray.turn, met.place] };
  return { by: null, line: [ray.start, ray.turn, ray.end] };
}

// The first solid thing between a spot and the lamp.
function meet(tank, ray, spot) {
  const length = Math.hypot(...minus(ray.turn, ray.start));
  const least = spot.solid || !tank.flat ? 0.004 : 0.0005; // a coarse mesh may lie a little above a spot of its own
  const under = firstSolid(tank, ray.start, ray.below, least, length);
  if (under) return { ...under, below: true };
  return firstSolid(tank, ray.turn, ray.air, length > 0 ? 1e-4 : least, ray.reach);
}

function firstSolid(tank, origin, direction, least, most) {
  let best = null;
  for (const piece of tank.blockers) {
    if (!meetsBox(piece, origin, direction, most)) continue;
    const hit = nearestFace(piece, origin, direction, least, best ? best.t : most);
    if (hit) best = { t: hit.t, name: piece.label, place: along(origin, direction, hit.t) };
  }
  return best;
}

function meetsBox({ low, high }, origin, direction, most) {
  let near = 0;
  let far = most;
  for (let k = 0; k < 3; k++) {
    const a = (low[k] - origin[k]) / direction[k];
    const b = (high[k] - origin[k]) / direction[k];
    near = Math.max(near, Math.min(a, b));
    far = Math.min(far, Math.max(a, b));
  }
  return !(near > far);
}

// What leaves on the way leave over of a ray; what they take is added to their names.
function leafShare(tank, ray, taken, share) {
  if (!tank.leaves.length) return share;
  const steps = 16;
  const length = Math.hypot(...minus(ray.turn, ray.start)) / steps;
  const angle = (Math.acos(Math.min(1, ray.below[2])) * 180) / Math.PI / 5;
  const j = Math.min(17, Math.floor(angle));
  const depths = tank.leaves.map((leaves) => {
    const perMetre =
      leaves.taken_per_m[j] + (angle - j) * (leaves.taken_per_m[j + 1] - leaves.taken_per_m[j]);
    let inside = 0;
    for (let s = 0.5; s < steps; s++) {
      const place = along(ray.start, ray.below, s * length);
      if (insideOf(leaves.outline, place) && place[2] < tank.soilHeight(place[0], place[1]) + leaves.height)
        inside++;
    }
    return perMetre * inside * length;
  });
  const depth = depths.reduce((sum, each) => sum + each, 0);
  const lost = share * (1 - Math.exp(-depth));
  if (depth > 0)
    depths.forEach(
      (each, i) => each > 0 && add(taken, `leaves of ${tank.leaves[i].name}`, (lost * each) / depth),
    );
  return share - lost;
}

// Centre, beam and blockers, made ready once.
function prepareSight(tank) {
  for (const fixture of tank.fixtures) {
    const count = fixture.corners.length;
    fixture.centre = [0, 1, 2].map(
      (k) => fixture.corners.reduce((sum, corner) => sum + corner[k], 0) / count,
    );
    const mine = tank.channels
      .map((channel, m) => [channel, m])
      .filter(([channel]) => channel.fixture === fixture.name);
    const beams = fixture.beams.map(beamOf);
    fixture.known = fixture.beams.every((beam) => beam.lens !== "file");
    fixture.intensity = (angle) =>
      mine.reduce((sum, [channel, m], b) => sum + (tank.dims[m] || 1e-9) * channel.ppf * beams[b](angle), 0);
  }
  tank.blockers = tank.pieces.map((piece) => ({
    ...piece,
    label: piece.name.replace("hardscape ", ""),
    ...boxOf(piece),
  }));
  tank.flat = isFlat(tank);
  if (!tank.flat) tank.blockers.push({ ...tank.soilMesh, label: "soil", ...boxOf(tank.soilMesh) });
}

// Intensity of one photon per second at an angle from the beam's axis; an unknown beam counts as a bare LED's.
function beamOf({ lens, fwhm }) {
  const power = lens === "cosine" ? Math.log(0.5) / Math.log(Math.cos(fwhm / 2)) : 1;
  const shape =
    lens === "gaussian"
      ? (a) => Math.exp(-4 * Math.LN2 * (a / fwhm) ** 2)
      : (a) => Math.cos(Math.min(a, Math.PI / 2)) ** power;
  let light = 0;
  for (let i = 0; i < 900; i++) {
    const a = ((i + 0.5) * Math.PI) / 1800;
    light += 2 * Math.PI * Math.sin(a) * shape(a) * (Math.PI / 1800);
  }
  return (angle) => shape(angle) / light;
}

function boxOf({ vertices }) {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < vertices.length; i++) {
    low[i % 3] = Math.min(low[i % 3], vertices[i] - 1e-4);
    high[i % 3] = Math.max(high[i % 3], vertices[i] + 1e-4);
  }
  return { low, high };
}

// A level or evenly sloping soil cannot shade itself.
function isFlat(tank) {
  const { vertices } = tank.soilMesh;
  const corner = (i) => [vertices[3 * i], vertices[3 * i + 1], vertices[3 * i + 2]];
  const count = vertices.length / 3;
  const nx = tank.soilGround.shape[1] + 1;
  const [o, u, v] = [corner(0), corner(nx - 1), corner(count - nx)];
  const slopeX = (u[2] - o[2]) / (u[0] - o[0]);
  const slopeY = (v[2] - o[2]) / (v[1] - o[1]);
  for (let i = 0; i < count; i++) {
    const [x, y, z] = corner(i);
    if (Math.abs(o[2] + slopeX * (x - o[0]) + slopeY * (y - o[1]) - z) > 1e-3) return false;
  }
  return true;
}
