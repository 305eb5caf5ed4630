// Sliders: every channel, all together, hours of light; the same set for each tank.

function buildControls(state) {
  const box = el("controls");
  state.tanks.forEach((tank, which) => box.append(controlSet(state, tank, which)));
}

function controlSet(state, tank, which) {
  const letter = "AB"[which], name = state.tanks.length > 1 ? `${letter}: ${tank.title}` : "Lamps";
  const traced = Float64Array.from(tank.channels, (channel) => channel.inScene);
  const set = make("fieldset", { id: `set-${letter}` }, make("legend", {}, name));
  const rows = tank.channels.map((channel, m) => slider(`${letter}-${m}`, channel.label, "%", 100, 1, (value) => {
    const dims = Float64Array.from(tank.dims);
    dims[m] = value / 100;
    state.setDims(which, dims);
  }));
  const all = slider(`${letter}-all`, tank.channels.length > 1 ? "all together" : "", "%", 100, 1, (value) => state.setDims(which, together(tank, traced, value / 100)));
  const hours = slider(`${letter}-hours`, "hours a day, rise and fall included", "h", 24, 0.25, (value) => {
    tank.hours = value;
    state.changed();
  });
  set.append(...(tank.channels.length > 1 ? [all.row] : []), ...rows.map((each) => each.row), hours.row, tariffRow(state, tank, letter), buttons(state, tank, which, traced));
  tank.showControls = () => {
    rows.forEach((each, m) => each.show(100 * tank.dims[m]));
    all.show(100 * Math.max(...tank.dims));
    hours.show(tank.hours);
  };
  return set;
}

// All channels in their present proportions, the strongest at a share of full.
function together(tank, traced, share) {
  const most = Math.max(...tank.dims), base = most > 0 ? tank.dims : traced, top = Math.max(...base) || 1;
  return base.map((dim) => (share * dim) / top);
}

function slider(id, label, unit, max, step, change) {
  const input = make("input", { type: "range", id, min: 0, max, step });
  const output = make("output", { for: id });
  const words = (value) => `${Math.round(value * 100) / 100} ${unit}`;
  input.addEventListener("input", () => {
    output.textContent = words(input.valueAsNumber);
    change(input.valueAsNumber);
  });
  const row = make("div", { class: "slider" }, make("label", { for: id }, label), output, input);
  const show = (value) => {
    if (document.activeElement !== input || Math.abs(input.valueAsNumber - value) > step) input.value = value;
    output.textContent = words(unit === "%" ? Math.round(value * 10) / 10 : value);
    input.setAttribute("aria-valuetext", output.textContent);
  };
  return { row, show };
}

function tariffRow(state, tank, letter) {
  const id = `${letter}-tariff`, unit = `${tank.day.currency || "price"} per kWh`;
  const input = make("input", { type: "number", id, min: 0, step: 0.01, value: tank.tariff, inputmode: "decimal" });
  input.addEventListener("input", () => {
    tank.tariff = Math.max(0, input.valueAsNumber || 0);
    state.changed();
  });
  return make("div", { class: "field" }, make("label", { for: id }, unit), input);
}

function buttons(state, tank, which, traced) {
  const set = (dims) => () => state.setDims(which, dims);
  return make("div", { class: "buttons" },
    make("button", { type: "button", id: `${"AB"[which]}-traced`, onclick: () => {
      tank.hours = tank.day.hours;
      state.setDims(which, traced);
    } }, "As in the scene"),
    make("button", { type: "button", onclick: set(traced.map(() => 1)) }, "All full"));
}

// The same settings for the command line.
function commandWords(tank) {
  const quote = (text) => (/^[\w./-]+$/.test(text) ? text : `"${text.replace(/(["\\$`])/g, "\\$1")}"`);
  const settings = tank.channels.map((channel, m) => `--dim ${quote(`${channel.fixture}/${channel.name}=${Math.round(1000 * tank.dims[m]) / 10}%`)}`);
  return `underlit show RESULT ${settings.join(" ")}`;
}

function settingWords(tank) {
  const each = [...new Set(Array.from(tank.dims, (dim) => Math.round(100 * dim)))];
  return `${each.length === 1 ? `all at ${each[0]}` : `${Math.min(...each)}–${Math.max(...each)}`} %, ${tank.hours} h, ${short(tank.power(), 3)} W`;
}
