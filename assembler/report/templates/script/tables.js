// Lists: sorted by their headings, filtered all at once, shown in parts, each row opened by its button.
const FIRST_ROWS = 100;
const MORE_ROWS = 400;
const lists = [];

function startLists() {
  for (const table of document.querySelectorAll("table.list")) lists.push(startList(table));
  startFilters();
  lists.forEach((list) => showList(list));
  window.addEventListener("beforeprint", () => lists.forEach((list) => showList(list, true)));
  window.addEventListener("afterprint", () => lists.forEach((list) => showList(list)));
}

function startList(table) {
  const list = {
    table, body: table.tBodies[0], rows: [...table.tBodies[0].rows], limit: FIRST_ROWS, dressed: new Set(),
    filters: table.dataset.filters.split(" ").filter(Boolean), sorted: -1, isDown: false,
    more: make("p", { class: "more", hidden: true }),
    labels: [...table.tHead.rows[0].cells].map((cell) => cell.textContent),
  };
  table.classList.add("live");
  // A table whose parts are laid out as blocks is one to a screen reader only where they say so.
  table.setAttribute("role", "table");
  table.tHead.rows[0].setAttribute("role", "row");
  [...table.tHead.rows[0].cells].forEach((cell, column) => {
    const button = make("button", { type: "button", class: "sort", onclick: () => sortList(list, column) }, cell.textContent);
    cell.setAttribute("role", "columnheader");
    cell.replaceChildren(button);
    // What stands in the order of time says so.
    if (column === 0 && cell.dataset.sort === "from" && table.id !== "notes") markSorted(list, 0, false);
  });
  list.more.append(
    make("button", { type: "button", onclick: () => extend(list, MORE_ROWS) }, "Show more"),
    make("button", { type: "button", onclick: () => extend(list, Infinity) }, "Show all"), make("span", { class: "faint" }));
  table.parentElement.after(list.more);
  return list;
}

function markSorted(list, column, isDown) {
  list.sorted = column;
  list.isDown = isDown;
  [...list.table.tHead.rows[0].cells].forEach((cell, at) => {
    if (at === column) cell.setAttribute("aria-sort", isDown ? "descending" : "ascending");
    else cell.removeAttribute("aria-sort");
  });
}

const compareTexts = new Intl.Collator("en", { numeric: true }).compare;

// What a row is sorted by in a column; rows that have nothing there come last.
function sortKey(row, column, kind) {
  const place = kind === "from" ? row.dataset.from : kind === "to" ? row.dataset.to : undefined;
  if (kind === "from" || kind === "to") return place === undefined ? null : Number(place);
  const text = row.cells[column].textContent;
  if (kind !== "number") return text || null;
  const value = Number.parseFloat(text);
  return Number.isNaN(value) ? null : value;
}

function sortList(list, column) {
  const kind = list.table.tHead.rows[0].cells[column].dataset.sort;
  const isDown = list.sorted === column && !list.isDown;
  const keyed = list.rows.map((row, order) => ({ row, order, key: sortKey(row, column, kind) }));
  keyed.sort((one, other) => {
    if (one.key === null || other.key === null) return (one.key === null) - (other.key === null) || one.order - other.order;
    const difference = typeof one.key === "number" ? one.key - other.key : compareTexts(one.key, other.key);
    return (isDown ? -difference : difference) || one.order - other.order;
  });
  list.rows = keyed.map((one) => one.row);
  closeView();
  list.body.replaceChildren(...list.rows);
  markSorted(list, column, isDown);
  showList(list);
}

function extend(list, rows) {
  list.limit += rows;
  const first = list.rows.find((row) => row.classList.contains("beyond"));
  showList(list);
  first?.querySelector("button")?.focus();
}

const wantedRows = { tracks: "", passes: "", kind: "" };

function isWantedRow(row, filters) {
  return Object.entries(wantedRows).every(([name, value]) => {
    if (!value || !filters.includes(name)) return true;
    const held = row.dataset[name] || "";
    return name === "kind" ? held === value : held.split(" ").includes(value);
  });
}

function showList(list, isAll = false) {
  let shown = 0;
  for (const row of list.rows) {
    row.hidden = !isWantedRow(row, list.filters);
    if (row.hidden) continue;
    shown += 1;
    const isBeyond = !isAll && shown > list.limit;
    row.classList.toggle("beyond", isBeyond);
    if (!isBeyond) dress(list, row);
  }
  list.shown = shown;
  list.more.hidden = shown <= list.limit;
  list.more.lastChild.textContent = `${number(Math.min(shown, list.limit))} of ${counted(shown, "row")}`;
}

// A row gets its button, and the names of its cells for narrow screens, when it is shown for the first time.
function dress(list, row) {
  if (list.dressed.has(row)) return;
  list.dressed.add(row);
  row.setAttribute("role", "row");
  [...row.cells].forEach((cell, column) => {
    cell.setAttribute("role", "cell");
    cell.dataset.label = list.labels[column];
  });
  if (!row.dataset.view) return;
  const about = [...row.cells].slice(0, 3).map((cell) => cell.textContent).join(", ");
  row.cells[0].prepend(make("button", {
    type: "button", class: "opener", "aria-expanded": "false", "aria-label": `Open ${about}`,
    onclick: () => (row.nextElementSibling?.classList.contains("view") ? closeView(true) : openRow(row)),
  }));
}

function startFilters() {
  const form = byId("filters");
  const kinds = new Set([...document.querySelectorAll("table.list tr[data-kind]")].map((row) => row.dataset.kind));
  const options = {
    tracks: record.tracks.map((track) => [track.number, `${track.number} ${track.name}`]),
    passes: record.passes.map((one, at) => [at, one.name]),
    kind: [...kinds].sort().map((kind) => [kind, kind]),
  };
  for (const [name, values] of Object.entries(options)) {
    form.elements[name].append(make("option", { value: "" }, "all"),
      ...values.map(([value, text]) => make("option", { value }, text)));
  }
  const apply = () => {
    for (const name of Object.keys(options)) wantedRows[name] = form.elements[name].value;
    closeView();
    lists.forEach((list) => showList(list));
    const isAny = Object.values(wantedRows).some(Boolean);
    const [shown, all] = ["shown", "rows"].map((key) => lists.filter((list) => list.filters.length)
      .reduce((sum, list) => sum + (key === "rows" ? list.rows.length : list.shown), 0));
    byId("counted").textContent = isAny ? `${number(shown)} of ${counted(all, "row")} in all lists` : "";
  };
  form.addEventListener("change", apply);
  form.addEventListener("reset", () => setTimeout(apply));
  form.addEventListener("submit", (event) => event.preventDefault());
  form.hidden = false;
}

// Bring a row into sight whatever hides it: filters, or the end of what is shown.
function reveal(row) {
  const list = lists.find((one) => one.body === row.parentElement);
  if (!list) return;
  if (row.hidden) {
    byId("filters").reset();
    for (const name of Object.keys(wantedRows)) wantedRows[name] = "";
    lists.forEach((one) => showList(one));
    byId("counted").textContent = "";
  }
  if (row.classList.contains("beyond")) {
    list.limit = list.rows.filter((one) => !one.hidden).indexOf(row) + FIRST_ROWS;
    showList(list);
  }
  row.scrollIntoView({ block: "center" });
}
