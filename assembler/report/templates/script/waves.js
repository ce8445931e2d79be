// Waveforms of a place: unpacked when it is opened, drawn one below the other, read column by column.
const WAVE = 54;
const FOOT = 36;

// Return the windows of a view; a promise, since the browser unpacks them beside its other work.
async function unpack(text) {
  if (!text) return [];
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).json();
}

const sourceName = (source) => (source === "" ? "result" : source);
const isDifference = (line) => line[0] === "difference";

function peakOf(lines) {
  let peak = 0;
  for (const [, low, high] of lines) {
    for (const value of low) if (value !== null) peak = Math.max(peak, Math.abs(value));
    for (const value of high || []) if (value !== null) peak = Math.max(peak, Math.abs(value));
  }
  return peak;
}

// A figure of one window.
function waveFigure(shown, place) {
  const signal = shown.lines.filter((line) => !isDifference(line));
  const difference = shown.lines.filter(isDifference);
  const peaks = { signal: peakOf(signal), difference: peakOf(difference) };
  const size = Math.max(0, ...shown.lines.map((line) => line[1].length)) * shown.step;
  const each = shown.step === 1 ? "single samples" : `${number(shown.step)} samples a column`;
  const scale = `highest ${number(peaks.signal)}${difference.length ? `, largest difference ${number(peaks.difference)}` : ""} of full scale ${number(fullScale)}`;
  const words = `${shown.title}: ${counted(size, "sample")}, ${each}; ${scale}`;
  const surface = make("canvas", { tabindex: "0", role: "img", "aria-label": `Waveforms, ${words}. ${place.words}` });
  const line = make("p", { class: "faint columns", "aria-live": "polite" }, "\u00a0");
  const figure = make("figure", { class: "wave" }, make("figcaption", {}, words), surface, line);
  const drawing = { surface, line, shown, place, peaks, column: null };
  surface.addEventListener("pointermove", (event) => chooseColumn(drawing, event.offsetX));
  surface.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!step) return;
    event.preventDefault();
    chooseColumn(drawing, null, step * (event.shiftKey ? 10 : 1));
  });
  drawings.push(drawing);
  return figure;
}

const drawings = [];
const fullScale = 2 ** (record.bits - 1) - 1;

function spread(drawing) {
  const columns = Math.max(1, ...drawing.shown.lines.map((line) => line[1].length));
  const wide = drawing.surface.parentElement.clientWidth;
  const x = wide < 560 ? 74 : 110;
  return { columns, wide, x, room: wide - x - 6, each: (wide - x - 6) / columns };
}

function chooseColumn(drawing, x, step = 0) {
  const { columns, x: left, each } = spread(drawing);
  const before = drawing.column === null ? Math.floor(columns / 2) : drawing.column;
  const column = x === null ? before + step : Math.floor((x - left) / each);
  drawing.column = Math.max(0, Math.min(columns - 1, column));
  const told = drawing.shown.lines.map(([source, low, high]) => {
    const [least, most] = [low[drawing.column], (high || low)[drawing.column]];
    const values = least === null ? "nothing" : least === most ? `${least}` : `${least} to ${most}`;
    return `${sourceName(source)} ${values}`;
  });
  drawing.line.textContent = `${placeLabel(drawing.shown.start + drawing.column * drawing.shown.step)}: ${told.join(", ")}`;
  drawWave(drawing);
}

function drawWave(drawing) {
  const { shown, place, peaks } = drawing;
  const { wide, x, room, each } = spread(drawing);
  const height = shown.lines.length * WAVE + FOOT + 6;
  const pen = sharp(drawing.surface, wide, height);
  const across = (position) => x + ((position - shown.start) / shown.step) * each;
  const foot = { x, y: height - FOOT, width: room, bottom: height - FOOT + 4 };
  drawAxis(pen, foot, shown.start, shown.step / each, across);
  shown.lines.forEach((line, row) => {
    const y = row * WAVE + 4;
    const peak = isDifference(line) ? peaks.difference : peaks.signal;
    // A quiet line beside a loud flaw would be flat: it is drawn larger, and says by how much.
    const times = 2 ** Math.max(0, Math.floor(Math.log2(peak / Math.max(1, peakOf([line])))));
    const enlarged = times >= 4 && peakOf([line]) > 0 ? times : 1;
    drawLine(pen, line, { x, y, room, each, peak: peak / enlarged, enlarged }, place.taken.has(line[0]));
  });
  drawBorders(pen, place, { x, room, height: height - FOOT }, across);
  if (drawing.column !== null) {
    pen.fillStyle = colors.ink;
    pen.fillRect(x + (drawing.column + 0.5) * each, 0, 1, height - FOOT);
  }
}

function toneOf(source) {
  const pass = record.passes.findIndex((one) => one.name === source);
  return source === "difference" ? colors.open : pass < 0 ? colors.ink : colors.passes[pass % 8];
}

function drawLine(pen, [source, low, high], at, isTaken) {
  const middle = at.y + WAVE / 2 - 3;
  const reach = (WAVE / 2 - 6) / Math.max(1e-9, at.peak);
  pen.fillStyle = colors.lane;
  pen.fillRect(at.x, at.y, at.room, WAVE - 6);
  pen.fillStyle = colors.line;
  pen.fillRect(at.x, middle, at.room, 1);
  nameLine(pen, source, at, middle, isTaken);
  pen.fillStyle = pen.strokeStyle = toneOf(source);
  pen.lineWidth = 1.3;
  if (high || at.each < 1.5) drawColumns(pen, low, high || low, at, { middle, reach, isHeight: source === "difference" });
  else drawSamples(pen, low, at, middle, reach);
}

function nameLine(pen, source, at, middle, isTaken) {
  const second = [isTaken ? "taken" : "", at.enlarged > 1 ? `×${at.enlarged}` : ""].filter(Boolean).join(" ");
  pen.fillStyle = colors.ink;
  pen.textAlign = "left";
  pen.fillText(fitted(pen, sourceName(source), at.x - 8), 0, middle - (second ? 7 : 0));
  pen.fillText(second, 0, middle + 8);
  if (isTaken) pen.fillRect(at.x - 4, at.y, 2, WAVE - 6);
}

// Columns of several samples: each from its least to its greatest value, on from where the last one ended.
function drawColumns(pen, low, high, at, { middle, reach, isHeight }) {
  let last = null;
  low.forEach((least, column) => {
    if (least === null) {
      last = null;
      return;
    }
    let [from, to] = isHeight ? [Math.min(0, least), Math.max(0, high[column])] : [least, high[column]];
    if (last && !isHeight) [from, to] = [Math.min(from, last[1]), Math.max(to, last[0])];
    last = [least, high[column]];
    pen.fillRect(at.x + column * at.each, middle - to * reach - 0.5, Math.max(1, at.each), (to - from) * reach + 1);
  });
}

function drawSamples(pen, values, at, middle, reach) {
  let isOpen = false;
  pen.beginPath();
  values.forEach((value, column) => {
    if (value === null) {
      isOpen = false;
      return;
    }
    const [x, y] = [at.x + (column + 0.5) * at.each, middle - value * reach];
    if (isOpen) pen.lineTo(x, y);
    else pen.moveTo(x, y);
    isOpen = true;
    if (at.each >= 5) pen.fillRect(x - 1.5, y - 1.5, 3, 3);
  });
  pen.stroke();
}

// Where the flaw, or the fade, begins and ends: a dashed line with a foot that points into it.
function drawBorders(pen, place, at, across) {
  pen.strokeStyle = pen.fillStyle = colors.open;
  pen.lineWidth = 1.5;
  [[place.start, 1], [place.end, -1]].forEach(([position, side]) => {
    const x = across(position);
    if (x < at.x - 1 || x > at.x + at.room + 1) return;
    pen.setLineDash([5, 3]);
    pen.beginPath();
    pen.moveTo(x, 0);
    pen.lineTo(x, at.height);
    pen.stroke();
    pen.setLineDash([]);
    pen.beginPath();
    pen.moveTo(x, 0);
    pen.lineTo(x + side * 6, 0);
    pen.lineTo(x, 6);
    pen.fill();
  });
}

const drawWaves = () => drawings.filter((one) => one.surface.isConnected).forEach(drawWave);
