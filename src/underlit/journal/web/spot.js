// One chosen spot: how much light, of what colour, from which lamp, and what stands in its way.

function chooseFlat(state, surface, x, y) {
  const c = gridCell(surface, x, y);
  chooseCell(state, surface, c, [x, y, surface.centre[3 * c + 2]]);
}

// `place`: the exact point on it; the middle of the cell by default.
function chooseCell(state, surface, c, place) {
  const three = (list) => [list[3 * c], list[3 * c + 1], list[3 * c + 2]];
  const normal = surface.plane === "horizontal" ? [0, 0, 1] : unit(three(surface.normal));
  const spot = {
    surface: surface.name,
    cell: c,
    place: place ?? three(surface.centre),
    normal,
    solid: surface.kind === "hardscape",
  };
  spot.place = along(spot.place, normal, 1e-4);
  const level = surface.plane === "horizontal";
  spot.middle = level ? three(surface.centre) : spot.place;
  spot.cellSize = level
    ? [surface.xEdges[1] - surface.xEdges[0], surface.yEdges[1] - surface.yEdges[0]]
    : [0, 0];
  state.spot = spot;
  state.changed();
}

// After another tank is shown: the nearest place of it.
function carrySpot(state) {
  const { spot, tank } = state;
  const surface = tank.byName.get(spot.surface) ?? tank.soilGround;
  if (surface.plane === "horizontal") chooseFlat(state, surface, spot.place[0], spot.place[1]);
  else chooseCell(state, surface, nearestCell(surface, spot.place));
}

function nearestCell(surface, place) {
  let best = 0;
  let least = Infinity;
  for (let c = 0; c < surface.cells; c++) {
    const away = Math.hypot(...[0, 1, 2].map((k) => surface.centre[3 * c + k] - place[k]));
    if (away < least) [best, least] = [c, away];
  }
  return best;
}

function surfaceWords(tank, surface) {
  if (surface.kind === "soil") return "soil";
  if (surface.kind === "plane") return `water, ${cm(surface.centre[2])} cm high`;
  if (surface.kind === "pane") return `${surface.name.split(" ")[1]} pane, inside`;
  return surface.name.replace("hardscape ", "");
}

function drawSpot(state) {
  const { tank, spot } = state;
  const surface = tank.byName.get(spot.surface);
  const light = tank.cell(surface, spot.cell);
  const dli = tank.fullHours() * MOL_PER_UMOL_HOUR;
  el("spot-ppfd").textContent = withError(light.value, light.error);
  el("spot-dli").textContent = withError(light.value * dli, light.error * dli);
  el("spot-plane").textContent =
    surface.plane === "horizontal"
      ? "on a horizontal plane"
      : "on the surface itself, as a leaf on it would get it";
  drawPlace(state, surface);
  drawSpotLamps(tank, surface, spot);
  drawSpectrum(el("spot-spectrum"), tank, surface, spot);
  drawSight(sightOf(state));
}

// Who shades the spot; found anew only when the settings can change it: where one fixture mixes beams.
function sightOf({ tank, spot }) {
  const mixed = tank.fixtures.some(
    (fixture) => new Set(fixture.beams.map((beam) => `${beam.lens} ${beam.fwhm}`)).size > 1,
  );
  const version = mixed ? tank.version : 0;
  if (!spot.sight || spot.sightVersion !== version)
    Object.assign(spot, { sight: whoShades(tank, spot), sightVersion: version });
  return spot.sight;
}

function drawPlace(state, surface) {
  const { tank, spot } = state;
  const select = el("spot-surface");
  if (select.dataset.tank !== String(state.shown)) {
    select.dataset.tank = String(state.shown);
    select.replaceChildren(
      ...tank.surfaces.map((each) => make("option", { value: each.name }, surfaceWords(tank, each))),
    );
  }
  select.value = surface.name;
  ["x", "y", "z"].forEach((name, k) => {
    const input = el(`spot-${name}`);
    if (document.activeElement !== input) input.value = Math.round(spot.place[k] * 1000) / 10;
    input.max = Math.round(tank.size[k] * 1000) / 10;
  });
  el("spot-z").disabled = surface.plane === "horizontal";
}

function drawSpotLamps(tank, surface, spot) {
  const each = tank.cellByChannel(surface, spot.cell);
  const total = each.reduce((sum, { value }) => sum + value, 0);
  const rows = tank.channels.map((channel, m) => [
    channel.label,
    withError(each[m].value, each[m].error),
    total > 0 ? `${percent(each[m].value / total)} %` : DASH,
  ]);
  fillTable(el("spot-lamps"), ["channel", "PPFD", "share"], rows);
}

function drawSight(sight) {
  const rows = [];
  for (const fixture of sight) {
    if (!fixture.any) {
      rows.push([fixture.name, "no straight way: turned away, or only by way of panes", ""]);
      continue;
    }
    rows.push([fixture.name, "arrives", `${percent(fixture.through)} %`]);
    for (const [name, share] of fixture.takenBy)
      rows.push([fixture.name, `taken by ${name}`, share < 0.005 ? "under 1 %" : `${percent(share)} %`]);
  }
  fillTable(el("spot-sight"), ["lamp", "its straight light", "share"], rows);
  el("spot-sight-note").hidden = sight.every((fixture) => fixture.known);
}

const WIDE = 520;
const HIGH = 210;
const LEFT = 8;
const BASE = 176;

// Spectrum of a spot as a filled curve, with the lamps' own shape dashed.
function drawSpectrum(svg, tank, surface, spot) {
  const here = tank.cellSpectrum(surface, spot.cell);
  const sum = par(here);
  const lamp = new Float64Array(401);
  tank.channels.forEach((channel, m) =>
    channel.spectrum.forEach((value, i) => (lamp[i] += tank.dims[m] * value)),
  );
  const scale = sum / par(lamp);
  const shape = lamp.map((value) => (Number.isFinite(scale) ? value * scale : 0));
  const most = Math.max(...here, ...shape, 1e-12);
  const x = (i) => LEFT + (i / 400) * (WIDE - 2 * LEFT);
  const y = (value) => BASE - (value / most) * (BASE - 14);
  const curve = (values) =>
    Array.from(values, (value, i) => `${i ? "L" : "M"}${x(i).toFixed(1)} ${y(value).toFixed(1)}`).join("");
  svg.querySelector(".area").setAttribute("d", `${curve(here)}L${x(400)} ${BASE}L${x(0)} ${BASE}Z`);
  svg.querySelector(".lamp").setAttribute("d", curve(shape));
  const split = splitWords(here);
  el("spot-split").textContent = split;
  svg.setAttribute("aria-label", `Spectrum at the spot, 380 to 780 nm. ${split}`);
}

function splitWords(spectrum) {
  const total = par(spectrum);
  if (!(total > 0)) return "No light of 400–700 nm here.";
  const share = (low, high) => `${percent(between(spectrum, low, high) / total)} %`;
  return `Blue ${share(400, 500)}, green ${share(500, 600)}, red ${share(600, 700)} of PAR; far red, 700–780 nm, ${share(700, 780)} beside it.`;
}

function listenSpot(state) {
  const read = () => {
    const surface = state.tank.byName.get(el("spot-surface").value);
    const [x, y, z] = ["x", "y", "z"].map((name, k) =>
      Math.max(0, Math.min(state.tank.size[k] - 1e-6, Number(el(`spot-${name}`).value) / 100 || 0)),
    );
    if (surface.plane === "horizontal") chooseFlat(state, surface, x, y);
    else chooseCell(state, surface, nearestCell(surface, [x, y, z]));
  };
  for (const name of ["surface", "x", "y", "z"]) el(`spot-${name}`).addEventListener("change", read);
}
