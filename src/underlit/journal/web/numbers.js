// Numbers as they are shown: no more digits than their standard errors support.

const DASH = "–";
const UNIT = "µmol\u00a0m⁻²\u00a0s⁻¹";

function exponentOf(value) {
  return value ? Math.floor(Math.log10(Math.abs(value)) + 1e-12) : 0;
}

function fixed(value, decimals, keepZeros) {
  const unit = 10 ** -decimals;
  const text = decimals > 0 ? value.toFixed(Math.min(decimals, 20)) : String(Math.round(value / unit) * unit);
  const plain = text === "-0" ? "0" : text;
  return keepZeros || !plain.includes(".") ? plain : plain.replace(/\.?0+$/, "");
}

function rounded(value, error) {
  if (!Number.isFinite(value)) return DASH;
  if (!Number.isFinite(error) || error <= 0) {
    return fixed(value, (error === 0 ? 4 : 2) - 1 - exponentOf(value), false);
  }
  return fixed(value, -exponentOf(Number(error.toPrecision(1))), true);
}

function withError(value, error, digits = 3) {
  if (!Number.isFinite(value) || !Number.isFinite(error) || error === 0) return rounded(value, error);
  const least = value === 0 ? 0 : 10 ** (exponentOf(value) - digits + 1);
  const shown = Math.max(error, least);
  return `${rounded(value, shown)}\u00a0±\u00a0${rounded(shown, shown)}`;
}

// Two digits at most, and none that the error does not support.
const about = ({ value, error }) =>
  value ? rounded(value, Math.max(error, 10 ** (exponentOf(value) - 1))) : short(value);
const short = (value, digits = 3) =>
  Number.isFinite(value) ? fixed(value, digits - 1 - exponentOf(value), false) : DASH;
const cm = (metres) => short(Math.round(metres * 1000) / 10, 4);
const percent = (share) => `${Math.round(100 * share)}`;
