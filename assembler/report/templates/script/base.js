// What all parts of the script use: the record, elements, colours, timecode.
const record = JSON.parse(document.getElementById("record").textContent);
const byId = (name) => document.getElementById(name);
const trackOf = new Map(record.tracks.map((track) => [track.number, track]));
const passCount = record.passes.length;

// Make an element; texts become text nodes, so that no name is ever read as markup.
function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null) made.setAttribute(name, value);
  }
  made.append(...children);
  return made;
}

const number = (value) => Math.round(value).toLocaleString("en").replaceAll(",", "\u2009");
const counted = (count, noun) => `${number(count)} ${noun}${count === 1 ? "" : "s"}`;

// Colours stand in the style alone; a change between light and dark has them read again.
let colors = {};
function readColors() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(`--${name}`).trim();
  colors = { passes: [], states: [] };
  for (const name of ["paper", "card", "lane", "line", "ink", "faint", "open", "sound"]) colors[name] = of(name);
  for (let at = 0; at < 8; at += 1) colors.passes.push(of(`p${at}`));
  for (const state of record.states) colors.states.push(of(`s-${state.replace(" ", "_")}`));
  patterns.clear();
}

// Frames to samples and back, in whole numbers as the program counts them: positions are timeline samples.
const [rateOver, rateUnder, nominal, isDrop] = record.fps;
const framesOfDay = isDrop ? 144 * 17982 : 86400 * nominal;

function frameOf(sample) {
  return Math.ceil(((2 * sample + 1) * rateOver) / (2 * record.rate * rateUnder)) - 1;
}

function sampleOf(frame) {
  return Math.floor((frame * 2 * record.rate * rateUnder + rateOver) / (2 * rateOver));
}

function frameLabel(frame) {
  let count = ((frame % framesOfDay) + framesOfDay) % framesOfDay;
  if (isDrop) {
    // Two labels are left out at each minute but each tenth.
    const rest = count % 17982;
    count += 18 * Math.floor(count / 17982) + (rest < 2 ? 0 : 2 * Math.floor((rest - 2) / 1798));
  }
  const two = (value) => String(value).padStart(2, "0");
  const seconds = Math.floor(count / nominal);
  const parts = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60].map(two);
  return `${parts.join(":")}${isDrop ? ";" : ":"}${two(count % nominal)}`;
}

// A position of the set as label and, inside a frame, + and samples.
function placeLabel(position) {
  const sample = Math.max(0, record.first + position);
  const frame = frameOf(sample);
  const rest = sample - sampleOf(frame);
  return frameLabel(frame) + (rest ? `+${rest}` : "");
}

// The first of sorted ranges that ends after a position.
function firstAfter(ranges, position) {
  let low = 0;
  let high = ranges.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (ranges[middle][1] <= position) low = middle + 1;
    else high = middle;
  }
  return low;
}

function rangeAt(ranges, position) {
  const found = ranges[firstAfter(ranges, position)];
  return found && found[0] <= position ? found : null;
}

const overlaps = (start, end, low, high) => start < Math.max(high, low + 1) && low < Math.max(end, start + 1);

// The passes of a track's tapes, each with whether it holds this track at all.
function passesOf(track) {
  const found = [];
  record.passes.forEach((one, index) => {
    if (!track.reels.includes(one.reel)) return;
    const reel = record.reels.find((tape) => tape.name === one.reel);
    if (one.tracks.includes(reel.tracks.indexOf(track.name))) found.push(index);
  });
  return found;
}

// The sample of a pass that lies at a position of the set; null where it reaches not so far.
function passSample(index, position) {
  const stretch = rangeAt(record.passes[index].stretches, position);
  return stretch ? stretch[2] + position - stretch[0] : null;
}

// A canvas as sharp as the screen, cleared, in units of the page.
function sharp(canvas, width, height) {
  const scale = window.devicePixelRatio || 1;
  const [wide, high] = [Math.round(width * scale), Math.round(height * scale)];
  if (canvas.width !== wide || canvas.height !== high) {
    canvas.width = wide;
    canvas.height = high;
    canvas.style.height = `${height}px`;
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.font = "12px system-ui, sans-serif";
  pen.textBaseline = "middle";
  return pen;
}

// Text cut to a width, with dots for what is left out.
function fitted(pen, text, width) {
  if (pen.measureText(text).width <= width) return text;
  let size = text.length;
  while (size > 1 && pen.measureText(`${text.slice(0, size)}…`).width > width) size -= 1;
  return `${text.slice(0, size)}…`;
}

// Hatches, so that nothing rests on colour alone.
const patterns = new Map();
function hatch(pen, color, kind) {
  const key = color + kind;
  if (!patterns.has(key)) {
    const tile = document.createElement("canvas");
    tile.width = tile.height = 6;
    const brush = tile.getContext("2d");
    brush.fillStyle = brush.strokeStyle = color;
    brush.lineWidth = 2.2;
    if (kind === "dots") {
      brush.fillRect(0, 0, 3, 3);
      brush.fillRect(3, 3, 3, 3);
    } else {
      for (const shift of [-6, 0, 6]) {
        brush.beginPath();
        brush.moveTo(shift - 1, 7);
        brush.lineTo(shift + 7, -1);
        brush.stroke();
      }
    }
    patterns.set(key, pen.createPattern(tile, "repeat"));
  }
  return patterns.get(key);
}
