// Searches the sections of all pages, as `index.js` lists them: every word must be there, those in headings count more.
const box = document.getElementById("words");
const found = document.getElementById("found");
const article = document.querySelector("article");

const plain = (text) => text.toLowerCase().normalize("NFKD").replace(/[\u0300-\u036f]/g, "");
const escaped = (text) => text.replace(/[&<>"]/g, (letter) => `&#${letter.charCodeAt(0)};`);

function score(section, words) {
  const [heading, text] = [plain(section.heading), plain(section.text)];
  if (!words.every((word) => heading.includes(word) || text.includes(word))) return 0;
  const often = words.reduce((sum, word) => sum + Math.min(text.split(word).length - 1, 5), 0);
  return 1 + often + 10 * words.filter((word) => heading.includes(word)).length;
}

function excerpt(text, words) {
  const at = Math.max(0, Math.min(...words.map((word) => plain(text).indexOf(word)).filter((place) => place >= 0), text.length) - 60);
  const shown = escaped(text.slice(at, at + 180));
  const any = new RegExp(words.map((word) => escaped(word).replace(/[.*+?^${}()|[\]\\]/g, "\\$&")).join("|"), "gi");
  return `${at > 0 ? "… " : ""}${shown.replace(any, "<mark>$&</mark>")} …`;
}

function show() {
  const words = plain(box.value).split(/\s+/).filter((word) => word.length > 1);
  found.hidden = words.length === 0;
  article.hidden = !found.hidden;
  if (found.hidden) return;
  const best = INDEX.map((section) => [score(section, words), section]).filter(([points]) => points > 0);
  best.sort(([one], [other]) => other - one);
  const lines = best.slice(0, 30).map(([, section]) =>
    `<li><a href="${BASE}/${section.url}">${escaped(section.heading)}</a> <small>${escaped(section.page)}</small>` +
    `<p>${excerpt(section.text, words)}</p></li>`);
  found.innerHTML = `<h1>${best.length} found</h1><ol>${lines.join("")}</ol>`;
}

box.addEventListener("input", show);
box.form.addEventListener("submit", (event) => event.preventDefault());
found.addEventListener("click", (event) => {
  if (event.target.closest("a")) { box.value = ""; show(); }
});
document.addEventListener("keydown", (event) => {
  if (event.key === "/" && document.activeElement !== box) { event.preventDefault(); box.focus(); }
  if (event.key === "Escape") { box.value = ""; show(); }
});
if (matchMedia("(max-width: 50rem)").matches) document.querySelector(".pages details").open = false;
