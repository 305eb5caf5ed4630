// How light is spread over an area of noisy cells. The rules are those of `underlit.metrics.spread`, which has the
// reasons for them.

const FEW = 1 / 3; // noise over light where quantiles say little
const CLEARLY = 1.3; // errors between two values for the same; less may be chance
const WINDOW = 0.08; // share of the area to either side of a level, over which cells of like light are read
const RADIX = 1024;
const fine = new Uint32Array(RADIX + 1); // where each digit starts; kept, as making arrays takes longer than filling them
const coarse = new Uint32Array(RADIX + 1);
let byFine = new Uint32Array(0);

// Order of numbers, by 20 bits of their range: fast, and finer than the noise by far.
function orderOf(values) {
  const n = values.length;
  let least = Infinity;
  let most = -Infinity;
  for (let i = 0; i < n; i++) {
    if (values[i] < least) least = values[i];
    if (values[i] > most) most = values[i];
  }
  const scale = most > least ? (RADIX * RADIX - 1) / (most - least) : 0;
  if (byFine.length < n) byFine = new Uint32Array(n);
  fine.fill(0);
  coarse.fill(0);
  for (let i = 0; i < n; i++) {
    const key = (values[i] - least) * scale;
    fine[(key & (RADIX - 1)) + 1]++;
    coarse[(key >>> 10) + 1]++;
  }
  for (let b = 0; b < RADIX; b++) {
    fine[b + 1] += fine[b];
    coarse[b + 1] += coarse[b];
  }
  const order = new Uint32Array(n);
  for (let i = 0; i < n; i++) byFine[fine[((values[i] - least) * scale) & (RADIX - 1)]++] = i;
  for (let r = 0; r < n; r++) order[coarse[((values[byFine[r]] - least) * scale) >>> 10]++] = byFine[r];
  return order;
}

// Straight between points of rising x, read at rising places; level beyond the ends.
function interpolated(places, x, y) {
  const last = x.length - 1;
  const found = new Float64Array(places.length);
  let i = 0;
  for (let p = 0; p < places.length; p++) {
    const place = places[p];
    while (i < last && x[i] < place) i++;
    const inside = i > 0 && place < x[i];
    found[p] = inside ? y[i] - ((x[i] - place) / (x[i] - x[i - 1])) * (y[i] - y[i - 1]) : y[i];
  }
  return found;
}

// The cells of an area in order of their light.
class Ranked {
  constructor(values, share) {
    const n = values.length;
    this.order = orderOf(values);
    this.sorted = new Float64Array(n);
    this.middle = new Float64Array(n); // share of the area below the middle of each
    let before = 0;
    for (let r = 0; r < n; r++) {
      const i = this.order[r];
      this.sorted[r] = values[i];
      this.middle[r] = before + share[i] / 2;
      before += share[i];
    }
  }

  quantiles(levels) {
    return interpolated(levels, this.middle, this.sorted);
  }
}

class Area {
  constructor(samples, area) {
    const total = area.reduce((sum, each) => sum + each, 0);
    this.share = Float64Array.from(area, (each) => each / total);
    [this.value, this.offsets] = halves(samples);
    this.noise = this.variance();
    this.kept = this.keptSpread();
    this.ranked = new Ranked(this.value, this.share);
    this.otherwise = this.takenOffOtherwise();
  }

  over(cells) {
    let sum = 0;
    for (let i = 0; i < cells.length; i++) sum += this.share[i] * cells[i];
    return sum;
  }

  // Square of the standard error of each cell.
  variance() {
    const found = new Float64Array(this.value.length);
    for (const offset of this.offsets)
      for (let i = 0; i < found.length; i++) found[i] += offset[i] ** 2 / this.offsets.length;
    return found;
  }

  // Standard deviation over the cells without noise, over that with noise.
  keptSpread() {
    const square = (cells) => {
      const mean = this.over(cells);
      let sum = 0;
      for (let i = 0; i < cells.length; i++) sum += this.share[i] * (cells[i] - mean) ** 2;
      return sum;
    };
    const observed = square(this.value);
    const noise = this.offsets.reduce((sum, offset) => sum + square(offset) / this.offsets.length, 0);
    return observed > 0 ? Math.sqrt(Math.max(0, 1 - noise / observed)) : 1;
  }

  // The mean over balanced halves of the replicates of some numbers that follow from all cells.
  inHalves(f) {
    const moved = new Float64Array(this.value.length);
    let sum = null;
    for (const offset of this.offsets)
      for (const sign of [1, -1]) {
        const found = f(shifted(this.value, sign, offset, moved));
        sum ??= found.map(() => 0);
        for (let j = 0; j < sum.length; j++) sum[j] += found[j] / (2 * this.offsets.length);
      }
    return sum ?? f(this.value);
  }

  // Light in each cell with the noise taken off in another way: what the light at a rank moves from the whole to a
  // half, it is moved back; where photons are few, one more is as likely as what was seen.
  takenOffOtherwise() {
    const { order, sorted, middle } = this.ranked;
    const halved = this.inHalves((cells) => new Ranked(cells, this.share).quantiles(middle));
    const found = new Float64Array(order.length);
    order.forEach((c, r) => (found[c] = 2 * sorted[r] - halved[r]));
    const few = this.few(middle);
    const sparse = order.filter((_, r) => few[r]);
    const sum = (cells) => sparse.reduce((total, c) => total + cells[c], 0);
    const photon = sum(this.value) > 0 ? sum(this.noise) / sum(this.value) : 0;
    for (const c of sparse) found[c] = Math.max(found[c], this.value[c] + photon);
    return found;
  }

  // Whether the noise of the cells about each level is over `FEW` of their light.
  few(levels) {
    const counted = this.offsets.length > 1 && this.value.some((value) => value !== 0);
    const light = this.about(levels, this.value);
    const noise = this.about(levels, this.noise);
    return Array.from(levels, (_, j) => counted && !(light[j] > 0 && Math.sqrt(noise[j]) <= FEW * light[j]));
  }

  // Mean of values over the cells about each level, as far to either side as the ends of the area allow.
  about(levels, values) {
    const { order } = this.ranked;
    const at = new Float64Array(order.length + 1);
    const total = new Float64Array(order.length + 1);
    order.forEach((c, r) => {
      at[r + 1] = at[r] + this.share[c];
      total[r + 1] = total[r] + this.share[c] * values[c];
    });
    const low = levels.map((level) => Math.max(0, level - WINDOW));
    const high = levels.map((level) => Math.min(1, level + WINDOW));
    const [below, upTo] = [low, high].map((places) => interpolated(places, at, total));
    return levels.map((_, j) => (upTo[j] - below[j]) / (high[j] - low[j]));
  }

  mean() {
    return estimate(this.over(this.value), this.offsets.map((offset) => this.over(offset)));
  }

  // Light that shares of the area stay below, if so much of the spread is kept.
  quantiles(cells, levels, kept) {
    const mean = this.over(cells);
    return new Ranked(cells, this.share).quantiles(levels).map((found) => mean + kept * (found - mean));
  }

  // Shares of the area whose light lies in each range, ends included.
  within(cells, ranges, kept) {
    const mean = this.over(cells);
    return ranges.map(([low, high]) => {
      let found = 0;
      for (let i = 0; i < cells.length; i++) {
        const drawn = mean + kept * (cells[i] - mean);
        if (drawn >= low && drawn <= high) found += this.share[i];
      }
      return found;
    });
  }

  // A few numbers that follow from all cells and the spread to keep, with errors that cover the noise left.
  of(f) {
    const other = f(this.otherwise, 1);
    const found = ofHalves((cells) => f(cells, this.kept), this.value, this.offsets);
    return found.map((each, j) => covering(each, other[j]));
  }

  between(...ranges) {
    const whole = this.within(this.value, ranges, 1);
    const halved = this.inHalves((cells) => this.within(cells, ranges, 1));
    const found = this.of((cells, kept) => this.within(cells, ranges, kept));
    return found.map((each, j) => covering(each, 2 * whole[j] - halved[j]));
  }
}

// An estimate with its error widened to hold a second value for the same that is clearly apart.
function covering(found, other) {
  const apart = Math.abs(other - found.value);
  return Number.isFinite(apart) && apart > CLEARLY * found.error ? widened(found, apart) : found;
}
