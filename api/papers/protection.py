"""Tools and protective things that a plan's work needs; [practice] unless a source is named."""

from __future__ import annotations

from dataclasses import dataclass

from solver.data.plan import Plan


@dataclass(frozen=True)
class Thing:
    """One thing to have at hand, and what for."""

    name: str
    purpose: str


def protective_things(plan: Plan) -> tuple[Thing, ...]:
    """Return what protects people in this plan's work."""
    things = [
        Thing("cut-resistant gloves, one pair each", "metal edges (rated by ANSI/ISEA 105)"),
        Thing("safety glasses, one each", "snips, deburring, drilling (rated by ANSI Z87.1)"),
        Thing(
            "respirator for organic vapour, one each",
            "styrene from polyester and vinyl ester resin; fit it and change cartridges",
        ),
        Thing("dust filters (P100) for the respirator", "grinding and sanding of laminate"),
        Thing("resin gloves, a box", "resin, catalyst, solvent: chemical-resistant, thrown away"),
        Thing("long sleeves or throw-away suits", "glass, resin, dust"),
        Thing("eye wash and clean water", "catalyst in the eye is an emergency"),
        Thing(
            "fire extinguisher and a lidded metal bin", "resin and rags can heat up by themselves"
        ),
        Thing("fan and open doors", "vapour is kept low by air, not by masks alone"),
        Thing("blocks and wedges", "nothing stands on edge unblocked, nobody works under a load"),
    ]
    if any(section.people is None for section in plan.sections):
        things.append(Thing("hoist and slings for the heaviest section", "see order of work"))
    return tuple(things)


def tools(plan: Plan) -> tuple[Thing, ...]:
    """Return tools to mark, cut, fold and fit."""
    things = [
        Thing("tape, square, straight edge", "marking from the factory edge"),
        Thing("scriber and marker", "lines, numbers and up arrows on the metal"),
        Thing("snips, left and right", "outlines"),
        Thing("deburring tool or file", "every cut edge"),
    ]
    pieces = plan.pieces
    if any(not piece.blank.straight for piece in pieces):
        things.append(Thing("batten and weights", "fair curves through offsets"))
        things.append(Thing("scissors, tape, spray glue", "paper templates"))
    if any(piece.blank.folds or piece.bends_mm for piece in pieces):
        things.append(Thing("folding bars or a brake", "returns and legs"))
    if any(piece.preform_mm > 0 for piece in pieces):
        things.append(Thing("mandrel or slip rolls", "pre-forming tight curves"))
    if any(edge.bolts for edge in plan.edges):
        things.append(Thing("two spanners, a drift", "bolts of the joints"))
    if any(edge.packer_mm > 0 for edge in plan.edges):
        things.append(Thing("feeler gauge or a strip of packer", "checking the gap along joints"))
    return tuple(things)
