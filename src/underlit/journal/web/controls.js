// Sliders: every channel, all together, hours of light; the same set for each tank.

function buildControls(state) {
  const box = el("controls");
  state.tanks.forEach((tank, which) => box.append(controlSet(state, tank, which)));
}

function controlSet(state, tank, which) {
  const letter = "AB"[which];
  const name = state.tanks.length > 1 ? `${letter}: ${tank.title}` : "Lamps";
  const inScene = Float64Array.from(tank.channels, (channel) => channel.inScene);
  const set = make("fieldset", { id: `set-${letter}` }, make("legend", {}, name));
  const every = tank.channels.map((_, m) => m);
  const groups = fixtureGroups(tank);
  const sliders = [];
  const add = (box, id, label, members) => {
    const row = slider(`${letter}-${id}`, label, "%", 100, 1, (value) =>
      state.setDims(which, together(tank, inScene, members, value / 100)),
    );
    sliders.push(() => row.show(100 * Math.max(...members.map((m) => tank.dims[m]))));
    box.append(row.row);
  };
  if (every.length > 1) add(set, "all", "all together", every);
  groups.forEach(([fixture, members], n) => {
    let box = set;
    if (members.length > 1 && groups.length > 1) {
      add(set, `fixture-${n}`, fixture, members);
      box = make(
        "details",
        { class: "channels", open: every.length < 9 },
        make("summary", {}, `channels of ${fixture}`),
      );
      set.append(box);
    }
    for (const m of members)
      add(box, m, groups.length > 1 && box !== set ? tank.channels[m].name : tank.channels[m].label, [m]);
  });
  const hours = slider(`${letter}-hours`, "hours a day, rise and fall included", "h", 24, 0.25, (value) => {
    tank.hours = value;
    state.changed();
  });
  set.append(hours.row, tariffRow(state, tank, letter), buttons(state, tank, which, inScene));
  tank.showControls = () => {
    for (const show of sliders) show();
    hours.show(tank.hours);
  };
  return set;
}

function fixtureGroups(tank) {
  const groups = new Map();
  tank.channels.forEach((channel, m) =>
    groups.set(channel.fixture, [...(groups.get(channel.fixture) ?? []), m]),
  );
  return [...groups];
}

// Some channels in their present proportions, the strongest at a share of full; the others as they are.
function together(tank, inScene, members, share) {
  const most = (dims) => Math.max(...members.map((m) => dims[m]));
  const dims = Float64Array.from(tank.dims);
  const base = most(dims) > 0 ? Float64Array.from(dims) : most(inScene) > 0 ? inScene : dims.map(() => 1);
  for (const m of members) dims[m] = (share * base[m]) / most(base);
  return dims;
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
  const id = `${letter}-tariff`;
  const unit = `${tank.day.currency || "price"} per kWh`;
  const input = make("input", {
    type: "number",
    id,
    min: 0,
    step: 0.01,
    value: tank.tariff,
    inputmode: "decimal",
  });
  input.addEventListener("input", () => {
    tank.tariff = Math.max(0, input.valueAsNumber || 0);
    state.changed();
  });
  return make("div", { class: "field" }, make("label", { for: id }, unit), input);
}

function buttons(state, tank, which, inScene) {
  const set = (dims) => () => state.setDims(which, dims);
  return make(
    "div",
    { class: "buttons" },
    make(
      "button",
      {
        type: "button",
        id: `${"AB"[which]}-traced`,
        onclick: () => {
          tank.hours = tank.day.hours;
          state.setDims(which, inScene);
        },
      },
      "As in the scene",
    ),
    make("button", { type: "button", onclick: set(inScene.map(() => 1)) }, "All full"),
  );
}

// The same settings for the command line.
function commandWords(tank) {
  const quote = (text) => (/^[\w./-]+$/.test(text) ? text : `"${text.replace(/(["\\$`])/g, "\\$1")}"`);
  const settings = tank.channels.map(
    (channel, m) =>
      `--dim ${quote(`${channel.fixture}/${channel.name}=${Math.round(1000 * tank.dims[m]) / 10}%`)}`,
  );
  return `underlit show RESULT ${settings.join(" ")}`;
}

function settingWords(tank) {
  const each = [...new Set(Array.from(tank.dims, (dim) => Math.round(100 * dim)))];
  return `${each.length === 1 ? each[0] : `${Math.min(...each)}–${Math.max(...each)}`} %, ${tank.hours} h, ${short(tank.power(), 3)} W`;
}
