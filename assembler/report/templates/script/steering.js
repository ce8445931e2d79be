// Pointer, wheel and keys of the chart, and what it says of the place under them.
function stateAt(track, position) {
  const found = track.states.filter((one) => one[0] <= position && position < one[1]);
  const worst = Math.max(-1, ...found.map((one) => one[2]));
  return worst < 0 ? "" : record.states[worst];
}

// What is known of a sample of a track, as parts of a line: the pass in question first.
function toldAt(position, index, part) {
  const track = record.tracks[index];
  const span = rangeAt(track.spans, position);
  const taken = span ? span[2] : -1;
  const passes = lanePasses[index].map((pass) => {
    const sample = pass === taken ? span[3] + position - span[0] : passSample(pass, position);
    const name = record.passes[pass].name;
    const flaw = (flawsOf.get(track.number * passCount + pass) || []).find((one) => overlaps(one[1], one[2], position, position + 1));
    const words = sample === null ? "not here" : `sample ${sample}${flaw ? `, ${flaw[3]}` : ""}`;
    return { pass, isTaken: pass === taken, text: `${name}${pass === taken ? " (taken)" : ""}: ${words}` };
  });
  const first = typeof part === "number" ? part : taken;
  passes.sort((one, other) => (other.pass === first) - (one.pass === first));
  return {
    head: `${placeLabel(position)}, timeline sample ${record.first + position}`,
    track: `${track.number} ${track.name}${taken < 0 ? ": silence" : ""}`,
    state: stateAt(track, position),
    passes,
    first,
  };
}

function readOut(position, index, part) {
  const told = toldAt(position, index, part);
  const list = make("ul");
  for (const one of told.passes.slice(0, 12)) {
    list.append(make("li", { class: one.pass === told.first ? "first" : null },
      make("span", { class: `swatch p${one.pass % 8}` }), one.text));
  }
  byId("readout").replaceChildren(
    make("p", {}, make("strong", {}, told.head), ` · ${told.track}${told.state ? ` · ${told.state}` : ""}`), list);
  return told;
}

// Spoken once the keys have come to rest, so that a reader is not flooded.
let resting = 0;
function speak(told) {
  clearTimeout(resting);
  resting = setTimeout(() => {
    const passes = told.passes.map((one) => one.text).join("; ");
    byId("spoken").textContent = `${told.head}, ${told.track}, ${told.state}; ${passes}`;
  }, 500);
}

const positionAt = (x) => Math.max(0, Math.min(record.length - 1, Math.floor(chart.left + (x - chart.x) * chart.per)));

function pointAt(event) {
  const frame = canvas.getBoundingClientRect();
  const [x, y] = [event.clientX - frame.left, event.clientY - frame.top];
  if (x < chart.x || y < 0) return null;
  return { position: positionAt(x), ...laneAt(y - AXIS + box.scrollTop) };
}

// The row of the list that lies at a place of a track, the nearest first.
function openAt(position, index) {
  const reach = 4 * chart.per;
  const track = record.tracks[index].number;
  const rows = [...document.querySelectorAll("tr[data-view]")].filter((row) =>
    row.dataset.tracks.split(" ").includes(String(track)) &&
    overlaps(Number(row.dataset.from), Number(row.dataset.to), position - reach, position + reach));
  if (rows.length) openRow(rows[0], track);
  return rows.length > 0;
}

function moveCursor(step) {
  const reach = chart.width * chart.per;
  chart.cursor = Math.max(0, Math.min(record.length - 1, chart.cursor + step));
  if (chart.cursor < chart.left || chart.cursor >= chart.left + reach) show(chart.cursor - reach / 2, chart.per);
}

function chooseLane(step) {
  chart.lane = Math.max(0, Math.min(record.tracks.length - 1, chart.lane + step));
  const [top, room] = [laneTops[chart.lane], chart.height - AXIS];
  if (top < box.scrollTop) box.scrollTop = top;
  else if (top + laneHeights[chart.lane] > box.scrollTop + room) box.scrollTop = top + laneHeights[chart.lane] - room;
}

const ACTIONS = {
  whole: () => show(0, Infinity),
  closer: () => zoom(1 / 2, centre()),
  wider: () => zoom(2, centre()),
  earlier: () => show(chart.left - (chart.width * chart.per) / 4, chart.per),
  later: () => show(chart.left + (chart.width * chart.per) / 4, chart.per),
  samples: () => show(chart.cursor - (chart.width / 2) * CLOSEST * 2, CLOSEST * 2),
};

// The line, while it is in view; else the middle of what is shown.
function centre() {
  const reach = chart.width * chart.per;
  const isSeen = chart.cursor >= chart.left && chart.cursor <= chart.left + reach && chart.cursor > 0;
  return isSeen ? chart.cursor : chart.left + reach / 2;
}

function onKey(event) {
  const step = Math.max(1, Math.round((chart.width * chart.per) / 40)) * (event.shiftKey ? 32 : 1);
  const keys = {
    "+": ACTIONS.closer, "=": ACTIONS.closer, "-": ACTIONS.wider, "_": ACTIONS.wider, "0": ACTIONS.whole,
    ArrowLeft: () => moveCursor(-step), ArrowRight: () => moveCursor(step),
    ArrowUp: () => chooseLane(-1), ArrowDown: () => chooseLane(1),
    PageUp: () => chooseLane(-6), PageDown: () => chooseLane(6),
    Home: () => moveCursor(-record.length), End: () => moveCursor(record.length),
    Enter: () => openAt(chart.cursor, chart.lane),
  };
  if (!keys[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  keys[event.key]();
  wanted();
  speak(readOut(chart.cursor, chart.lane, null));
}

// A wheel that was turned to scroll the page goes on scrolling it: the chart takes it once the pointer has moved in it.
let isArmed = false;
let lastSeen = "";
function onWheel(event) {
  if (!isArmed || event.ctrlKey) return;
  if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
    event.preventDefault();
    show(chart.left + (event.deltaX || event.deltaY) * chart.per, chart.per);
    return;
  }
  const isOut = event.deltaY > 0;
  if (isOut ? chart.per >= widest() : chart.per <= CLOSEST) return;
  event.preventDefault();
  const x = event.clientX - canvas.getBoundingClientRect().left;
  zoom(Math.exp(Math.max(-240, Math.min(240, event.deltaY)) * 0.004), chart.left + Math.max(0, x - chart.x) * chart.per);
}

function onMove(event) {
  const seen = `${event.screenX} ${event.screenY}`;
  if (lastSeen && seen !== lastSeen) isArmed = true;
  lastSeen = seen;
  const at = pointAt(event);
  chart.pointed = at ? at.position : null;
  if (at) readOut(at.position, at.index, at.part);
  wanted();
}

function onPress(event) {
  if (event.button !== 0 || event.offsetX > box.clientWidth) return;
  const begin = { x: event.clientX, y: event.clientY, left: chart.left, top: box.scrollTop };
  let isDragged = false;
  canvas.setPointerCapture(event.pointerId);
  const drag = (move) => {
    isDragged = isDragged || Math.hypot(move.clientX - begin.x, move.clientY - begin.y) > 4;
    if (!isDragged) return;
    box.scrollTop = begin.top - (move.clientY - begin.y);
    show(begin.left - (move.clientX - begin.x) * chart.per, chart.per);
  };
  const end = (last) => {
    canvas.removeEventListener("pointermove", drag);
    const at = pointAt(last);
    if (isDragged || !at || last.type !== "pointerup") return;
    chart.cursor = at.position;
    chart.lane = at.index;
    wanted();
    openAt(at.position, at.index);
  };
  canvas.addEventListener("pointermove", drag);
  for (const type of ["pointerup", "pointercancel"]) canvas.addEventListener(type, end, { once: true });
}

function startChart() {
  byId("chart").hidden = false;
  byId("strips").classList.add("replaced");
  box.addEventListener("keydown", onKey);
  box.addEventListener("wheel", onWheel, { passive: false });
  box.addEventListener("scroll", wanted);
  for (const type of ["focus", "blur"]) box.addEventListener(type, wanted);
  canvas.addEventListener("pointermove", onMove);
  canvas.addEventListener("pointerdown", onPress);
  canvas.addEventListener("pointerleave", () => {
    chart.pointed = null;
    isArmed = false;
    lastSeen = "";
    wanted();
  });
  window.addEventListener("scroll", () => { isArmed = false; lastSeen = ""; }, { passive: true });
  for (const button of document.querySelectorAll("#chart [data-do]")) {
    button.addEventListener("click", () => {
      ACTIONS[button.dataset.do]();
      readOut(chart.cursor, chart.lane, null);
    });
  }
  window.addEventListener("resize", measure);
  chart.per = Infinity;
  measure();
  readOut(0, 0, null);
}
