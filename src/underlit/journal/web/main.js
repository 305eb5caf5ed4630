// Starts the page: opens the parcel, joins views and controls, then loads the 3-D library.

async function start() {
  const { head, read } = await openParcel();
  const tanks = head.results.map((record) => new Tank(record, read));
  for (const name of ["planes", "panes", "zones"])
    el(`no-${name}`).hidden = tanks.some((tank) => tank[name].length);
  const rendering = openRendering(head.rendering, read);
  for (const tank of tanks) {
    Object.assign(tank, { locus: head.locus, rendering });
    if (tank.front) tank.front.pictures = tank.front.pictures.map(read);
    prepareSight(tank);
  }
  const state = new State(tanks);
  state.shared = head;
  const [x, y] = tanks[0].spot;
  chooseFlat(state, state.tank.soilGround, x, y);
  join(state);
  document.documentElement.dataset.ready = "flat";
  await startScene(state);
  state.drawAll();
  await Promise.all(tanks.map((tank) => tank.frontOpening));
  document.documentElement.dataset.ready = "all";
}

function join(state) {
  buildControls(state);
  const settled = () => {
    for (const tank of state.tanks) tank.showControls();
    el("settings-words").textContent = settingWords(state.tank);
  };
  settled();
  state.after = () => {
    settled();
    announce(state);
  };
  if (matchMedia("(max-width: 860px)").matches) el("settings").open = false;
  state.watch(el("keys"), () => drawKeys(state));
  state.watch(el("plan"), () => drawPlan(state));
  state.watch(el("front"), () => drawFront(state));
  state.watch(el("solid-spot"), () => (el("solid-spot").textContent = spotWords(state)));
  state.watch(el("spot"), () => drawSpot(state));
  state.watch(el("zones"), () => drawZones(state));
  state.watch(el("sections"), () => drawSections(state));
  state.watch(el("panes"), () => drawPanes(state));
  state.watch(el("lamps"), () => drawLamps(state));
  state.watch(el("ends"), () => drawEnds(state));
  state.watch(el("compare"), () => drawComparison(state));
  listenPlan(state);
  listenSpot(state);
  listenLevel(state);
  listenShown(state);
  listenFront(state);
  for (const id of ["show-zones", "show-lamps", "show-things", "show-bands"])
    el(id).addEventListener("change", () => state.changed());
  el("fit").addEventListener("change", () => {
    state.fit = el("fit").checked;
    state.changed();
  });
  listenTheme(state);
}

// The slider that walks through the stack of planes.
function listenLevel(state) {
  const slider = el("level");
  const show = () => {
    slider.max = state.tank.planes.length;
    slider.parentElement.hidden = !state.tank.planes.length;
    state.level = Math.min(state.level, state.tank.planes.length);
    slider.value = state.level;
    slider.setAttribute("aria-valuetext", levelWords(state));
    el("level-words").textContent = levelWords(state);
  };
  slider.addEventListener("input", () => {
    state.level = slider.valueAsNumber;
    show();
    state.changed();
  });
  state.showLevel = show;
  show();
}

function listenShown(state) {
  for (const input of document.querySelectorAll("input[name=shown]")) {
    input.addEventListener("change", () => {
      state.difference = input.value === "difference";
      state.shown = input.value === "A" ? 0 : 1;
      state.showLevel();
      carrySpot(state);
    });
  }
  el("shown").hidden = state.tanks.length < 2;
  el("compare").hidden = state.tanks.length < 2;
  const same = state.tanks.every((tank) =>
    tank.size.every((side, k) => Math.abs(side - state.tanks[0].size[k]) < 1e-3),
  );
  el("shown-difference").hidden = !same;
}

// Light or dark, and the width of the window, change what is on every canvas.
function listenTheme(state) {
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => state.changed());
  let width = window.innerWidth;
  window.addEventListener("resize", () => {
    if (window.innerWidth !== width) state.changed();
    width = window.innerWidth;
  });
}

async function startScene(state) {
  const gl = document.createElement("canvas").getContext("webgl");
  if (!gl) {
    el("scene-note").textContent =
      "This browser draws nothing in 3-D. Maps, sections and panes show the same light.";
    el("scene-buttons").hidden = true;
    return;
  }
  const scene = new TankScene(state, await loadLibrary());
  for (const button of el("scene-buttons").querySelectorAll("button")) {
    const [azimuth, elevation, zoom] = (button.dataset.turn ?? "0 0 1").split(" ").map(Number);
    button.addEventListener("click", () =>
      button.dataset.view ? scene.look(button.dataset.view) : scene.turn(azimuth, elevation, zoom),
    );
  }
  await scene.draw();
  el("scene-note").textContent =
    "Drag to turn, click to read a spot; pinch, or the wheel with Ctrl, comes closer. With the keyboard, arrow keys turn, + and − come closer.";
  let quiet = 0;
  state.watch(el("solid-view"), () => {
    clearTimeout(quiet); // the numbers come first; painting many triangles may take longer than a frame
    quiet = setTimeout(() => scene.draw(), 60);
  });
  for (const id of ["show-panes", "show-sight"]) el(id).addEventListener("change", () => scene.draw());
}

start().catch((fault) => {
  document.documentElement.dataset.ready = "failed";
  const note = el("fault");
  note.hidden = false;
  note.textContent = `This page could not start: ${fault.message}. It needs a browser of 2023 or later.`;
  throw fault;
});
