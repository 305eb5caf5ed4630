// The tank in three dimensions, painted with light. The library turns and draws it; what is hit by a click is
// found here, on the triangles themselves.

const FOVY = Math.PI / 4; // of the library's perspective
const VIEWS = {
  front: [-90, 12],
  above: [-90, 89],
  left: [180, 12],
  right: [0, 12],
  back: [90, 12],
  corner: [-62, 24],
};

class TankScene {
  constructor(state, plotly) {
    Object.assign(this, {
      state,
      plotly,
      node: el("solid-view"),
      azimuth: VIEWS.corner[0],
      elevation: VIEWS.corner[1],
      zoom: 1,
    });
    this.busy = false;
    this.again = false;
  }

  // Boxes of the world: data run over `low` to `high`, and the library lays them out in `aspect`.
  frame() {
    const { tank } = this.state;
    const corners = tank.fixtures.flatMap((fixture) => fixture.corners);
    const edge = (k, pick, start) => corners.reduce((best, corner) => pick(best, corner[k]), start);
    this.low = [0, 1, 2].map((k) => edge(k, Math.min, -tank.glass));
    this.high = [0, 1, 2].map((k) => edge(k, Math.max, tank.size[k] + tank.glass));
    const spans = this.low.map((low, k) => this.high[k] - low);
    const most = Math.max(...spans);
    this.aspect = spans.map((span) => (1.25 * span) / most);
  }

  async draw() {
    if (this.busy) return (this.again = true);
    this.busy = true;
    const begun = performance.now();
    try {
      const tank = this.state.tank;
      if (this.drawn !== tank || this.ink !== themeInk("ink")) await this.build(tank);
      else await this.repaint();
    } finally {
      this.busy = false;
      performance.measure("journal-paint", { start: begun });
    }
    if (this.again) {
      this.again = false;
      return this.draw();
    }
    return undefined;
  }

  // Meshes of the shown tank; each knows the surface it is painted with.
  parts() {
    const { tank, surface, level } = this.state;
    const solid = [{ surface: tank.soilGround, ...tank.soilMesh }];
    for (const piece of tank.pieces) solid.push({ surface: tank.byName.get(piece.name), ...piece });
    const sheets = tank.panes.map((pane) => ({
      surface: pane,
      sheet: true,
      hidden: !el("show-panes").checked,
      ...gridMesh(pane, tank),
    }));
    const plane = tank.planes.length ? (level ? surface : tank.planes[0]) : null;
    if (plane) sheets.push({ surface: plane, sheet: true, hidden: !level, ...gridMesh(plane, tank) });
    return [...solid, ...sheets];
  }

  async build(tank) {
    this.frame();
    this.list = this.parts();
    const scale = this.scale();
    const traces = this.list.map((part) => meshTrace(tank, part, scale));
    traces.push(...lineTraces(tank));
    const axis = (k) => ({ visible: false, range: [this.low[k], this.high[k]], autorange: false });
    const layout = {
      margin: { l: 0, r: 0, t: 0, b: 0 },
      paper_bgcolor: "rgba(0,0,0,0)",
      showlegend: false,
      hovermode: false,
      scene: {
        xaxis: axis(0),
        yaxis: axis(1),
        zaxis: axis(2),
        aspectmode: "manual",
        dragmode: "turntable",
        hovermode: false,
        aspectratio: { x: this.aspect[0], y: this.aspect[1], z: this.aspect[2] },
        camera: this.camera(),
      },
    };
    await this.plotly.react(this.node, traces, layout, {
      displayModeBar: false,
      responsive: true,
      scrollZoom: false,
    });
    if (!this.drawn) this.listen();
    this.drawn = tank;
    this.ink = themeInk("ink"); // lines are drawn anew for light or dark
    this.marked = null;
    this.markSpot();
  }

  scale() {
    return this.state.scale(this.state.level ? "tank" : "soil");
  }

  async repaint() {
    const { tank } = this.state;
    const scale = this.scale();
    const fresh = this.parts();
    const plane = fresh.length - 1;
    const moved = fresh[plane].sheet && fresh[plane].surface !== this.list[plane].surface;
    this.list = fresh;
    if (moved) {
      const mesh = meshTrace(tank, fresh[plane], scale);
      await this.plotly.restyle(
        this.node,
        Object.fromEntries(["x", "y", "z", "i", "j", "k"].map((key) => [key, [mesh[key]]])),
        [plane],
      );
    }
    const shown = fresh.map((part, n) => n).filter((n) => !fresh[n].hidden || this.node.data[n].visible);
    await this.plotly.restyle(
      this.node,
      {
        intensity: shown.map((n) => painted(tank, fresh[n], scale)),
        cmax: shown.map(() => scale.top),
        visible: shown.map((n) => !fresh[n].hidden),
      },
      shown,
    );
    this.markSpot();
  }

  markSpot() {
    const { spot } = this.state;
    const first = this.list.length + 3;
    const sight = el("show-sight").checked ? sightOf(this.state) : [];
    if (this.marked === spot.place && this.rays === sight) return;
    [this.marked, this.rays] = [spot.place, sight];
    const rays = sight.flatMap((each) => each.rays);
    const free = pointsOf(rays.filter((ray) => !ray.by).map((ray) => ray.line));
    const shaded = pointsOf(rays.filter((ray) => ray.by).map((ray) => ray.line));
    const [x, y, z] = spot.place.map((value) => [value]);
    this.plotly.restyle(
      this.node,
      { x: [free.x, shaded.x, x], y: [free.y, shaded.y, y], z: [free.z, shaded.z, z] },
      [first, first + 1, first + 3],
    );
  }

  camera() {
    const { far, height } = this.fit();
    const [x, y, z] = this.sides()[0].map((value) => this.zoom * far * value);
    return {
      eye: { x, y, z: z + height },
      center: { x: 0, y: 0, z: height },
      up: { x: 0, y: 0, z: 1 },
    };
  }

  // Unit vectors towards the eye, to its right and up.
  sides() {
    const a = (this.azimuth * Math.PI) / 180;
    const e = (this.elevation * Math.PI) / 180;
    const away = [Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)];
    const right = [-Math.sin(a), Math.cos(a), 0];
    return [away, right, cross(away, right)];
  }

  // Height to look at and distance from it at which tank and lamps just fill the window, as they are turned now.
  fit() {
    const key = [this.azimuth, this.elevation, this.node.clientWidth, this.node.clientHeight].join();
    if (this.fitted?.key === key) return this.fitted;
    let best = { far: Infinity };
    for (let height = -0.4; height < 0.41; height += 0.02) {
      const far = 1.1 * this.reach(height);
      if (far < best.far) best = { key, far, height };
    }
    return (this.fitted = best);
  }

  reach(height) {
    const [away, right, above] = this.sides();
    const tall = Math.tan(FOVY / 2);
    const wide = tall * (this.node.clientWidth / Math.max(this.node.clientHeight, 1));
    const needed = this.outline().map(([x, y, z]) => {
      const point = [x, y, z - height];
      return dot(point, away) + Math.max(Math.abs(dot(point, right)) / wide, Math.abs(dot(point, above)) / tall);
    });
    return Math.max(...needed);
  }

  // Corners of the tank and of the lamps, as the library lays them out round the middle.
  outline() {
    const { tank } = this.state;
    const box = [0, 1, 2, 3, 4, 5, 6, 7].map((n) => tank.size.map((side, k) => (n >> k) & 1 && side));
    return [...box, ...tank.fixtures.flatMap((fixture) => fixture.corners)].map((corner) =>
      corner.map((value, k) => ((value - this.low[k]) / (this.high[k] - this.low[k]) - 0.5) * this.aspect[k]),
    );
  }

  turn(azimuth, elevation, zoom = 1) {
    this.follow();
    this.azimuth += azimuth;
    this.elevation = Math.max(-20, Math.min(89, this.elevation + elevation));
    this.zoom = Math.max(0.2, Math.min(3, this.zoom * zoom));
    return this.plotly.relayout(this.node, { "scene.camera": this.camera() });
  }

  look(view) {
    [this.azimuth, this.elevation] = VIEWS[view];
    this.zoom = 1;
    return this.plotly.relayout(this.node, { "scene.camera": this.camera() });
  }

  // Take over where the reader has turned it by hand.
  follow() {
    const { eye, center } = this.node.layout.scene.camera;
    const [x, y, z] = [eye.x - center.x, eye.y - center.y, eye.z - center.z];
    const far = Math.hypot(x, y, z);
    this.azimuth = (Math.atan2(y, x) * 180) / Math.PI;
    this.elevation = (Math.asin(z / far) * 180) / Math.PI;
    this.zoom = far / this.fit().far;
  }

  listen() {
    let down = null;
    this.node.addEventListener("pointerdown", (event) => (down = [event.clientX, event.clientY]), true);
    this.node.addEventListener(
      "pointerup",
      (event) => {
        if (down && Math.hypot(event.clientX - down[0], event.clientY - down[1]) < 5)
          this.pick(event.clientX, event.clientY);
        down = null;
      },
      true,
    );
    this.node.addEventListener(
      "wheel",
      (event) => {
        if (!event.ctrlKey) return; // a plain wheel scrolls the page
        event.preventDefault();
        this.turn(0, 0, Math.exp(event.deltaY / 300));
      },
      { passive: false },
    );
    this.node.addEventListener("keydown", (event) => {
      const turns = {
        ArrowLeft: [-10, 0],
        ArrowRight: [10, 0],
        ArrowUp: [0, 8],
        ArrowDown: [0, -8],
        "+": [0, 0, 0.85],
        "-": [0, 0, 1.18],
      };
      if (!turns[event.key]) return;
      event.preventDefault();
      this.turn(...turns[event.key]);
    });
  }

  // The spot under a point of the screen.
  pick(clientX, clientY) {
    const frame = this.node.getBoundingClientRect();
    const ray = this.ray(
      (2 * (clientX - frame.left)) / frame.width - 1,
      1 - (2 * (clientY - frame.top)) / frame.height,
      frame.width / frame.height,
    );
    let best = null;
    for (const part of this.list.filter((each) => !each.hidden)) {
      const hit = nearestFace(part, ray.origin, ray.direction, 0, best ? best.t : Infinity);
      if (hit) best = { ...hit, part };
    }
    if (!best) return;
    const place = ray.origin.map((value, k) => value + best.t * ray.direction[k]);
    chooseCell(this.state, best.part.surface, best.part.cell[best.face], place);
  }

  // From the eye through a point of the screen (-1 to 1), in metres of the tank.
  ray(sx, sy, shape) {
    const { eye, center, up } = this.node.layout.scene.camera;
    const list = (v) => [v.x, v.y, v.z];
    const forward = unit(minus(list(center), list(eye)));
    const right = unit(cross(forward, list(up)));
    const above = cross(right, forward);
    const t = Math.tan(FOVY / 2);
    const toward = forward.map((f, k) => f + sx * t * shape * right[k] + sy * t * above[k]);
    const metres = (v, k) => (v / this.aspect[k]) * (this.high[k] - this.low[k]);
    return {
      origin: list(eye).map((v, k) => metres(v, k) + (this.low[k] + this.high[k]) / 2),
      direction: toward.map(metres),
    };
  }
}
