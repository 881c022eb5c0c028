"""While options are sought and after: which one it is, and what each one's proof is about."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from solver.data.plan import Plan, Progress


def numbered(on_progress: Callable[[Progress], None], count: int) -> Callable[[Progress], None]:
    """Return a listener for all options that says which one is being sought.

    What is known of one option says nothing of the next: its best plan and bound are told from its
    own first plan on.
    """
    number, known = 1, True

    def tell(progress: Progress) -> None:
        nonlocal number, known
        known = known or progress.phase == "better plan"
        unknown = {} if known else {"best": None, "bound": None, "gap": None}
        phase = f"option {number}/{count}: {progress.phase}"
        on_progress(progress.model_copy(update={"phase": phase, **unknown}))
        if progress.phase == "done":
            number, known = number + 1, False

    return tell


def of_its_kind(plans: Sequence[Plan], differ_by: int) -> tuple[Plan, ...]:
    """Return plans the cheapest first, each bound said to cover the splits that it is proven for.

    ``plans`` are in the order in which they were found: the first bound is for every split, each
    other one for those that differ from all plans before it.
    """
    joints = "1 joint" if differ_by == 1 else f"{differ_by} joints"
    kind = (
        f"splits that differ by {joints} or more from the options found before this one and from "
        "their mirror images; of those "
    )
    told = [
        plan
        if number == 0
        else plan.model_copy(
            update={"proof": plan.proof.model_copy(update={"covers": kind + plan.proof.covers})}
        )
        for number, plan in enumerate(plans)
    ]
    return tuple(sorted(told, key=lambda plan: plan.cost.objective if plan.cost else 0.0))
