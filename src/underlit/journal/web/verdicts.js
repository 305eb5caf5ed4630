// The verdicts before all numbers: which plant zones get what they want at the present settings.

function verdictHeadline(reports) {
  const right = reports.filter((report) => report.verdict === "right").length;
  const n = reports.length;
  if (!n) return "";
  if (n === 1) return right ? "The plant zone gets the light it wants." : "The plant zone does not get the light it wants.";
  if (right === n) return `All ${n} plant zones get the light they want.`;
  if (!right) return `None of the ${n} plant zones gets the light it wants.`;
  return `${right} of ${n} plant zones ${right === 1 ? "gets" : "get"} the light they want.`;
}

// Of the shown tank; beside another, the count of both.
function headlineOf(state) {
  const found = state.tanks.map((tank) => tank.zones.map((zone) => zoneReport(tank, zone)));
  const whole = verdictHeadline(found[state.shown]);
  if (found.length < 2 || !whole) return whole;
  const other = 1 - state.shown;
  const right = found[other].filter((report) => report.verdict === "right").length;
  return `${"AB"[state.shown]}: ${whole} ${"AB"[other]}: ${right} of ${found[other].length}.`;
}

function drawVerdicts(state) {
  const { tank } = state;
  const reports = tank.zones.map((zone) => zoneReport(tank, zone));
  el("headline").textContent = headlineOf(state);
  el("headline").hidden = !reports.length;
  el("verdicts").style.setProperty("--columns", reports.length === 4 ? 2 : Math.min(reports.length, 3));
  el("verdicts").replaceChildren(
    ...reports.map((report, n) =>
      make(
        "li",
        { "data-verdict": report.verdict },
        make("a", { href: `#zone-${n}` }, report.zone.name),
        make("b", {}, `${SIGNS[report.verdict]} ${verdictWords(report)}`),
        make("span", {}, `median ${about(report.median)}, wanted ${report.zone.band.join("–")}`),
      ),
    ),
  );
}
