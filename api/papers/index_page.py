"""The index: what lies in the folder, what to print first, and how to print it."""

from __future__ import annotations

import html
from dataclasses import dataclass

from api.papers.facts import Facts
from api.summary import duration
from api.tables import plain
from solver.rules.exposure import LAST_WORD


@dataclass(frozen=True)
class Listed:
    """A file in the index: where it lies, what it is, how much of it there is."""

    path: str
    title: str
    note: str = ""


_STYLE = """
body { font: 16px/1.45 system-ui, sans-serif; color: #111; background: #fff;
  max-width: 52rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0; } h2 { font-size: 1.1rem; margin: 1.8rem 0 .4rem; }
p.plan { color: #555; margin: .2rem 0 1.2rem;
  border-bottom: 2px solid #111; padding-bottom: .6rem; }
table { border-collapse: collapse; width: 100%; }
td { border-top: 1px solid #bbb; padding: .3rem .8rem .3rem 0; vertical-align: top; }
td.note { color: #444; } a { color: #111; }
ul { padding-left: 1.2rem; columns: 2; } details { margin: .6rem 0; }
strong { font-weight: 650; }
@media print { a { text-decoration: none; } body { margin: 0; } }
"""


def index_bytes(
    facts: Facts,
    papers: tuple[Listed, ...],
    drawings: tuple[Listed, ...],
    notes: tuple[str, ...],
    date: str,
) -> bytes:
    """Return the index as a page that needs nothing but itself."""
    plan = facts.plan
    cost = plan.cost
    told = [f"plan {plan.id}", plan.status, f"goal {plan.goal}"]
    if cost is not None:
        told.append(f"{cost.total:,.2f} {plan.currency}")
        told.append(duration(plan.minutes))
    if date:
        told.append(date)
    rows = "".join(
        f'<tr><td><a href="{_text(one.path)}">{_text(one.title)}</a></td>'
        f'<td class="note">{_text(one.note)}</td></tr>\n'
        for one in papers
    )
    files = "".join(
        f'<li><a href="{_text(one.path)}">{_text(one.title)}</a></li>\n' for one in drawings
    )
    said = "".join(f"<p>{_text(note)}</p>\n" for note in notes)
    title = _text(plan.title)
    page = f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{title}: papers</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>{_STYLE}</style></head><body>
<h1><bdi>{title}</bdi></h1>
<p class="plan">{_text(" · ".join(told))}</p>
<p><strong>Print at 100 %, never fitted to the page.</strong> Measure the check square of a
full-size page before cutting: what measures wrong there is wrong everywhere.</p>
{said}<h2>Papers</h2>
<table>
{rows}</table>
<h2>Drawings for other programs</h2>
<p>Millimetres throughout. Layers of the DXF files: cut, fold, bend, slit, v-notch, mold line,
clamp, stock, roll end, offcut, gone, words.</p>
<details><summary>{len(drawings)} files</summary><ul>
{files}</ul></details>
<p>{_text(LAST_WORD)}</p>
</body></html>
"""
    return page.encode()


def _text(text: str) -> str:
    return html.escape(plain(text), quote=True)
