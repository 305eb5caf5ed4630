// Drawing on a canvas in centimetres of the tank, sharp on any screen, in the colours of the page's theme.

function themeInk(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

class Sheet {
  // `box`: [x0, x1, y0, y1] in metres, y up; `pad`: [left, right, top, bottom] in pixels.
  constructor(canvas, box, pad, tallest = 520) {
    const ratio = window.devicePixelRatio || 1;
    const wide = Math.max(canvas.parentElement.clientWidth, 120);
    const perMetre = Math.min(
      (wide - pad[0] - pad[1]) / (box[1] - box[0]),
      (tallest - pad[2] - pad[3]) / (box[3] - box[2]),
    );
    const width = perMetre * (box[1] - box[0]) + pad[0] + pad[1];
    const height = perMetre * (box[3] - box[2]) + pad[2] + pad[3];
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
      canvas.style.width = `${width}px`;
      canvas.style.height = `${height}px`;
    }
    this.pen = canvas.getContext("2d");
    this.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.pen.clearRect(0, 0, width, height);
    Object.assign(this, { box, pad, perMetre, width, height });
  }

  x(metres) {
    return this.pad[0] + (metres - this.box[0]) * this.perMetre;
  }

  y(metres) {
    return this.height - this.pad[3] - (metres - this.box[2]) * this.perMetre;
  }

  // Metres at a pixel of the canvas.
  at(px, py) {
    return [
      this.box[0] + (px - this.pad[0]) / this.perMetre,
      this.box[2] + (this.height - this.pad[3] - py) / this.perMetre,
    ];
  }

  path(points, closed = true) {
    this.pen.beginPath();
    this.extend(points, closed);
  }

  extend(points, closed = true) {
    points.forEach(([x, y], i) =>
      i ? this.pen.lineTo(this.x(x), this.y(y)) : this.pen.moveTo(this.x(x), this.y(y)),
    );
    if (closed) this.pen.closePath();
  }

  stroke(colour, width, dash = []) {
    Object.assign(this.pen, { strokeStyle: colour, lineWidth: width, lineJoin: "round", lineCap: "round" });
    this.pen.setLineDash(dash);
    this.pen.stroke();
    this.pen.setLineDash([]);
  }

  // A line that shows on any colour of a map: dark within pale, or the other way.
  haloed(width, dash = [], halo = 2) {
    this.stroke("rgba(255,255,255,0.85)", width + halo);
    this.stroke("#111", width, dash);
  }

  fill(colour) {
    this.pen.fillStyle = colour;
    this.pen.fill("evenodd");
  }

  // Cells of a grid in the colours of a scale, as they were counted; `paint(c)` gives [r, g, b] or null.
  cells(xEdges, yEdges, paint, soft = false) {
    const nx = xEdges.length - 1;
    const ny = yEdges.length - 1;
    const image = new ImageData(nx, ny);
    for (let j = 0; j < ny; j++) {
      for (let i = 0; i < nx; i++) {
        const rgb = paint(j * nx + i);
        if (rgb) image.data.set([rgb[0], rgb[1], rgb[2], 255], 4 * ((ny - 1 - j) * nx + i));
      }
    }
    const small = new OffscreenCanvas(nx, ny);
    small.getContext("2d").putImageData(image, 0, 0);
    this.pen.imageSmoothingEnabled = soft;
    const x = this.x(xEdges[0]);
    const y = this.y(yEdges[ny]);
    this.pen.drawImage(small, x, y, this.x(xEdges[nx]) - x, this.y(yEdges[0]) - y);
  }

  text(
    words,
    px,
    py,
    { colour = themeInk("ink"), align = "left", base = "middle", size = 12, halo = null, weight = "" } = {},
  ) {
    Object.assign(this.pen, {
      font: `${weight} ${size}px system-ui, sans-serif`,
      textAlign: align,
      textBaseline: base,
    });
    if (halo) {
      Object.assign(this.pen, { strokeStyle: halo, lineWidth: 3.5, lineJoin: "round" });
      this.pen.strokeText(words, px, py);
    }
    this.pen.fillStyle = colour;
    this.pen.fillText(words, px, py);
  }

  // Round centimetres along both axes.
  axes(xName, yName) {
    const muted = themeInk("muted");
    const bottom = this.height - this.pad[3];
    const left = this.pad[0];
    for (const metres of ticks(this.box[0], this.box[1], this.width / 70)) {
      this.line(this.x(metres), bottom + 6, this.x(metres), bottom + 10, muted);
      this.text(cm(metres), this.x(metres), bottom + 19, { align: "center", colour: muted, size: 11 });
    }
    for (const metres of ticks(this.box[2], this.box[3], this.height / 55)) {
      this.line(left - 10, this.y(metres), left - 6, this.y(metres), muted);
      this.text(cm(metres), left - 14, this.y(metres), { align: "right", colour: muted, size: 11 });
    }
    if (xName)
      this.text(xName, this.x((this.box[0] + this.box[1]) / 2), bottom + 35, {
        align: "center",
        colour: muted,
      });
    if (yName) this.sideways(yName, left - 38, this.y((this.box[2] + this.box[3]) / 2), muted);
  }

  line(x0, y0, x1, y1, colour) {
    this.pen.beginPath();
    this.pen.moveTo(x0, y0);
    this.pen.lineTo(x1, y1);
    this.stroke(colour, 1);
  }

  sideways(words, px, py, colour) {
    this.pen.save();
    this.pen.translate(px, py);
    this.pen.rotate(-Math.PI / 2);
    this.text(words, 0, 0, { align: "center", colour });
    this.pen.restore();
  }
}

function ticks(low, high, most) {
  const span = high - low;
  const step = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5].find((s) => span / s <= Math.max(most, 1)) ?? 5;
  const found = [];
  for (let t = Math.ceil(low / step - 1e-9) * step; t <= high + 1e-9; t += step)
    found.push(Math.round(t * 1e4) / 1e4);
  return found;
}

// The colour bar below a map: numbers where plant bands begin, and their names.
function drawScale(canvas, scale) {
  const ratio = window.devicePixelRatio || 1;
  const wide = Math.max(canvas.parentElement.clientWidth, 120);
  const high = 46;
  Object.assign(canvas, { width: Math.round(wide * ratio), height: Math.round(high * ratio) });
  Object.assign(canvas.style, { width: `${wide}px`, height: `${high}px` });
  const sheet = Object.assign(Object.create(Sheet.prototype), { pen: canvas.getContext("2d") });
  sheet.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  const x0 = 8;
  const x1 = wide - 34;
  const at = (value) => x0 + ((value - scale.bottom) / (scale.top - scale.bottom)) * (x1 - x0);
  for (let px = x0; px < x1; px++) {
    sheet.pen.fillStyle = scale.css(
      scale.bottom + ((px + 0.5 - x0) / (x1 - x0)) * (scale.top - scale.bottom),
    );
    sheet.pen.fillRect(px, 16, 1.5, 12);
  }
  writeBands(sheet, scale, at);
}

function writeBands(sheet, scale, at) {
  const muted = themeInk("muted");
  const ink = themeInk("ink");
  const marks = scale.differences
    ? [scale.bottom, scale.bottom / 2, 0, scale.top / 2, scale.top]
    : [0, ...scale.levels, scale.top];
  const wanted =
    scale.levels.length > 1 || scale.differences ? marks : [0, 0.25, 0.5, 0.75, 1].map((f) => f * scale.top);
  let lastEnd = -Infinity;
  for (const mark of wanted) {
    const words = `${scale.differences && mark > 0 ? "+" : ""}${short(mark)}`.replace("-", "−");
    const half = 3.5 * words.length + 2;
    sheet.line(at(mark), 16, at(mark), 32, ink);
    if (at(mark) - half < lastEnd) continue;
    sheet.text(words, at(mark), 39, { align: "center", size: 11, colour: ink });
    lastEnd = at(mark) + half;
  }
  const starts = [...scale.levels, scale.top];
  for (let i = 0; i + 1 < starts.length; i++) {
    const name = scale.bands.find((band) => band.low === starts[i]).name;
    const room = at(starts[i + 1]) - at(starts[i]);
    if (room > 6.5 * name.length)
      sheet.text(name, at(starts[i]) + room / 2, 8, { align: "center", size: 11, colour: muted });
  }
}

// A sentence for the picture's name, so that it says the same to those who do not see it.
function describe(canvas, words) {
  if (canvas.getAttribute("aria-label") !== words) canvas.setAttribute("aria-label", words);
}
