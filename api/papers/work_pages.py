"""The order of work on paper, with a box to tick before each step."""

from __future__ import annotations

import math

from api.papers.book import HAIR, MM, Book
from api.papers.facts import Facts
from api.papers.layout import Flow, line_mm
from api.papers.lettering import BOLD, broken
from api.papers.work import Step, order_of_work
from api.summary import duration
from solver.rules.exposure import LAST_WORD


def work_book(facts: Facts, book: Book) -> Book:
    """Write the order of work, chapter by chapter."""
    flow = Flow(book)
    chapters = order_of_work(facts)
    number = 0
    for chapter in chapters:
        minutes = math.fsum(step.minutes for step in chapter.steps)
        flow.heading(chapter.title, size=11, keep_mm=32)
        if minutes:
            flow.page.words(
                duration(minutes), flow.left + flow.wide, flow.y + 1.6, size=9, side="right"
            )
        flow.page.line(((flow.left, flow.y), (flow.left + flow.wide, flow.y)))
        flow.skip(0.8)
        for text in chapter.cautions:
            flow.text(text, size=8, indent=7.0, mark="!", bold=True)
        flow.skip(1.0)
        for step in chapter.steps:
            number += 1
            _step(flow, step, number)
        flow.skip(3.0)
    _end(flow, facts)
    return book


def _step(flow: Flow, step: Step, number: int) -> None:
    size, room = 8.5, flow.wide - 62.0
    title = broken(step.title, room * MM, 9.0, BOLD)
    said = [part for line in step.lines for part in broken(line, room * MM, size)]
    if step.pieces:
        said += broken("Pieces " + ", ".join(step.pieces) + ".", room * MM, size)
    flow.need(min(len(title) * line_mm(9) + len(said) * line_mm(size) + 2.5, 120))
    top = flow.y
    page = flow.page
    page.box(flow.left + 0.6, top - 4.4, 3.6, 3.6, weight=0.3)
    page.words(f"{number}", flow.left + 7.0, top - line_mm(9.0) + 0.3, size=9, bold=True)
    right = flow.left + flow.wide
    if step.bolts:
        bolts = "1 bolt" if step.bolts == 1 else f"{step.bolts} bolts"
        page.words(bolts, right - 22.0, top - line_mm(9.0) + 0.3, size=8.5, side="right")
    if step.minutes:
        page.words(duration(step.minutes), right, top - line_mm(9.0) + 0.3, size=8.5, side="right")
    for line in title:
        flow.y -= line_mm(9.0)
        page.words(line, flow.left + 14.0, flow.y + 0.3, size=9, bold=True)
    for line in said:
        flow.need(line_mm(size))
        flow.y -= line_mm(size)
        flow.page.words(line, flow.left + 14.0, flow.y + 0.3, size=size)
    flow.y -= 1.2
    flow.page.line(((flow.left, flow.y), (flow.left + flow.wide, flow.y)), weight=HAIR, grey=0.6)
    flow.y -= 0.6


def _end(flow: Flow, facts: Facts) -> None:
    flow.heading("All of it", size=11, keep_mm=24)
    bare = math.fsum(line.minutes for line in facts.plan.hours)
    flow.text(
        f"The steps add up to {duration(bare)}; with the allowance for the rest the plan counts "
        f"{duration(facts.plan.minutes)}. Laminating and curing are not in it.",
        size=8.5,
    )
    flow.skip(1.5)
    flow.heading("Cautions of this plan", size=9.5, keep_mm=14)
    # what each section weighs and where it must be tipped stands with its step
    lifts = {f"section {one.id}: {one.lift_basis}" for one in facts.plan.sections}
    for text in facts.plan.cautions:
        if text in lifts or "can be reached" in text:
            continue
        flow.text(text, size=8, indent=5.0, mark="!")
    flow.text(LAST_WORD, size=8.5, bold=True)
