// Standard errors from replicates. A linear quantity has one sample for each of them; any other function is
// taken at balanced half-samples, as `underlit.Estimate.of` does it.

const contrastRows = new Map();

// K - 1 orthonormal contrasts of K replicates: a Hadamard matrix for powers of two, cosines otherwise.
function contrasts(k) {
  if (!contrastRows.has(k)) contrastRows.set(k, (k & (k - 1)) === 0 ? hadamard(k) : cosines(k));
  return contrastRows.get(k);
}

function hadamard(k) {
  const sign = (a, b) => {
    let odd = 0;
    for (let both = a & b; both; both &= both - 1) odd ^= 1;
    return odd ? -1 : 1;
  };
  const rows = [];
  for (let r = 1; r < k; r++)
    rows.push(Float64Array.from({ length: k }, (_, c) => sign(r, c) / Math.sqrt(k)));
  return rows;
}

function cosines(k) {
  const rows = [];
  for (let r = 1; r < k; r++) {
    const at = (_, c) => Math.sqrt(2 / k) * Math.cos((Math.PI * r * (c + 0.5)) / k);
    rows.push(Float64Array.from({ length: k }, at));
  }
  return rows;
}

// A value with its standard error. `parts`: the errors that K - 1 contrasts of the replicates give, which
// belong together with those of another trace of the same seed.
function estimate(value, parts) {
  let square = 0;
  for (const part of parts) square += part * part;
  return { value, parts, error: parts.length ? Math.sqrt(square / parts.length) : NaN };
}

// Mean and standard error of one number per replicate.
function ofSamples(samples) {
  const k = samples.length;
  const root = Math.sqrt(k);
  let mean = 0;
  for (const sample of samples) mean += sample / k;
  const parts =
    k > 1
      ? contrasts(k).map((row) => row.reduce((sum, weight, r) => sum + (weight * samples[r]) / root, 0))
      : [];
  return estimate(mean, parts);
}

const scaled = ({ value, parts }, factor) =>
  estimate(
    value * factor,
    parts.map((part) => part * factor),
  );
const exact = (value) => ({ value, parts: [], error: 0 });

// `b` less `a`: what the two traces share in luck drops out.
function difference(a, b) {
  if (a.parts.length && a.parts.length === b.parts.length)
    return estimate(
      b.value - a.value,
      b.parts.map((part, r) => part - a.parts[r]),
    );
  return { value: b.value - a.value, parts: [], error: Math.hypot(a.error, b.error) };
}

function ratio(a, b) {
  const means = Float64Array.of(a.value, b.value);
  const offsets = a.parts.map((part, r) => Float64Array.of(part, b.parts[r]));
  return ofHalves(([above, below]) => [above / below], means, offsets)[0];
}

// The same value with a further error, independent of that which the parts have.
function widened({ value, parts, error }, by) {
  const grown = Math.hypot(error, by) / error;
  const alone = by * Math.sqrt(parts.length); // where the parts have none
  return estimate(
    value,
    parts.map((part, r) => (Number.isFinite(grown) ? grown * part : r ? 0 : alone)),
  );
}

// Mean over K arrays of n numbers, one for each replicate, and by how much the means of balanced halves of them lie
// above it.
function halves(samples) {
  const k = samples.length;
  const n = samples[0].length;
  const weighted = (weights) => {
    const sum = new Float64Array(n);
    weights.forEach((weight, r) => {
      const sample = samples[r];
      for (let i = 0; i < n; i++) sum[i] += weight * sample[i];
    });
    return sum;
  };
  const contrast = (row) => weighted(row.map((weight) => weight / Math.sqrt(k)));
  return [weighted(samples.map(() => 1 / k)), k > 1 ? contrasts(k).map(contrast) : []];
}

function shifted(values, factor, offset, moved) {
  for (let i = 0; i < moved.length; i++) moved[i] = values[i] + factor * offset[i];
  return moved;
}

// Values of a function of arrays, with standard errors. `samples` is K arrays of n numbers; `f` gives a few
// numbers for an array of n.
function ofFunction(f, samples) {
  return ofHalves(f, ...halves(samples));
}

function ofHalves(f, mean, offsets) {
  const value = f(mean);
  const parts = value.map(() => []);
  const moved = new Float64Array(mean.length);
  for (const offset of offsets) {
    const plus = f(shifted(mean, Math.SQRT1_2, offset, moved));
    const minus = f(shifted(mean, -Math.SQRT1_2, offset, moved));
    parts.forEach((found, j) => found.push((plus[j] - minus[j]) / Math.SQRT2));
  }
  return value.map((number, j) => estimate(number, parts[j]));
}
