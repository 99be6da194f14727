"""The look that pages share, light or dark as the system has it, and on paper. A page adds what only it has."""

STYLE = """
:root { color-scheme: light dark; --back: #fff; --text: #1c2126; --dim: #59626b; --line: #d5dade; --head: #eef1f3;
  --open: #fdeceb; --bad: #a8201a; --good: #1f6b45; --some: #e3efe8; --link: #1d5c9b; --warn: #7a4b00; --loud: #fff3d6; }
@media (prefers-color-scheme: dark) { :root { --back: #15191d; --text: #e3e7ea; --dim: #9aa5af; --line: #343c44;
  --head: #20262c; --open: #3a1f1f; --bad: #ff9b93; --good: #86d3a8; --some: #1d3529; --link: #8abcf0; --warn: #f2c26b;
  --loud: #3a2f15; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem 1.5rem 3rem; max-width: 110rem; background: var(--back); color: var(--text);
  font: 15px/1.45 system-ui, sans-serif; overflow-wrap: break-word; }
h1 { margin: 0; font-size: 1.6rem; line-height: 1.2; overflow-wrap: anywhere; }
h2 { margin: 2.2rem 0 .6rem; font-size: 1.15rem; overflow-wrap: anywhere; }
h3 { margin: 1.4rem 0 .4rem; font-size: 1rem; overflow-wrap: anywhere; }
a { color: var(--link); }
.sub { margin: .2rem 0 1rem; color: var(--dim); }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .1rem 1rem; margin: 0; font-size: .9rem; }
dt { color: var(--dim); }
dd { margin: 0; overflow-wrap: anywhere; }
nav { display: flex; flex-wrap: wrap; gap: .3rem 1.2rem; margin-top: 1rem; padding: .5rem 0; border-block: 1px solid var(--line); }
nav > * { min-width: 0; overflow-wrap: anywhere; }
.notice { margin: .8rem 0; padding: .5rem .8rem; border: 2px solid var(--warn); background: var(--loud); color: var(--warn); }
.wide { overflow-x: auto; margin: 0 0 1rem; }
.high { width: fit-content; max-width: 100%; max-height: 92vh; overflow: auto; border: 1px solid var(--line); }
table { border-collapse: collapse; font-size: .87rem; }
th, td { padding: .2rem .55rem; border-bottom: 1px solid var(--line); text-align: left; vertical-align: top; }
thead th { background: var(--head); vertical-align: bottom; }
tbody th, tfoot th { font-weight: 500; }
.n { text-align: right; font-variant-numeric: tabular-nums; }
.sum > *, tfoot > tr > * { font-weight: 700; border-top: 2px solid var(--line); }
.beside { display: flex; flex-wrap: wrap; align-items: start; gap: 0 3rem; }
.beside > * { max-width: 100%; }
.open > * { background: var(--open); }
.bad { color: var(--bad); font-weight: 700; }
.good { color: var(--good); }
.dim { color: var(--dim); }
.some { background: var(--some); }
small { color: var(--dim); white-space: nowrap; }
summary { cursor: pointer; color: var(--link); }
pre { margin: .3rem 0; max-width: 100%; overflow-x: auto; font-size: .85rem; }
figure { margin: 0 0 1.2rem; }
figcaption { margin-top: .2rem; color: var(--dim); font-size: .87rem; }
svg { display: block; max-width: 100%; height: auto; }
svg.plot { width: 100%; min-width: 34rem; max-width: 60rem; }
svg text { fill: currentColor; }
.unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
[hidden] { display: none; }
@media screen and (max-width: 44rem) {
  .stack, .stack tbody, .stack tr { display: block; }
  .stack thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  .stack tr { padding: .35rem .3rem; border-bottom: 1px solid var(--line); overflow-wrap: anywhere; }
  .stack tr.open { background: var(--open); }
  .stack tr > * { display: inline-block; max-width: 100%; padding: 0 1rem 0 0; border: 0; text-align: left; white-space: normal; }
  .stack tr > th { display: block; padding: 0; }
  .stack td:empty { display: none; }
  .stack td[data-head]::before { content: attr(data-head) " "; color: var(--dim); font-weight: 400; }
}
@media print {
  @page { size: A4 landscape; margin: 10mm; }
  :root { color-scheme: light; --back: #fff; --text: #000; --dim: #444; --line: #bbb; --head: #eee; --open: #f6e4e2; --bad: #8c1510;
    --good: #174f33; --some: #e8f0eb; --link: #000; --warn: #5c3800; --loud: #f5ecd9; }
  body { padding: 0; max-width: none; font-size: 8.5pt; }
  nav { display: none; }
  .wide, .high { overflow: visible; max-height: none; border: 0; }
  table { font-size: 7pt; }
  th, td { padding: .1rem .3rem; overflow-wrap: anywhere; }
  tr, figure { break-inside: avoid; }
  h2, h3 { break-after: avoid; }
  * { print-color-adjust: exact; }
}
"""
