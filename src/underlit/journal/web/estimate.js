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
  for (let r = 1; r < k; r++) rows.push(Float64Array.from({ length: k }, (_, c) => sign(r, c) / Math.sqrt(k)));
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

// Mean and standard error of one number per replicate.
function ofSamples(samples) {
  const k = samples.length;
  let mean = 0;
  for (const sample of samples) mean += sample / k;
  let square = 0;
  for (const sample of samples) square += (sample - mean) ** 2;
  return { value: mean, error: k > 1 ? Math.sqrt(square / (k - 1) / k) : NaN };
}

// Values of a function of arrays, with standard errors. `samples` is K arrays of n numbers; `f` gives a few
// numbers for an array of n.
function ofFunction(f, samples) {
  const k = samples.length, n = samples[0].length;
  const mean = new Float64Array(n), moved = new Float64Array(n), shift = new Float64Array(n);
  for (const sample of samples) for (let i = 0; i < n; i++) mean[i] += sample[i] / k;
  const value = f(mean);
  const square = value.map(() => 0);
  for (const row of k > 1 ? contrasts(k) : []) {
    shift.fill(0);
    row.forEach((weight, r) => {
      const scaled = weight / Math.sqrt(2 * k), sample = samples[r];
      for (let i = 0; i < n; i++) shift[i] += scaled * sample[i];
    });
    for (let i = 0; i < n; i++) moved[i] = mean[i] + shift[i];
    const plus = f(moved);
    for (let i = 0; i < n; i++) moved[i] = mean[i] - shift[i];
    const minus = f(moved);
    for (let j = 0; j < square.length; j++) square[j] += (plus[j] - minus[j]) ** 2 / 2;
  }
  return value.map((number, j) => ({ value: number, error: k > 1 ? Math.sqrt(square[j] / (k - 1)) : NaN }));
}
