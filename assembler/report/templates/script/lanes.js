// One track of the chart: what was taken, what each pass covers, in what state the tape is.
const TAKEN = 15;
const COVER = 5;
const STATE = 9;
const GAP = 12;
const lanePasses = record.tracks.map(passesOf);
const laneHeights = lanePasses.map((passes) => TAKEN + 3 + passes.length * COVER + 2 + STATE + GAP);
const laneTops = laneHeights.reduce((tops, height) => [...tops, tops[tops.length - 1] + height], [0]);

// States of each lane, parted by state.
const laneStates = record.tracks.map((track) =>
  record.states.map((_, state) => track.states.filter((one) => one[2] === state).sort((one, other) => one[0] - other[0])));

// Flaws by track and pass, in the order of time.
const flawsOf = new Map();
for (const flaw of record.flaws) {
  for (const track of flaw[4]) {
    const key = track * passCount + flaw[0];
    if (!flawsOf.has(key)) flawsOf.set(key, []);
    flawsOf.get(key).push(flaw);
  }
}
for (const list of flawsOf.values()) list.sort((one, other) => one[1] - other[1]);

// Fill the ranges that are in view, each at least as wide as asked; equal ones that share a pixel are drawn once.
function fillRanges(pen, view, ranges, box, least, paint) {
  let drawn = -1;
  for (let at = firstAfter(ranges, view.left); at < ranges.length && ranges[at][0] < view.right; at += 1) {
    const from = Math.max(view.x, view.across(ranges[at][0]));
    const to = Math.min(view.x + view.width, Math.max(view.across(ranges[at][1]), from + least));
    if (to <= drawn) continue;
    if (paint(ranges[at], from, to) === false) continue;
    pen.fillRect(from, box.y, to - from, box.height);
    drawn = to - from <= least ? to : -1;
  }
}

function drawTaken(pen, view, track, y) {
  fillRanges(pen, view, track.spans, { y, height: TAKEN }, 1, (span) => {
    if (span[2] < 0) return false;
    pen.fillStyle = colors.passes[span[2] % 8];
    return true;
  });
  fillRanges(pen, view, track.woven, { y: y + 3, height: TAKEN - 6 }, 2, (part) => {
    pen.fillStyle = hatch(pen, colors.passes[part[2] % 8], "stripes");
  });
  for (const [at, fade, law] of track.joins) {
    if (at < view.left - fade || at > view.right + fade) continue;
    const computed = law !== "identical";
    pen.fillStyle = computed ? colors.ink : colors.card;
    const x = view.across(at);
    if (x < view.x) continue;
    pen.fillRect(x - (computed ? 1 : 0.5), computed ? y - 3 : y, computed ? 2 : 1, computed ? TAKEN + 3 : TAKEN);
    if (fade && fade / view.per > 4) pen.fillRect(Math.max(view.x, view.across(at - Math.floor(fade / 2))), y - 3, fade / view.per, 2);
  }
  fillRanges(pen, view, track.open, { y: y + 8, height: TAKEN - 8 }, 4, (place) => {
    pen.fillStyle = place[3] ? hatch(pen, colors.open, "stripes") : colors.open;
  });
}

// The name of the pass at the beginning of each stretch that has room for it.
function drawNames(pen, view, track, y) {
  pen.textAlign = "left";
  for (let at = firstAfter(track.spans, view.left); at < track.spans.length; at += 1) {
    const [start, end, pass] = track.spans[at];
    if (start >= view.right) break;
    const from = Math.max(view.x, view.across(start));
    const room = Math.min(view.x + view.width, view.across(end)) - from;
    if (pass < 0 || room < 44) continue;
    const name = fitted(pen, record.passes[pass].name, Math.min(room - 12, 160));
    pen.fillStyle = colors.card;
    pen.fillRect(from + 3, y + 1.5, pen.measureText(name).width + 6, TAKEN - 3);
    pen.fillStyle = colors.ink;
    pen.fillText(name, from + 6, y + TAKEN / 2 + 0.5);
  }
}

function drawCover(pen, view, track, pass, y) {
  fillRanges(pen, view, record.passes[pass].stretches, { y: y + 1, height: COVER - 2 }, 1, () => {
    pen.fillStyle = colors.passes[pass % 8];
  });
  // A flaw is a gap in the line with a stroke through it.
  let drawn = -1;
  for (const [, start, end] of flawsOf.get(track.number * passCount + pass) || []) {
    if (end < view.left || start > view.right) continue;
    const from = Math.max(view.x, view.across(start));
    const to = Math.min(view.x + view.width, Math.max(view.across(end), from + 3));
    if (to <= drawn || to <= from) continue;
    pen.fillStyle = colors.card;
    pen.fillRect(from, y, to - from, COVER);
    pen.fillStyle = colors.open;
    pen.fillRect(from, y + 2, to - from, 1);
    pen.fillRect(from, y, 1, COVER);
    pen.fillRect(to - 1, y, 1, COVER);
    drawn = to;
  }
}

// Height and hatching differ from state to state, as the colours do; the worst is drawn last.
function drawStates(pen, view, index, y) {
  record.states.forEach((name, state) => {
    const height = [STATE, 6, 5, STATE, 2][state];
    fillRanges(pen, view, laneStates[index][state], { y: y + STATE - height, height }, state > 1 ? 2 : 1, (range, from, to) => {
      const tone = colors.states[state];
      pen.fillStyle = state === 1 ? hatch(pen, tone, "stripes") : state === 2 ? hatch(pen, tone, "dots") : tone;
      if (state === 3) pen.fillRect(from - 1, y - 2, to - from + 2, 2);
    });
  });
}

// Draw a lane whose upper edge is at y.
function drawLane(pen, view, index, y) {
  const track = record.tracks[index];
  pen.fillStyle = colors.ink;
  pen.textAlign = "left";
  pen.fillText(fitted(pen, `${track.number}  ${track.name}`, view.x - 10), 4, y + TAKEN / 2 + 1);
  const passes = lanePasses[index];
  pen.save();
  pen.beginPath();
  pen.rect(view.x, y - 4, view.width, laneHeights[index]);
  pen.clip();
  pen.fillStyle = colors.lane;
  pen.fillRect(view.x, y, Math.min(view.width, view.across(record.length) - view.x), TAKEN);
  drawTaken(pen, view, track, y);
  drawNames(pen, view, track, y);
  passes.forEach((pass, row) => drawCover(pen, view, track, pass, y + TAKEN + 3 + row * COVER));
  drawStates(pen, view, index, y + TAKEN + 5 + passes.length * COVER);
  pen.restore();
}

// What of a lane lies at a height: its index, and the pass whose line it is, or "state", or null for what was taken.
function laneAt(height) {
  let index = laneTops.findIndex((top) => top > height) - 1;
  if (index < 0) index = record.tracks.length - 1;
  const down = height - laneTops[index] - GAP / 2;
  const row = Math.floor((down - TAKEN - 3) / COVER);
  const passes = lanePasses[index];
  if (row >= 0 && row < passes.length) return { index, part: passes[row] };
  return { index, part: row >= passes.length ? "state" : null };
}
