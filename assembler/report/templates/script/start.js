// Begin: colours, chart, lists, links into rows.
readColors();
if (record.tracks.length && record.length) startChart();
startLists();

function followLink() {
  const name = decodeURIComponent(location.hash.slice(1));
  const row = name && document.getElementById(name);
  if (row && row.tagName === "TR") reveal(row);
}

window.addEventListener("hashchange", followLink);
// A link to the row that the address names already changes nothing, but the row may be hidden by now.
document.querySelector(".verdict").addEventListener("click", (event) => {
  if (event.target.closest("a")) setTimeout(followLink);
});
followLink();
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  readColors();
  wanted();
  drawWaves();
});
window.addEventListener("resize", drawWaves);
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") closeView(true);
});
document.documentElement.dataset.ready = "true";
