// Time axes: where marks stand and what they say.
const FRAME_STEPS = [1, 2, 5, 10];
const SECOND_STEPS = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400];

// Frames between two marks, so that labels do not touch.
function frameStep(per, room) {
  const frameSize = (record.rate * rateUnder) / rateOver;
  const steps = [...FRAME_STEPS, ...SECOND_STEPS.map((seconds) => seconds * nominal)];
  return steps.find((step) => (step * frameSize) / per >= room) || steps[steps.length - 1];
}

// Samples between two marks; a one, a two or a five with noughts.
function sampleStep(per, room) {
  let step = 1;
  for (const factor of [2, 2.5, 2, 2, 2.5, 2, 2, 2.5, 2]) {
    if (step / per >= room) break;
    step *= factor;
  }
  return Math.round(step);
}

// The first frame of a labelled second; at most minutes the first two labels of drop frame are left out.
function frameOfSecond(second) {
  const day = Math.floor(second / 86400);
  const rest = second - day * 86400;
  if (!isDrop) return day * framesOfDay + rest * nominal;
  const minutes = Math.floor(rest / 60);
  const isLess = rest % 60 === 0 && minutes % 10 !== 0;
  return day * framesOfDay + rest * nominal - 2 * (minutes - Math.floor(minutes / 10)) + (isLess ? 2 : 0);
}

// Marks of frames from one position to another: the position, and the label.
function frameTicks(left, right, per, room) {
  const step = frameStep(per, room);
  const found = [];
  const first = frameOf(Math.max(0, record.first + left));
  const last = frameOf(record.first + Math.min(right, record.length + 1));
  const add = (frame) => {
    const at = sampleOf(frame) - record.first;
    if (at >= left && frame <= last) found.push([at, frameLabel(frame)]);
  };
  if (step < nominal) {
    for (let frame = Math.ceil(first / step) * step; frame <= last; frame += step) add(frame);
    return found;
  }
  // Drop frame counts up to four seconds less of frames than of labels in an hour: the first mark is sought from before.
  const seconds = step / nominal;
  const slack = isDrop ? Math.ceil(first / framesOfDay + 1) * 90 : 0;
  const until = Math.ceil(last / nominal) + slack;
  for (let at = Math.floor(first / nominal / seconds) * seconds; at <= until; at += seconds) add(frameOfSecond(at));
  return found;
}

// Marks of samples, where a frame is wide enough to be parted; timeline samples.
function sampleTicks(left, right, per, room) {
  const frameSize = (record.rate * rateUnder) / rateOver;
  if (frameSize / per < 2 * room) return [];
  const step = sampleStep(per, room);
  const found = [];
  for (let at = Math.ceil((record.first + left) / step) * step; at <= record.first + right; at += step) {
    found.push([at - record.first, number(at)]);
  }
  return found;
}

// Draw an axis in a band of a canvas: labels of frames above, of samples below, and a line down from each frame.
function drawAxis(pen, box, left, per, across) {
  const right = left + box.width * per;
  const frames = frameTicks(left, right, per, 104);
  // Inside of one frame there may be no mark at all: its label stands at the edge.
  if (!frames.length || across(frames[0][0]) - box.x > 200) {
    pen.fillStyle = colors.faint;
    pen.textAlign = "left";
    pen.fillText(`${frameLabel(frameOf(Math.max(0, record.first + Math.floor(left))))} …`, box.x + 4, box.y + 9);
  }
  pen.lineWidth = 1;
  for (const [at, text] of frames) {
    const x = Math.round(across(at)) + 0.5;
    pen.strokeStyle = colors.line;
    pen.beginPath();
    pen.moveTo(x, box.y);
    pen.lineTo(x, box.bottom);
    pen.stroke();
    pen.fillStyle = colors.ink;
    pen.textAlign = "left";
    if (x + pen.measureText(text).width + 5 < box.x + box.width + 12) pen.fillText(text, x + 4, box.y + 9);
  }
  for (const [at, text] of sampleTicks(left, right, per, 92)) {
    const x = across(at + 0.5);
    pen.fillStyle = colors.faint;
    pen.fillRect(x, box.y + 29, 1, 5);
    pen.textAlign = "center";
    const half = pen.measureText(text).width / 2;
    if (x - half > box.x && x + half < box.x + box.width) pen.fillText(text, x, box.y + 23);
  }
}
