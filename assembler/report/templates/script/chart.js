// The chart as a whole: which part of the session it shows, and the drawing of it.
const box = byId("box");
const canvas = byId("lanes");
const AXIS = 38;
const CLOSEST = 1 / 48;
const chart = { left: 0, per: 1, cursor: 0, lane: 0, pointed: null, width: 0, height: 0, x: 0 };

// Samples in a pixel when all is shown.
const widest = () => Math.max(record.length, 1) / Math.max(chart.width, 1);

// Show a stretch that begins at a sample, so many samples in a pixel; never past the ends of the session.
function show(left, per) {
  chart.per = Math.min(widest(), Math.max(CLOSEST, per));
  chart.left = Math.max(0, Math.min(left, record.length - chart.width * chart.per));
  wanted();
}

// Zoom so that what lies at a position stays where it is.
function zoom(factor, position) {
  const per = Math.min(widest(), Math.max(CLOSEST, chart.per * factor));
  show(position - ((position - chart.left) / chart.per) * per, per);
}

// Show a range with as much again on either side.
function showRange(start, end) {
  const size = Math.max(end - start, 8);
  chart.cursor = Math.max(0, Math.min(record.length - 1, start));
  show(start - size, (3 * size) / Math.max(chart.width, 1));
}

let isWanted = false;
function wanted() {
  if (isWanted) return;
  isWanted = true;
  requestAnimationFrame(() => {
    isWanted = false;
    drawChart();
  });
}

function measure() {
  const isWhole = chart.per >= widest();
  chart.x = box.clientWidth < 560 ? 84 : 140;
  chart.width = box.clientWidth - chart.x - 8;
  const all = laneTops[laneTops.length - 1] + AXIS + 6;
  chart.height = Math.min(all, Math.max(240, Math.round(window.innerHeight * 0.62)));
  box.style.height = `${chart.height + 2}px`;
  canvas.style.width = `${box.clientWidth}px`;
  byId("spacer").style.height = `${Math.max(0, all - chart.height)}px`;
  show(isWhole ? 0 : chart.left, isWhole ? Infinity : chart.per);
}

function drawChart() {
  const pen = sharp(canvas, box.clientWidth, chart.height);
  const view = {
    left: chart.left, right: chart.left + chart.width * chart.per, per: chart.per, x: chart.x, width: chart.width,
    across: (position) => chart.x + (position - chart.left) / chart.per,
  };
  drawGrid(pen, view);
  const down = box.scrollTop;
  pen.save();
  pen.beginPath();
  pen.rect(0, AXIS, box.clientWidth, chart.height - AXIS);
  pen.clip();
  for (let index = 0; index < record.tracks.length; index += 1) {
    const y = AXIS + laneTops[index] - down;
    if (y + laneHeights[index] < AXIS || y > chart.height) continue;
    if (index === chart.lane && document.activeElement === box) {
      pen.fillStyle = colors.ink;
      pen.fillRect(0, y + GAP / 2 - 2, 2, laneHeights[index] - GAP + 4);
    }
    drawLane(pen, view, index, y + GAP / 2);
  }
  pen.restore();
  drawLines(pen, view);
  tellExtent(view);
}

// Single samples are parted by lines where they are wide enough.
function drawGrid(pen, view) {
  drawAxis(pen, { x: view.x, y: 0, width: view.width, bottom: chart.height }, view.left, view.per, view.across);
  pen.fillStyle = colors.line;
  pen.fillRect(0, AXIS - 1, box.clientWidth, 1);
  if (1 / view.per < 6) return;
  pen.globalAlpha = 0.6;
  for (let at = Math.ceil(view.left); at <= view.right; at += 1) pen.fillRect(view.across(at), AXIS, 1, chart.height);
  pen.globalAlpha = 1;
}

// The line of the keyboard, and that of the pointer.
function drawLines(pen, view) {
  const lines = [[chart.pointed, [3, 3]]];
  if (document.activeElement === box) lines.push([chart.cursor, []]);
  for (const [position, dashes] of lines) {
    if (position === null || position < view.left || position > view.right) continue;
    const wide = 1 / view.per;
    pen.strokeStyle = colors.ink;
    pen.setLineDash(dashes);
    pen.lineWidth = 1;
    pen.strokeRect(view.across(position) + 0.5, AXIS - 4, wide >= 4 ? wide : 0, chart.height);
    pen.setLineDash([]);
  }
}

function duration(seconds) {
  if (seconds < 120) return `${seconds.toFixed(seconds < 10 ? 2 : 0)} s`;
  return `${Math.floor(seconds / 60)} min ${Math.floor(seconds % 60)} s`;
}

function tellExtent(view) {
  const size = Math.min(record.length, view.right) - view.left;
  box.dataset.left = view.left;
  box.dataset.per = view.per;
  const length = size < record.rate / 10 ? counted(Math.ceil(size), "sample") : duration(size / record.rate);
  byId("extent").textContent = `${length} from ${placeLabel(Math.floor(view.left))}`;
}
