"""What only this page looks like, and the filter of the faults."""

STYLE = """
.share { margin: 0 0 .8rem; font-size: 1.3rem; font-weight: 600; }
.list th:first-child { min-width: 9rem; }
.list td:nth-child(n + 3) { min-width: 14rem; }
.grave td:nth-child(2) { color: var(--bad); font-weight: 700; }
.minor td:nth-child(2) { color: var(--dim); }
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
.first, .also { color: var(--good); }
.wrong { color: var(--bad); font-weight: 700; }
.by { min-width: 20rem; max-width: 40rem; overflow-wrap: anywhere; }
.filter { display: flex; flex-wrap: wrap; gap: .4rem 1rem; margin-bottom: .6rem; }
.filter input, .filter select { font: inherit; max-width: 100%; }
@media print {
  .filter { display: none; }
  .matrix thead, .matrix .name { position: static; }
  .matrix .s { height: 7rem; }
  .matrix .s span { max-height: 6.8rem; }
  .matrix .c { min-width: 0; }
  .by { min-width: 0; }
  .thing { break-after: avoid; }
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
