// A traced tank: light adds up, so every map is the sum of its channels' maps times their settings.

const OPEN_STEPS = 250;
const LEAST_OPEN = 0.2;
const MOL_PER_UMOL_HOUR = 3600e-6;

class Tank {
  constructor(record, read) {
    Object.assign(this, record);
    this.dims = Float64Array.from(record.channels, (channel) => channel.dim);
    this.hours = record.day.hours;
    this.tariff = record.day.tariff ?? 0;
    this.version = 0;
    this.cache = new Map();
    for (const channel of this.channels) channel.spectrum = scaledRows(channel.spectrum, read, 1)[0];
    for (const surface of this.surfaces) openSurface(surface, this.channels.length, read);
    this.byName = new Map(this.surfaces.map((surface) => [surface.name, surface]));
    this.soilGround = this.byName.get("soil");
    this.planes = this.surfaces.filter((surface) => surface.kind === "plane");
    this.panes = this.surfaces.filter((surface) => surface.kind === "pane");
    for (const zone of this.zones) openZone(zone, read);
    this.openSoil = wholeSoil(this.soilGround);
    for (const name of ["soil", "budget"]) this[name].samples = read(this[name].samples);
    this.pieces = Object.entries(this.meshes).map(([name, mesh]) => ({ name, ...openMesh(mesh, read) }));
    this.soilMesh = openMesh(this.soilGround.mesh, read);
    this.outlines = record.outlines.map((outline) => ({
      name: outline.name,
      above: outline.above.map(read),
      standing: outline.standing.map(read),
    }));
  }

  setDims(dims) {
    this.dims.set(dims);
    this.version++;
    this.cache.clear();
  }

  // Kept until the settings change.
  once(key, make) {
    if (!this.cache.has(key)) this.cache.set(key, make());
    return this.cache.get(key);
  }

  // PPFD in each cell of a surface, on the whole cell.
  density(surface) {
    return this.once(`density ${surface.name}`, () => {
      const sum = new Float32Array(surface.cells);
      this.dims.forEach((dim, m) => {
        const scale = dim * surface.light.rows[m];
        const steps = surface.light.data;
        if (scale)
          for (let c = 0, at = m * surface.cells; c < surface.cells; c++) sum[c] += scale * steps[at + c];
      });
      return sum;
    });
  }

  // PPFD on the open part of each cell; NaN where next to nothing is open.
  openDensity(surface) {
    return this.once(`open ${surface.name}`, () => {
      const density = this.density(surface);
      if (!surface.open) return density;
      return density.map((value, c) => (surface.open[c] >= LEAST_OPEN ? value / surface.open[c] : NaN));
    });
  }

  // Standard error of the PPFD on the open part of each cell.
  openErrors(surface) {
    return this.once(`errors ${surface.name}`, () => {
      const values = this.openDensity(surface);
      if (!surface.noise) return values.map((value, c) => value * surface.relErr[c]);
      const cells = Uint32Array.from(values, (_, c) => c);
      const samples = this.samples(surface, cells, surface.open);
      const k = samples.length;
      return values.map((_, c) => {
        const mean = samples.reduce((sum, sample) => sum + sample[c] / k, 0);
        return Math.sqrt(samples.reduce((sum, sample) => sum + (sample[c] - mean) ** 2, 0) / (k - 1) / k);
      });
    });
  }

  // One array per replicate: the light of some cells, over their open shares.
  samples(surface, cells, open, dims = this.dims) {
    const k = surface.replicates;
    const n = cells.length;
    const count = surface.cells;
    const found = Array.from({ length: k }, () => new Float64Array(n));
    dims.forEach((dim, m) => {
      if (!dim) return;
      const mean = dim * surface.light.rows[m];
      for (let r = 0; r < k; r++) {
        const row = r * this.dims.length + m;
        const spread = dim * surface.noise.rows[row];
        const sample = found[r];
        const steps = surface.light.data;
        const noise = surface.noise.data;
        for (let i = 0; i < n; i++) {
          sample[i] += mean * steps[m * count + cells[i]] + spread * noise[row * count + cells[i]];
        }
      }
    });
    if (open) for (const sample of found) for (let i = 0; i < n; i++) sample[i] /= open[i];
    return found;
  }

  // PPFD in one cell, with its standard error.
  cell(surface, c) {
    const open = surface.open ? surface.open[c] : 1;
    if (open < LEAST_OPEN) return { value: NaN, parts: [], error: NaN };
    if (surface.noise) return ofSamples(this.samples(surface, [c], [open]).map((sample) => sample[0]));
    const value = this.density(surface)[c] / open;
    return { value, parts: [], error: surface.relErr[c] * value };
  }

  // What each channel gives in one cell at its present setting.
  cellByChannel(surface, c) {
    const open = surface.open ? surface.open[c] : 1;
    const steps = surface.light.data;
    return Array.from(this.dims, (dim, m) => {
      const alone = this.dims.map((_, other) => (other === m ? dim : 0));
      if (surface.noise) return ofSamples(this.samples(surface, [c], [open], alone).map((sample) => sample[0]));
      const value = (dim * surface.light.rows[m] * steps[m * surface.cells + c]) / open;
      return { value, parts: [], error: surface.relErr[c] * value };
    });
  }

  // Spectrum around a cell, 380-780 nm, of the PPFD of the cell [umol m-2 s-1 nm-1].
  cellSpectrum(surface, c) {
    const total = new Float64Array(401);
    const points = 41;
    const base = surface.part[c] * surface.sources * points;
    const transfer = surface.transfer;
    this.channels.forEach((channel, m) => {
      if (!this.dims[m]) return;
      const at = base + channel.source * points;
      for (let i = 0; i < 401; i++) {
        const j = Math.min(Math.floor(i / 10), points - 2);
        const t = i / 10 - j;
        const through = transfer.data[at + j] * (1 - t) + transfer.data[at + j + 1] * t;
        total[i] += this.dims[m] * channel.spectrum[i] * through * transfer.rows[0];
      }
    });
    const scale = this.cell(surface, c).value / par(total);
    return total.map((value) => (Number.isFinite(scale) ? value * scale : 0));
  }

  // Mean light on the open soil under one weighting, a sample for each replicate.
  soilSamples(name) {
    const { names, replicates, samples } = this.soil;
    const m = this.dims.length;
    const q = names.indexOf(name);
    return Array.from({ length: replicates }, (_, k) =>
      this.dims.reduce((sum, dim, i) => sum + dim * samples[(q * replicates + k) * m + i], 0),
    );
  }

  // X, Y, Z of a white sheet and of the test colours in the light of the lamps themselves.
  lampLight() {
    return LIGHT_NAMES.map((_, k) => this.dims.reduce((sum, dim, m) => sum + dim * this.channels[m].colours[k], 0));
  }

  power() {
    return this.dims.reduce((sum, dim, m) => sum + dim * this.channels[m].power, 0);
  }

  ppf() {
    return this.dims.reduce((sum, dim, m) => sum + dim * this.channels[m].ppf, 0);
  }

  // Hours at full light that give the same photons as the day with its rise and fall, or its course.
  fullHours() {
    if (this.day.course !== null) return this.hours * this.day.course; // stretched to the hours
    return Math.max(this.hours - Math.min(this.day.ramp, this.hours / 2), 0);
  }

  kwhPerYear() {
    return (this.power() * this.fullHours() * 365) / 1000;
  }

  costPerYear() {
    return this.kwhPerYear() * this.tariff;
  }

  // Where 100 photons end, most first.
  ends() {
    const { names, replicates, samples } = this.budget;
    const m = this.dims.length;
    const n = names.length;
    const emitted = this.dims.reduce((sum, dim, i) => sum + dim * this.channels[i].photons, 0);
    const row = (end) => {
      const each = Array.from({ length: replicates }, (_, k) =>
        this.dims.reduce((sum, dim, i) => sum + dim * samples[(k * m + i) * n + end], 0),
      );
      return { name: names[end], ...ofSamples(each.map((value) => (100 * value) / emitted)) };
    };
    if (!(emitted > 0)) return [];
    return names.map((_, end) => row(end)).sort((a, b) => b.value - a.value);
  }

  soilHeight(x, y) {
    return this.soilGround.centre[3 * gridCell(this.soilGround, x, y) + 2];
  }
}

function scaledRows(steps, read, rows) {
  const data = read(steps.data);
  const n = data.length / rows;
  return steps.rows.map((scale, r) =>
    Float64Array.from(data.subarray(r * n, (r + 1) * n), (step) => scale * step),
  );
}

function openSurface(surface, channels, read) {
  for (const name of ["area", "centre", "normal", "part"]) surface[name] = read(surface[name]);
  surface.light.data = read(surface.light.data);
  surface.transfer.data = read(surface.transfer.data);
  surface.sources = surface.transfer.data.length / 41 / surface.parts;
  if (surface.open) surface.open = Float32Array.from(read(surface.open), (step) => step / OPEN_STEPS);
  if (surface.noise) centreNoise(surface, channels, read);
  else surface.relErr = Float32Array.from(read(surface.rel_err), (step) => step / 250);
}

// Rounding must not move the mean: the noise of each cell adds up to nought over the replicates again.
function centreNoise(surface, channels, read) {
  const { replicates, cells, noise } = surface;
  const steps = read(noise.data);
  const kept = Float32Array.from(steps);
  for (let m = 0; m < channels; m++) {
    for (let c = 0; c < cells; c++) {
      let mean = 0;
      for (let r = 0; r < replicates; r++)
        mean += noise.rows[r * channels + m] * steps[(r * channels + m) * cells + c];
      mean /= replicates;
      for (let r = 0; r < replicates; r++)
        kept[(r * channels + m) * cells + c] -= mean / noise.rows[r * channels + m];
    }
  }
  noise.data = kept;
}

function openZone(zone, read) {
  zone.cells = read(zone.cells);
  zone.open = Float64Array.from(read(zone.open), (step) => step / OPEN_STEPS);
  zone.area = read(zone.area);
}

// All open soil, as if it were one plant zone.
function wholeSoil(soil) {
  const cells = Uint32Array.from({ length: soil.cells }, (_, c) => c).filter(
    (c) => soil.open[c] >= LEAST_OPEN,
  );
  const open = Float64Array.from(cells, (c) => soil.open[c]);
  return {
    name: "soil",
    surface: "soil",
    cells,
    open,
    area: Float32Array.from(cells, (c) => soil.area[c] * soil.open[c]),
  };
}

function openMesh(mesh, read) {
  const steps = read(mesh.vertices);
  const at = (step, i) => mesh.low[i % 3] + (step / 65535) * (mesh.high[i % 3] - mesh.low[i % 3]);
  return { vertices: Float32Array.from(steps, at), faces: read(mesh.faces), cell: read(mesh.cell) };
}

function gridCell(surface, x, y) {
  const find = (edges, at) => {
    let i = 0;
    while (i < edges.length - 2 && at >= edges[i + 1]) i++;
    return i;
  };
  return find(surface.yEdges, y) * surface.shape[1] + find(surface.xEdges, x);
}

// Photons of 400-700 nm, the end points half.
function par(spectrum) {
  let sum = 0;
  for (let i = 20; i <= 320; i++) sum += spectrum[i] * (i === 20 || i === 320 ? 0.5 : 1);
  return sum;
}

function between(spectrum, low, high) {
  let sum = 0;
  for (let nm = low; nm <= high; nm++) sum += spectrum[nm - 380] * (nm === low || nm === high ? 0.5 : 1);
  return sum;
}
