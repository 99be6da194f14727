"""What only the page of a run looks like."""

STYLE = """
h1 .marked { color: var(--warn); }
.decided { font-weight: 600; }
.todo { font-size: 1.1rem; border-left: 4px solid var(--link); padding-left: .8rem; }
.readings .step th { background: var(--head); font-weight: 600; padding-top: .5rem; }
.readings .step.open th { background: var(--open); }
.readings tbody th { font-weight: 500; }
.why { font-weight: 500; max-width: 70rem; overflow-wrap: anywhere; }
.readings td:nth-child(7) { min-width: 10rem; }
.readings td:nth-child(2) { white-space: nowrap; }
.readings td:nth-child(3) { max-width: 24rem; }
@media screen and (max-width: 44rem) {
  .readings tr > td:nth-child(2) { font-weight: 700; }
  .readings tr > td:nth-child(3) { max-width: 100%; }
  .readings tr > td:nth-child(7) { display: block; }
  .readings tr > td:nth-child(7)::before { content: none; }
}
.bar { min-width: 150px; width: 240px; }
.bar .track { fill: var(--bad); opacity: .25; }
.bar .passes { fill: var(--good); opacity: .45; }
.bar .limit { stroke: var(--text); stroke-width: 1.5; }
.bar .stated { stroke: var(--dim); stroke-width: 1.5; stroke-dasharray: 2 2; }
.bar .range { stroke: none; }
.bar .good, .span .good { fill: var(--good); }
.bar .bad, .span .bad { fill: var(--bad); }
.bar .point { stroke: var(--back); stroke-width: 1.5; }
.times .n { white-space: nowrap; }
.times td:last-child { min-width: 16rem; }
.span { width: 560px; }
.span .axis { fill: var(--line); }
.span .other { fill: var(--dim); }
.span .again { fill: var(--warn); opacity: .55; stroke: var(--warn); stroke-dasharray: 2 2; }
.source td { border: 0; padding-block: 0; }
.source td:nth-child(2) { min-width: 7rem; max-width: 14rem; font-size: .8rem; overflow-wrap: anywhere; }
.source td:first-child { text-align: right; color: var(--dim); }
.source td:last-child { white-space: pre; }
@media print { .source td:last-child { white-space: pre-wrap; overflow-wrap: anywhere; } }
code, .source td:last-child { font: .85rem/1.4 ui-monospace, monospace; overflow-wrap: anywhere; }
:target > * { outline: 2px solid var(--link); }
"""
