// What the reader has set, and who is to be told. Views that are out of sight are drawn when they come into it.

class State {
  constructor(tanks) {
    this.tanks = tanks;
    this.shown = 0; // which tank the views show
    this.difference = false; // plan: B less A
    this.level = 0; // 0: the soil; else the number of a plane, from below
    this.fit = false; // colours follow the brightest spot
    this.spot = null;
    this.views = [];
    this.waiting = false;
  }

  get tank() {
    return this.tanks[this.shown];
  }

  get surface() {
    return this.level ? this.tank.planes[this.level - 1] : this.tank.soilGround;
  }

  // `draw` runs when something it shows has changed and `node` is in sight.
  watch(node, draw) {
    const view = { draw, stale: true, seen: false };
    this.views.push(view);
    new IntersectionObserver(
      (entries) => {
        view.seen = entries[entries.length - 1].isIntersecting;
        if (view.seen && view.stale) this.ask();
      },
      { rootMargin: "100px" },
    ).observe(node);
    return view;
  }

  changed() {
    for (const view of this.views) view.stale = true;
    this.after?.();
    this.ask();
  }

  ask() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => this.draw());
  }

  draw() {
    this.waiting = false;
    const begun = performance.now();
    for (const view of this.views) {
      if (view.stale && view.seen) {
        view.stale = false;
        view.draw();
      }
    }
    performance.measure("journal-draw", { start: begun });
  }

  // Every view once, seen or not: then all have their height, and a link lands where it points.
  drawAll() {
    for (const view of this.views) {
      if (!view.stale) continue;
      view.stale = false;
      view.draw();
    }
  }

  setDims(which, dims) {
    this.tanks[which].setDims(dims);
    this.changed();
  }

  // Upper end of the colours for a kind of view: `soil`, `tank` or `panes`, over all tanks.
  top(kind) {
    if (!this.fit) return Math.max(...this.tanks.map((tank) => tank.top[kind]));
    const reach = (tank) => brightest(tank, kind);
    return roundUp(Math.max(...this.tanks.map(reach)));
  }

  scale(kind) {
    return new Scale(this.top(kind), this.shared.bands, this.shared.ramp);
  }
}

function brightest(tank, kind) {
  const kinds = { soil: ["soil", "hardscape"], tank: ["soil", "hardscape", "plane"], panes: ["pane"] }[kind];
  const values = tank.surfaces
    .filter((s) => kinds.includes(s.kind))
    .flatMap((s) => Array.from(tank.openDensity(s)));
  const sorted = Float32Array.from(values.filter(Number.isFinite)).sort();
  return sorted.length ? sorted[Math.floor(0.995 * (sorted.length - 1))] : 0;
}

const el = (id) => document.getElementById(id);

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value !== undefined && value !== null && value !== false)
      node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}
