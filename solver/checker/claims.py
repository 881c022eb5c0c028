"""What a rerun says was there, against the old plan and the record of the work.

`check_plan` takes a plan's account of what was there as given; here that account is judged.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np
import shapely

from solver.checker.report import Fault
from solver.checker.tolerances import GAP_SLACK_MM, OUTLINE_MM
from solver.data.job import Job
from solver.data.plan import Existing, NestPlan, Piece, Placed, Plan
from solver.data.work import Work


def check_claims(job: Job, old: Plan, work: Work, plan: Plan) -> tuple[Fault, ...]:
    """Return what is wrong with a rerun's account; empty for a plan without one."""
    if plan.rerun is None:
        return ()
    return (
        *_pieces(old, work, plan),
        *_metal(job, old, work, plan),
        *_sections(old, work, plan),
        *_names(old, plan),
    )


def _pieces(old: Plan, work: Work, plan: Plan) -> Iterator[Fault]:
    """What is there was cut for the old plan, or was there before, and is told as it is."""
    assert plan.rerun is not None
    rerun = plan.rerun
    if rerun.old_plan != old.id:
        yield Fault("claims", "rerun.old_plan", f'is "{rerun.old_plan}", not "{old.id}"')
    if set(rerun.spoiled) != set(work.spoiled):
        yield Fault("claims", "rerun.spoiled", f"is {rerun.spoiled}")
    told = {one.piece.id: one for one in rerun.existing}
    cut = {piece.id: piece for piece in old.pieces if piece.id in work.cut}
    older = _left_over(old, work)
    for name, piece in cut.items():
        wanted = Existing(piece=piece, fitted=name in work.fitted)
        if told.get(name) != wanted:
            yield Fault("claims", f'piece "{name}"', "was cut, and is not told as it is")
    for name, one in told.items():
        if name not in cut and older.get(name) != one:
            yield Fault("claims", f'piece "{name}"', "is told to be there, and was not cut")


def _left_over(old: Plan, work: Work) -> dict[str, Existing]:
    """Pieces of an older plan that were not made over for the old one."""
    if old.rerun is None:
        return {}
    made = {s.old for s in old.rerun.sources if s.piece in work.cut | work.spoiled}
    return {one.piece.id: one for one in old.rerun.existing if one.piece.id not in made}


def _outline(piece: Piece, placed: Placed) -> shapely.Polygon:
    points = np.array(piece.blank.outline_mm, dtype=np.float64)
    if placed.flipped:
        points = points * (1.0, -1.0)
    turn = np.radians(placed.turn_deg)
    cos, sin = float(np.cos(turn)), float(np.sin(turn))
    x = points[:, 0] * cos - points[:, 1] * sin + placed.x_mm
    y = points[:, 0] * sin + points[:, 1] * cos + placed.y_mm
    return shapely.Polygon(np.column_stack((x, y)))


def _metal(job: Job, old: Plan, work: Work, plan: Plan) -> Iterator[Fault]:
    """Whole units are those on hand and bought less the begun ones; begun ones lack what is cut."""
    assert plan.rerun is not None
    piece_of = {piece.id: piece for piece in old.pieces}
    done = work.cut | work.spoiled
    begun: dict[str, list[shapely.Polygon]] = {}
    opened: Counter[str] = Counter()
    for nest in old.nests:
        cut = [_outline(piece_of[one.piece], one) for one in nest.placed if one.piece in done]
        if cut or nest.rest_of is not None:
            name = nest.rest_of or nest.id
            begun[name] = [shapely.Polygon(ring) for ring in nest.gone_mm] + cut
            opened[nest.stock] += nest.rest_of is None
    if old.rerun is not None:
        for rest in old.rerun.rests:
            gone = [shapely.Polygon(ring) for ring in rest.gone_mm]
            begun.setdefault(rest.id, gone)
    for rest in plan.rerun.rests:
        if rest.id not in begun:
            yield Fault("claims", f'nest "{rest.id}"', "is told to be begun, and is not")
        elif not _same_cuts(rest, begun[rest.id]):
            yield Fault("claims", f'nest "{rest.id}"', "lacks other blanks than were cut from it")
        if rest.id in work.gone:
            yield Fault("claims", f'nest "{rest.id}"', "is gone, and is told to be there")
    before = old.rerun.on_hand if old.rerun is not None else {}
    for item in job.stock:
        there = before.get(item.id, item.on_hand)
        there = max(0, there + work.bought.get(item.id, 0) - opened[item.id])
        told = plan.rerun.on_hand.get(item.id, 0)
        if told != there:
            yield Fault("claims", f'stock "{item.id}"', f"{told} are told to be there; {there} are")


def _same_cuts(rest: NestPlan, cuts: list[shapely.Polygon]) -> bool:
    if len(rest.gone_mm) != len(cuts):
        return False
    return all(
        shapely.hausdorff_distance(shapely.Polygon(ring).exterior, cut.exterior) <= GAP_SLACK_MM
        for ring, cut in zip(rest.gone_mm, cuts, strict=True)
    )


def _sections(old: Plan, work: Work, plan: Plan) -> Iterator[Fault]:
    assert plan.rerun is not None
    built = {frozenset(s.patches) for s in old.sections if s.id in work.built}
    for patches in plan.rerun.built:
        if frozenset(patches) not in built:
            yield Fault("claims", f"section of {', '.join(patches)}", "is not built")


def _names(old: Plan, plan: Plan) -> Iterator[Fault]:
    """A piece about which nothing changes keeps its name, and no other piece is given it."""
    assert plan.rerun is not None
    was = {piece.id: piece for piece in old.pieces}
    there = {one.piece.id for one in plan.rerun.existing}
    for piece in plan.pieces:
        same = [name for name, one in was.items() if _same(one, piece)]
        if same and piece.id not in same and not there & set(same):
            yield Fault("names", f'piece "{piece.id}"', f'is "{same[0]}" under another name')
        if piece.id in was and piece.id not in same and not _alike(was[piece.id], piece):
            yield Fault("names", f'piece "{piece.id}"', "has the name of another piece")


def _same(one: Piece, other: Piece) -> bool:
    """Whether two pieces are one: the same blank of the same metal at the same stations."""
    return (
        (one.run, one.mounting, one.metal, len(one.spans))
        == (other.run, other.mounting, other.metal, len(other.spans))
        and abs(one.thickness_mm - other.thickness_mm) <= 1e-4
        and all(
            (a.edge, a.backward) == (b.edge, b.backward)
            and abs(a.from_mm - b.from_mm) <= GAP_SLACK_MM
            and abs(a.to_mm - b.to_mm) <= GAP_SLACK_MM
            for a, b in zip(one.spans, other.spans, strict=True)
        )
        and _alike(one, other)
    )


def _alike(one: Piece, other: Piece) -> bool:
    """Whether two pieces have the same blank on the same edges, measured from either end."""
    if [span.edge for span in one.spans] != [span.edge for span in other.spans]:
        return False
    if len(one.blank.outline_mm) != len(other.blank.outline_mm):
        return False
    apart = np.abs(np.array(one.blank.outline_mm) - np.array(other.blank.outline_mm))
    return bool(apart.max() <= OUTLINE_MM / 10)
