// The view from the front: a small picture of each channel's light, added up as light does, in screen colours as
// `underlit.figures.screen` makes them.

const WHITE_WORDS = {
  adapted: "an eye used to these lamps, so that their own light looks white",
  D65: "an eye used to daylight, so that the colour of the lamps shows",
};

async function openPicture(bytes) {
  const image = new Image();
  const address = URL.createObjectURL(new Blob([bytes], { type: "image/jpeg" }));
  image.src = address;
  await image.decode();
  URL.revokeObjectURL(address);
  const board = new OffscreenCanvas(image.width, image.height);
  const pen = board.getContext("2d", { willReadFrequently: true });
  pen.drawImage(image, 0, 0);
  return pen.getImageData(0, 0, image.width, image.height).data;
}

// X, Y, Z of every pixel at the present settings.
function frontLight(tank) {
  return tank.once("front", () => {
    const { size, gamma, scales } = tank.front;
    const n = size[0] * size[1];
    const sum = new Float32Array(3 * n);
    tank.dims.forEach((dim, m) => {
      if (!dim) return;
      const steps = tank.frontSteps[m];
      for (let k = 0; k < 3; k++) {
        const light = Float32Array.from({ length: 256 }, (_, s) => dim * scales[m][k] * (s / 255) ** gamma);
        for (let i = 0; i < n; i++) sum[3 * i + k] += light[steps[4 * i + k]];
      }
    });
    return sum;
  });
}

const times = (a, b) => a.map((row) => b[0].map((_, j) => row.reduce((sum, value, k) => sum + value * b[k][j], 0)));
const applied = (a, v) => a.map((row) => row.reduce((sum, value, k) => sum + value * v[k], 0));

// From X, Y, Z over the exposure to linear screen colours; `adapted`: what the lamps send looks white (CAT02).
function screenMatrix(tank, screen, white) {
  if (white !== "adapted") return screen.linear;
  const lamp = [0, 1, 2].map((k) => tank.dims.reduce((sum, dim, m) => sum + dim * tank.front.lamps[m][k], 0));
  if (!(lamp[1] > 0)) return screen.linear;
  const here = applied(
    screen.cones,
    lamp.map((value) => value / lamp[1]),
  );
  const there = applied(screen.cones, screen.white);
  const scaled = screen.cones.map((row, k) => row.map((value) => (value * there[k]) / here[k]));
  return times(screen.linear, times(screen.fromCones, scaled));
}

const CODES = Uint8ClampedArray.from({ length: 8192 }, (_, i) => {
  const c = i / 8191;
  return 255 * (c <= 0.0031308 ? 12.92 * c : 1.055 * c ** (1 / 2.4) - 0.055);
});

// Colours with a negative part are mixed with their grey; then one tone curve, straight up to the knee.
function frontImage(light, [width, height], matrix, exposure, { luminance, knee }) {
  const image = new ImageData(width, height);
  const [[a, b, c], [d, e, f], [g, h, i]] = matrix.map((row) => row.map((value) => value / exposure));
  const [p, q, s] = luminance;
  for (let n = 0; n < width * height; n++) {
    const x = light[3 * n];
    const y = light[3 * n + 1];
    const z = light[3 * n + 2];
    let red = a * x + b * y + c * z;
    let green = d * x + e * y + f * z;
    let blue = g * x + h * y + i * z;
    const least = Math.min(red, green, blue);
    if (least < 0) {
      const grey = Math.max(0, p * red + q * green + s * blue);
      const kept = grey > 0 ? grey / (grey - least) : 0;
      red = Math.max(0, grey + kept * (red - grey));
      green = Math.max(0, grey + kept * (green - grey));
      blue = Math.max(0, grey + kept * (blue - grey));
    }
    const most = Math.max(red, green, blue);
    const shown = most <= knee ? 1 : (knee + (1 - knee) * (1 - Math.exp((knee - most) / (1 - knee)))) / most;
    image.data[4 * n] = CODES[Math.round(8191 * shown * red)];
    image.data[4 * n + 1] = CODES[Math.round(8191 * shown * green)];
    image.data[4 * n + 2] = CODES[Math.round(8191 * shown * blue)];
    image.data[4 * n + 3] = 255;
  }
  return image;
}

// One exposure for all tanks of the page, so that they can be compared by eye. [cd m-2]
function frontExposure(state) {
  const seen = state.tanks.filter((tank) => tank.front);
  const mean = Math.exp(seen.reduce((sum, tank) => sum + Math.log(tank.front.exposure) / seen.length, 0));
  return mean / 2 ** el("exposure").valueAsNumber;
}

function drawFront(state) {
  const exposure = frontExposure(state);
  const white = document.querySelector("input[name=white]:checked").value;
  el("front-caption").textContent =
    `In the light of these settings, for ${WHITE_WORDS[white]}. White is ${short(exposure, 2)} cd m⁻²; brighter light is pressed together.`;
  state.tanks.forEach((tank, which) => tank.front && drawFrontOf(state, tank, which, exposure, white));
}

function drawFrontOf(state, tank, which, exposure, white) {
  if (!tank.frontSteps) {
    tank.frontOpening ??= Promise.all(tank.front.pictures.map(openPicture)).then((steps) => {
      tank.frontSteps = steps;
      drawFront(state);
    });
    return;
  }
  const { size, soil } = tank.front;
  const matrix = screenMatrix(tank, state.shared.screen, white);
  const image = frontImage(frontLight(tank), size, matrix, exposure, state.shared.screen);
  const [length, , height] = tank.size;
  const canvas = el(`front-${"AB"[which]}`);
  const sheet = new Sheet(canvas, [0, length, 0, height], [0, 0, 0, 0], 620);
  const board = new OffscreenCanvas(...size);
  board.getContext("2d").putImageData(image, 0, 0);
  Object.assign(sheet.pen, { imageSmoothingEnabled: true, imageSmoothingQuality: "high" });
  sheet.pen.drawImage(board, 0, 0, sheet.width, sheet.height);
  const sliver = (1.5 * height) / size[1]; // lines of sight that just clear the soil may end in it behind the glass
  sheet.path([[0, 0], ...soil.map(([x, z]) => [x, z + sliver]), [length, 0]]);
  sheet.fill("#1d1916");
  if (tank.water > 0) sheet.line(0, sheet.y(tank.water), sheet.width, sheet.y(tank.water), "rgba(127,163,173,0.6)");
  tank.frontShown = image;
  describe(canvas, `${tank.title} as seen from the front, for ${WHITE_WORDS[white]}. ${el("soil-colour").textContent}.`);
}

function listenFront(state) {
  const seen = state.tanks.some((tank) => tank.front);
  el("no-front").hidden = seen;
  el("front-settings").hidden = !seen;
  state.tanks.forEach((tank, which) => {
    const box = el(`front-box-${"AB"[which]}`);
    box.hidden = !tank.front;
    box.querySelector("figcaption").textContent = state.tanks.length > 1 ? `${"AB"[which]}: ${tank.title}` : "";
  });
  if (state.tanks.length > 1) document.querySelector("input[name=white][value=D65]").checked = true;
  const again = () => state.changed();
  for (const input of document.querySelectorAll("input[name=white]")) input.addEventListener("change", again);
  const slider = el("exposure");
  const words = () => {
    const stops = slider.valueAsNumber;
    const text = stops ? `${stops > 0 ? "+" : "−"}${Math.abs(stops)} stops` : "as exposed for the soil";
    el("exposure-words").textContent = text;
    slider.setAttribute("aria-valuetext", text);
  };
  slider.addEventListener("input", () => {
    words();
    again();
  });
  words();
}
