// Plant zones: what share of the area gets how much light, the verdict, and what to dim to. The same rules as
// `underlit.metrics.zones`, taken at any setting of the channels.

const RADIX = 2048;

// Order of numbers, by 22 bits of their range: fast, and finer than the noise by far.
function orderOf(values) {
  const n = values.length;
  let least = Infinity;
  let most = -Infinity;
  for (const value of values) {
    if (value < least) least = value;
    if (value > most) most = value;
  }
  const keys = new Uint32Array(n);
  const scale = most > least ? (RADIX * RADIX - 1) / (most - least) : 0;
  for (let i = 0; i < n; i++) keys[i] = (values[i] - least) * scale;
  let order = new Uint32Array(n).map((_, i) => i);
  let next = new Uint32Array(n);
  for (const shift of [0, 11]) {
    const start = new Uint32Array(RADIX + 1);
    for (let i = 0; i < n; i++) start[((keys[i] >>> shift) & (RADIX - 1)) + 1]++;
    for (let b = 0; b < RADIX; b++) start[b + 1] += start[b];
    for (let i = 0; i < n; i++) next[start[(keys[order[i]] >>> shift) & (RADIX - 1)]++] = order[i];
    [order, next] = [next, order];
  }
  return order;
}

// Light that shares of an area stay below: straight between the middles of the cells in order.
function quantiles(values, share, levels) {
  const order = orderOf(values);
  const found = [];
  let before = 0;
  let middle = -1;
  let last = values[order[0]];
  let level = 0;
  for (const i of order) {
    const at = before + share[i] / 2;
    while (level < levels.length && levels[level] <= at) {
      const t = middle < 0 ? 1 : (levels[level] - middle) / (at - middle);
      found.push(last + t * (values[i] - last));
      level++;
    }
    [before, middle, last] = [before + share[i], at, values[i]];
  }
  while (found.length < levels.length) found.push(last);
  return found;
}

// Standard deviation over the cells without noise, over that with noise.
function keptSpread(samples, share) {
  const k = samples.length;
  const n = share.length;
  if (k < 2) return 1;
  const means = samples.map((sample) => sample.reduce((sum, value, i) => sum + share[i] * value, 0));
  let observed = 0;
  let noise = 0;
  for (let i = 0; i < n; i++) {
    let mean = 0;
    let square = 0;
    for (let r = 0; r < k; r++) mean += (samples[r][i] - means[r]) / k;
    for (let r = 0; r < k; r++) square += (samples[r][i] - means[r] - mean) ** 2;
    observed += share[i] * mean * mean;
    noise += (share[i] * square) / (k - 1) / k;
  }
  return observed > 0 ? Math.sqrt(Math.max(0, 1 - noise / observed)) : 1;
}

function judge(p10, median, p90, low, high) {
  if (median < low) return p90 < low ? "too dark" : "low";
  if (median > high) return p10 > high ? "too bright" : "bright";
  return "right";
}

// Everything about one zone at the present settings.
function zoneReport(tank, zone) {
  return tank.once(`zone ${zone.name}`, () => {
    const surface = tank.byName.get(zone.surface);
    const samples = tank.samples(surface, zone.cells, zone.open);
    const total = zone.area.reduce((sum, area) => sum + area, 0);
    const share = Float64Array.from(zone.area, (area) => area / total);
    const kept = keptSpread(samples, share);
    const [low, high] = zone.band ?? [0, Infinity];
    const f = (cells) => statistics(cells, share, kept, low, high, zone);
    const [p10, median, p90, mean, inBand, above, dimTo, evenness] = ofFunction(f, samples);
    const verdict = judge(p10.value, median.value, p90.value, low, high);
    const nearest = Math.min(Math.abs(median.value - low), Math.abs(median.value - high));
    return {
      zone,
      p10,
      median,
      p90,
      mean,
      inBand,
      above,
      evenness,
      dimTo,
      verdict,
      sure: nearest >= 2 * median.error,
      binds: bindingOf(tank, zone, median.value, p90.value, dimTo.value),
    };
  });
}

function statistics(cells, share, kept, low, high, zone) {
  let mean = 0;
  let inBand = 0;
  let above = 0;
  for (let i = 0; i < cells.length; i++) mean += share[i] * cells[i];
  for (let i = 0; i < cells.length; i++) {
    const drawn = mean + kept * (cells[i] - mean);
    if (drawn >= low && drawn <= high) inBand += share[i];
    if (drawn > zone.ceiling) above += share[i];
  }
  const [p10, median, p90] = quantiles(cells, share, [0.1, 0.5, 0.9]).map((q) => mean + kept * (q - mean));
  const dimTo = 100 * Math.min(zone.target / median, zone.ceiling / p90);
  return [p10, median, p90, mean, inBand, above, dimTo, p10 / median];
}

function bindingOf(tank, zone, median, p90, dimTo) {
  const most = Math.max(...tank.dims);
  if (most === 0 || dimTo * most > 100) return "full power";
  return zone.target * p90 <= zone.ceiling * median ? "target" : "ceiling";
}
