// Plant zones: what share of the area gets how much light, the verdict, and what to dim to. The same rules as
// `underlit.metrics.zones`, taken at any setting of the channels.

const LEVELS = Float64Array.of(0.1, 0.5, 0.9);
const LEVEL_NAMES = ["P10", "median", "P90"];

function judge(p10, median, p90, low, high) {
  if (median < low) return p90 < low ? "too dark" : "low";
  if (median > high) return p10 > high ? "too bright" : "bright";
  return "right";
}

// Everything about one zone at the present settings.
function zoneReport(tank, zone) {
  return tank.once(`zone ${zone.name}`, () => {
    const surface = tank.byName.get(zone.surface);
    const light = new Area(tank.samples(surface, zone.cells, zone.open), zone.area);
    const [low, high] = zone.band ?? [0, Infinity];
    const ranges = zone.band ? [zone.band, [zone.ceiling * (1 + Number.EPSILON), Infinity]] : [];
    const [p10, median, p90, dimTo] = light.of((cells, kept) => {
      const found = light.quantiles(cells, LEVELS, kept);
      return [...found, 100 * Math.min(zone.target / found[1], zone.ceiling / found[2])];
    });
    const [inBand, above] = light.between(...ranges);
    const verdict = judge(p10.value, median.value, p90.value, low, high);
    const nearest = Math.min(Math.abs(median.value - low), Math.abs(median.value - high));
    const few = light.few(LEVELS);
    return {
      zone,
      p10,
      median,
      p90,
      mean: light.mean(),
      inBand,
      above,
      evenness: ratio(p10, median),
      dimTo,
      verdict,
      sure: nearest >= 2 * median.error,
      few: LEVEL_NAMES.filter((_, j) => few[j]),
      binds: bindingOf(tank, zone, median.value, p90.value, dimTo.value),
    };
  });
}

function bindingOf(tank, zone, median, p90, dimTo) {
  const most = Math.max(...tank.dims);
  if (most === 0 || dimTo * most > 100) return "full power";
  return zone.target * p90 <= zone.ceiling * median ? "target" : "ceiling";
}
