// Picking a spot on the map: by pointer, or by keys that move it from cell to cell.

const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

function listenPlan(state) {
  const canvas = el("plan");
  const where = (event) => {
    const frame = canvas.getBoundingClientRect();
    const [x, y] = state.planSheet.at(event.clientX - frame.left, event.clientY - frame.top);
    return x >= 0 && y >= 0 && x < state.tank.size[0] && y < state.tank.size[1] ? [x, y] : null;
  };
  canvas.addEventListener("click", (event) => {
    const place = where(event);
    if (place) chooseFlat(state, state.surface, place[0], place[1]);
  });
  canvas.addEventListener("pointermove", (event) => {
    const place = where(event);
    if (!place || event.pointerType === "touch") return;
    el("plan-reading").textContent = `Here, ${placeWords(place)}: ${planReading(state, place)} ${UNIT}`;
  });
  canvas.addEventListener("pointerleave", () => (el("plan-reading").textContent = spotWords(state)));
  el("plan-box").addEventListener("keydown", (event) => {
    if (!STEPS[event.key]) return;
    event.preventDefault();
    moveSpot(
      state,
      STEPS[event.key].map((step) => step * (event.shiftKey ? 5 : 1)),
    );
  });
}

// To the cell so many columns and rows away, on the surface that the map shows.
function moveSpot(state, steps) {
  const { surface, spot, tank } = state;
  const place = [surface.xEdges, surface.yEdges].map((edges, k) => {
    const at = spot.place[k] + steps[k] * (edges[1] - edges[0]);
    return Math.max(0, Math.min(tank.size[k] - 1e-6, at));
  });
  chooseFlat(state, surface, ...place);
}

function placeWords([x, y]) {
  return `${cm(x)} cm from the left, ${cm(y)} cm from the front`;
}

// The chosen spot in a sentence: where, how much, and what stands in its way.
function spotWords(state) {
  const { tank, spot } = state;
  const surface = tank.byName.get(spot.surface);
  const light = tank.cell(surface, spot.cell);
  const taken = sightOf(state)
    .filter((fixture) => fixture.any && fixture.takenBy.length && fixture.takenBy[0][1] >= 0.01)
    .sort((a, b) => b.takenBy[0][1] - a.takenBy[0][1])
    .slice(0, 2)
    .map(({ name, takenBy: [[what, share]] }) => `${what} takes ${percent(share)} % of the straight light of ${name}`);
  const shade = taken.length ? taken.join(", ") : "nothing stands before the lamps";
  return `Spot on ${surfaceWords(tank, surface)}, ${placeWords(spot.place)}: ${withError(light.value, light.error)} ${UNIT}; ${shade}.`;
}
