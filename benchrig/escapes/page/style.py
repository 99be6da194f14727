"""The look of the page, light or dark as the system has it, and on paper; and the filter of the faults."""

STYLE = """
:root { color-scheme: light dark; --back: #fff; --text: #1c2126; --dim: #59626b; --line: #d5dade; --head: #eef1f3;
  --open: #fdeceb; --bad: #a8201a; --good: #1f6b45; --some: #e3efe8; --link: #1d5c9b; }
@media (prefers-color-scheme: dark) { :root { --back: #15191d; --text: #e3e7ea; --dim: #9aa5af; --line: #343c44;
  --head: #20262c; --open: #3a1f1f; --bad: #ff9b93; --good: #86d3a8; --some: #1d3529; --link: #8abcf0; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem 1.5rem 3rem; max-width: 110rem; background: var(--back); color: var(--text);
  font: 15px/1.45 system-ui, sans-serif; }
h1 { margin: 0; font-size: 1.6rem; line-height: 1.2; }
h2 { margin: 2.2rem 0 .6rem; font-size: 1.15rem; }
a { color: var(--link); }
.sub { margin: .2rem 0 1rem; color: var(--dim); }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .1rem 1rem; margin: 0; font-size: .9rem; }
dt { color: var(--dim); }
dd { margin: 0; overflow-wrap: anywhere; }
nav { display: flex; flex-wrap: wrap; gap: .3rem 1.2rem; margin-top: 1rem; padding: .5rem 0; border-block: 1px solid var(--line); }
.share { margin: 0 0 .8rem; font-size: 1.3rem; font-weight: 600; }
.wide { overflow-x: auto; margin: 0 0 1rem; }
.high { width: fit-content; max-width: 100%; max-height: 92vh; overflow: auto; border: 1px solid var(--line); }
table { border-collapse: collapse; font-size: .87rem; }
th, td { padding: .2rem .55rem; border-bottom: 1px solid var(--line); text-align: left; vertical-align: top; }
thead th { background: var(--head); vertical-align: bottom; }
tbody th, tfoot th { font-weight: 500; }
.n { text-align: right; font-variant-numeric: tabular-nums; }
.sum > *, tfoot > tr > * { font-weight: 700; border-top: 2px solid var(--line); }
.list th:first-child { min-width: 9rem; }
.list td:nth-child(n + 3) { min-width: 14rem; }
.grave td:nth-child(2) { color: var(--bad); font-weight: 700; }
.minor td:nth-child(2) { color: var(--dim); }
.beside { display: flex; flex-wrap: wrap; align-items: start; gap: 0 3rem; }
.beside .wide { max-width: 100%; }
.open > * { background: var(--open); }
.open .word, .missed { color: var(--bad); font-weight: 700; }
.matrix { border-collapse: separate; border-spacing: 0; }
.matrix thead { position: sticky; top: 0; z-index: 2; }
.matrix .name { position: sticky; left: 0; z-index: 1; background: var(--back); min-width: 11rem; max-width: 22rem;
  border-right: 1px solid var(--line); }
.matrix thead .name, .matrix .thing th { background: var(--head); }
.matrix .open .name { background: var(--open); }
.matrix .group { max-width: 0; overflow: hidden; white-space: nowrap; text-overflow: ellipsis; border-left: 1px solid var(--line);
  font-weight: 500; color: var(--dim); }
.many { columns: 18rem; }
.matrix .s { height: 11rem; padding: .3rem .1rem; font-weight: 500; }
.matrix .s span { writing-mode: vertical-rl; transform: rotate(180deg); max-height: 10.5rem; overflow: hidden; white-space: nowrap;
  text-overflow: ellipsis; }
.matrix .c { padding: .2rem 0; min-width: 1.7rem; text-align: center; }
.matrix .edge { border-left: 1px solid var(--line); }
.some { background: var(--some); }
.first, .also { color: var(--good); }
.wrong { color: var(--bad); font-weight: 700; }
.by { min-width: 20rem; max-width: 40rem; overflow-wrap: anywhere; }
small { color: var(--dim); white-space: nowrap; }
.unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
.filter { display: flex; flex-wrap: wrap; gap: .4rem 1rem; margin-bottom: .6rem; }
.filter input, .filter select { font: inherit; }
[hidden] { display: none; }
@media print {
  @page { size: A4 landscape; margin: 10mm; }
  :root { color-scheme: light; --back: #fff; --text: #000; --dim: #444; --line: #bbb; --head: #eee; --open: #f6e4e2; --bad: #8c1510;
    --good: #174f33; --some: #e8f0eb; --link: #000; }
  body { padding: 0; max-width: none; font-size: 8.5pt; }
  nav, .filter { display: none; }
  .wide, .high { overflow: visible; max-height: none; border: 0; }
  table { font-size: 7pt; }
  th, td { padding: .1rem .3rem; }
  .matrix thead, .matrix .name { position: static; }
  .matrix .s { height: 7rem; }
  .matrix .s span { max-height: 6.8rem; }
  .matrix .c { min-width: 0; }
  .by { min-width: 0; }
  tr { break-inside: avoid; }
  h2, .thing { break-after: avoid; }
  * { print-color-adjust: exact; }
}
"""

SCRIPT = """
(function () {
  var table = document.getElementById("matrix"), form = document.createElement("form");
  form.className = "filter";
  form.innerHTML = '<label>Result <select><option value="">all</option></select></label>' +
    '<label>Fault <input type="search"></label><output aria-live="polite"></output>';
  var choice = form.querySelector("select"), text = form.querySelector("input"), said = form.querySelector("output");
  var rows = Array.from(table.querySelectorAll("tr[data-result]"));
  new Set(rows.map(function (row) { return row.dataset.result; })).forEach(function (word) { choice.add(new Option(word)); });
  function filter() {
    var wanted = text.value.trim().toLowerCase(), count = 0;
    Array.from(table.tBodies).forEach(function (body) {
      var name = body.querySelector("b").textContent.toLowerCase(), left = 0;
      Array.from(body.rows).slice(1).forEach(function (row) {
        var fits = (name + " " + row.textContent.toLowerCase()).includes(wanted);
        row.hidden = !fits || (choice.value !== "" && row.dataset.result !== choice.value);
        left += row.hidden ? 0 : 1;
      });
      body.hidden = left === 0;
      count += left;
    });
    said.value = count + " of " + rows.length + " faults";
  }
  form.addEventListener("input", filter);
  form.addEventListener("submit", function (event) { event.preventDefault(); });
  table.parentNode.before(form);
  filter();
})();
"""
