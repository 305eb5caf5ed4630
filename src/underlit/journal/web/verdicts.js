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

function drawVerdicts(tank) {
  const reports = tank.zones.map((zone) => zoneReport(tank, zone));
  el("headline").textContent = verdictHeadline(reports);
  el("headline").hidden = !reports.length;
  el("verdicts").replaceChildren(
    ...reports.map((report, n) =>
      make(
        "li",
        { "data-verdict": report.verdict },
        make("a", { href: `#zone-${n}` }, report.zone.name),
        make("b", {}, `${SIGNS[report.verdict]} ${verdictWords(report)}`),
        make("span", {}, `median ${short(report.median.value, 2)}, wanted ${report.zone.band.join("–")}`),
      ),
    ),
  );
}
