// Colours of light: the scale of all maps, what ink shows on it, and how warm a mixture looks.

class Scale {
  constructor(top, bands, ramp, differences = false) {
    Object.assign(this, { top, bands, ramp, differences });
    this.bottom = differences ? -top : 0;
    this.levels = differences ? [] : bands.map((band) => band.low).filter((low) => low > 0 && low < top);
  }

  index(value) {
    const share = (value - this.bottom) / (this.top - this.bottom);
    return Math.max(0, Math.min(255, Math.round(255 * share)));
  }

  rgb(value) {
    const at = 3 * this.index(value);
    return [this.ramp[at], this.ramp[at + 1], this.ramp[at + 2]];
  }

  css(value) {
    return `rgb(${this.rgb(value).join(",")})`;
  }

  ink(value) {
    return inkOn(this.rgb(value));
  }
}

// Black or white, whichever has the greater contrast (WCAG 2).
function inkOn(rgb) {
  const linear = rgb.map((c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4));
  return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] > 0.179 ? "#000" : "#fff";
}

// The next round number at or above a value.
function roundUp(value) {
  if (!(value > 0)) return 1;
  const decade = 10 ** Math.floor(Math.log10(value));
  return (
    [1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10].find((step) => step * decade >= value * (1 - 1e-9)) * decade
  );
}

// Correlated colour temperature [K] and distance from the Planckian locus, CIE 1960 u, v (Ohno 2014, Leukos
// 10:47, parabolic solution); null for light too far from white to have one.
function temperature([x, y, z], locus) {
  const sum = x + 15 * y + 3 * z;
  const u = (4 * x) / sum;
  const v = (6 * y) / sum;
  const away = locus.u.map((each, i) => Math.hypot(each - u, locus.v[i] - v));
  const m = away.indexOf(Math.min(...away));
  if (!(m > 0 && m < away.length - 1) || away[m] > 0.05) return null;
  const [a, b, c] = [away[m - 1] ** 2, away[m] ** 2, away[m + 1] ** 2];
  const step = (0.5 * (a - c)) / (a - 2 * b + c);
  const mired = locus.mired[m] + step * (locus.mired[1] - locus.mired[0]);
  const near = (list) =>
    list[m] +
    step * 0.5 * (list[m + 1] - list[m - 1]) +
    step * step * 0.5 * (list[m + 1] - 2 * list[m] + list[m - 1]);
  const above = v - near(locus.v);
  const aside = u - near(locus.u);
  const alongU = locus.u[m + 1] - locus.u[m - 1];
  const alongV = locus.v[m + 1] - locus.v[m - 1];
  const side = Math.sign(alongU * above - alongV * aside);
  return [1e6 / mired, side * Math.hypot(aside, above)];
}

// Screen colour of a white sheet in this light, as bright as the screen can show it.
function sheetColour([x, y, z]) {
  const linear = [
    3.2404542 * x - 1.5371385 * y - 0.4985314 * z,
    -0.969266 * x + 1.8760108 * y + 0.041556 * z,
    0.0556434 * x - 0.2040259 * y + 1.0572252 * z,
  ].map((c) => Math.max(c, 0));
  const most = Math.max(...linear, 1e-30);
  const coded = linear
    .map((c) => c / most)
    .map((c) => (c <= 0.0031308 ? 12.92 * c : 1.055 * c ** (1 / 2.4) - 0.055));
  return `rgb(${coded.map((c) => Math.round(255 * c)).join(",")})`;
}
