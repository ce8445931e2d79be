// What opens from a row: what each pass has there and why, waveforms, clips to hear.
let opened = null;

function closeView(isFocused = false) {
  if (!opened) return;
  const audio = playing?.audio;
  stopClip();
  // A clip that is still being loaded would ask for an address that is gone.
  audio?.removeAttribute("src");
  audio?.load();
  const button = opened.row.querySelector(".opener");
  button?.setAttribute("aria-expanded", "false");
  opened.view.remove();
  for (const address of opened.addresses) URL.revokeObjectURL(address);
  drawings.length = 0;
  opened = null;
  if (isFocused) button?.focus();
}

function openRow(row, chosen = null) {
  closeView();
  reveal(row);
  const cell = make("td", { colspan: row.cells.length, role: "cell" });
  const view = make("tr", { class: "view", role: "row" }, cell);
  row.after(view);
  row.querySelector(".opener")?.setAttribute("aria-expanded", "true");
  opened = { row, view, addresses: [] };
  const tracks = (row.dataset.tracks || "").split(" ").filter(Boolean).map(Number).filter((one) => trackOf.has(one));
  const withView = tracks.find((track) => viewOf(track, Number(row.dataset.from), Number(row.dataset.to)) >= 0);
  const panel = make("section", { class: "place", tabindex: "-1", "aria-label": "What each pass has here" });
  cell.append(panel);
  fillPanel(panel, row, tracks, tracks.includes(chosen) ? chosen : (withView ?? tracks[0]));
  panel.focus({ preventScroll: true });
}

// The view of a place of a track: its own, else the first that overlaps it; −1 for none.
function viewOf(track, start, end) {
  const own = record.views.findIndex((one) => one[0] === track && one[1] === start && one[2] === end);
  return own >= 0 ? own : record.views.findIndex((one) => one[0] === track && overlaps(one[1], one[2], start, end));
}

function fillPanel(panel, row, tracks, track) {
  const [start, end] = [Number(row.dataset.from), Number(row.dataset.to)];
  const tools = make("div", { class: "tools" },
    make("button", { type: "button", onclick: () => showInChart(start, end, track) }, "Show in the chart"),
    make("button", { type: "button", onclick: () => closeView(true) }, "Close"));
  if (tracks.length > 1) {
    const select = make("select", { "aria-label": "Track" },
      ...tracks.map((one) => make("option", { value: one, selected: one === track }, `${one} ${trackOf.get(one).name}`)));
    select.addEventListener("change", () => {
      stopClip();
      drawings.length = 0;
      fillPanel(panel, row, tracks, Number(select.value));
      panel.querySelector("select").focus();
    });
    tools.prepend(select);
  }
  const length = end > start ? `, ${counted(end - start, "sample")}` : "";
  const title = track ? `${trackOf.get(track).name}, ${placeLabel(start)}${length}` : placeLabel(start);
  panel.replaceChildren(make("h3", {}, title), tools);
  if (!track) {
    panel.append(make("p", {}, "No delivered track is meant."));
    return;
  }
  const told = wordsOf(trackOf.get(track), start, end);
  panel.append(wordTable(told), ...joinWords(trackOf.get(track), start, end));
  const index = viewOf(track, start, end);
  if (index < 0) {
    panel.append(make("p", { class: "faint" }, record.views.length
      ? "No waveforms and no clips were made of this place: it is none of sound, or none of it lies in the set."
      : "The page was made without waveforms and clips."));
    return;
  }
  fillView(panel, index, told, start, end);
}

// How the sides of a join meet there that is not between the same numbers, if there is one.
const UNCOMPARED = {
  edge: "sound meets silence that no pass covers",
  slip: "the same pass goes on after samples that it lost or repeated",
};

function joinWords(track, start, end) {
  const joins = track.joins.filter(([at, fade, law]) => law !== "identical" &&
    overlaps(at - Math.floor(fade / 2), at - Math.floor(fade / 2) + fade, start, end));
  return joins.slice(0, 4).map(([at, fade, law, correlation, peak]) => make("p", {},
    `Join at ${placeLabel(at)}: ${law}${fade ? ` over ${counted(fade, "sample")}` : ""}; ` +
    `${UNCOMPARED[law] ?? `correlation of the sides ${correlation}, largest difference ${number(peak)}`}.`));
}

function showInChart(start, end, track) {
  showRange(start, end);
  chart.lane = Math.max(0, record.tracks.indexOf(trackOf.get(track)));
  chooseLane(0);
  readOut(chart.cursor, chart.lane, null);
  box.scrollIntoView({ block: "center" });
  box.focus({ preventScroll: true });
}

async function fillView(panel, index, told, start, end) {
  const packed = JSON.parse(byId(`view-${index}`).textContent);
  const taken = new Set(told.filter((one) => one.isTaken).map((one) => one.name));
  const words = told.map((one) => `${one.name}${one.isTaken ? " (taken)" : ""}: ${one.text}`).join("; ");
  const waves = make("div", { class: "waves" });
  panel.append(waves, ...clipPart(packed));
  try {
    for (const shown of await unpack(packed.windows)) waves.append(waveFigure(shown, { start, end, taken, words }));
  } catch {
    waves.append(make("p", {}, "This browser cannot unpack the waveforms."));
  }
  if (!packed.windows) waves.append(make("p", { class: "faint" }, "No waveforms: the page is kept to a size."));
  drawWaves();
}

// What each pass has at a place of a track, and because of what.
function wordsOf(track, start, end) {
  const held = record.held.find((one) => one[0] === track.number && overlaps(one[1], one[2], start, end));
  const spans = track.spans.filter((one) => overlaps(one[0], one[1], start, end));
  const woven = track.woven.filter((one) => overlaps(one[0], one[1], start, end));
  return lanePasses[record.tracks.indexOf(track)].map((pass) => {
    const name = record.passes[pass].name;
    const flaws = (flawsOf.get(track.number * passCount + pass) || []).filter((one) => overlaps(one[1], one[2], start, end));
    const own = held?.[4].find((one) => one[0] === name);
    const covers = record.passes[pass].stretches.some((one) => overlaps(one[0], one[1], start, end));
    const found = flaws.map((one) => `${one[3]}, ${counted(Math.abs(one[5]), "sample")}, ${one[6]}`).join("; ");
    return {
      pass, name,
      isTaken: spans.some((one) => one[2] === pass),
      isFilled: woven.some((one) => one[2] === pass),
      text: own ? own[1] : found || (covers ? "no flaw found" : "does not reach here"),
      because: [...new Set([...flaws.map((one) => one[7]), own ? held[5] : ""].filter(Boolean))].join("; "),
    };
  });
}

function wordTable(told) {
  const heads = ["Pass", "What it has", "Because", "In the set"];
  const rows = told.map((one) => make("tr", { class: one.isTaken ? "taken" : null },
    make("th", { scope: "row" }, make("span", { class: `swatch p${one.pass % 8}` }), one.name),
    ...[one.text, one.because, one.isTaken ? "taken" : one.isFilled ? "fills samples" : ""].map((text, at) =>
      make("td", { "data-label": heads[at + 1] }, text))));
  const head = heads.map((text) => make("th", { scope: "col" }, text));
  return make("div", { class: "scroll" },
    make("table", { class: "words" }, make("thead", {}, make("tr", {}, ...head)), make("tbody", {}, ...rows)));
}

// Clips: one plays at a time, softly at first; how loud is kept while the page is open, and nowhere else.
const SOFT = 0.1;
let loudness = SOFT;
let playing = null;

function stopClip() {
  if (!playing) return;
  playing.audio.pause();
  playing.audio.currentTime = 0;
  playing.settle();
  playing = null;
}

const inDecibels = (value) => (value > 0 ? `${(20 * Math.log10(value)).toFixed(0).replace("-", "−")} dB` : "silent");

function clipPart(packed) {
  if (!packed.clips.length) return [make("p", { class: "faint" }, "No clips to hear: the page is kept to a size.")];
  const told = make("output", {}, inDecibels(loudness));
  const slider = make("input", { type: "range", min: "0", max: "1", step: "0.01", value: String(loudness), "aria-label": "Level of the clips" });
  slider.addEventListener("input", () => {
    loudness = Number(slider.value);
    told.textContent = inDecibels(loudness);
    slider.setAttribute("aria-valuetext", inDecibels(loudness));
    if (playing) playing.audio.volume = loudness;
  });
  slider.setAttribute("aria-valuetext", inDecibels(loudness));
  const sounds = packed.sounds.map((text) => {
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const address = URL.createObjectURL(new Blob([bytes], { type: "audio/flac" }));
    opened.addresses.push(address);
    return address;
  });
  return [
    make("p", { class: "caution" }, make("strong", {}, "Turn the level down first."), " A flaw can be much louder than what lies around it."),
    make("div", { class: "clips", role: "group", "aria-label": "Clips to hear" },
      ...packed.clips.map((clip) => clipButton(clip, sounds[clip[3]])), make("label", { class: "level" }, "Level ", slider, told)),
  ];
}

function clipButton([source, start, isHeld], address) {
  const name = sourceName(source);
  const bar = make("progress", { max: "1", value: "0", "aria-hidden": "true" });
  const mark = make("span", { class: "mark", "aria-hidden": "true" });
  const words = `${name} from ${placeLabel(start)}${isHeld ? ", loud parts held back" : ""}`;
  const button = make("button", { type: "button", class: "clip", "aria-pressed": "false", "aria-label": `Play ${words}`, title: words },
    mark, name, isHeld ? make("small", {}, "loud parts held back") : "", bar);
  button.addEventListener("click", () => {
    const isOwn = playing?.button === button;
    stopClip();
    if (isOwn) return;
    const audio = new Audio(address);
    audio.volume = loudness;
    const settle = () => {
      button.setAttribute("aria-pressed", "false");
      bar.value = 0;
    };
    playing = { audio, button, settle };
    button.setAttribute("aria-pressed", "true");
    audio.addEventListener("timeupdate", () => { bar.value = audio.duration ? audio.currentTime / audio.duration : 0; });
    audio.addEventListener("ended", () => {
      button.dataset.ended = String(Number(button.dataset.ended || 0) + 1);
      if (playing?.audio === audio) stopClip();
    });
    audio.play().catch(() => { if (playing?.audio === audio) stopClip(); });
  });
  return button;
}
