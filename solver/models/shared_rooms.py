"""Whether rectangles fit into several rooms: who shares a room first, then each room by itself.

A master model gives every rectangle a room, a turn and a place along it, such that no line across
a room meets more than the room is wide: what every layout obeys, and far easier than to lay them
apart. Then each room's share is decided alone. A share that does not fit is stripped of rectangles
as long as it is proven not to fit without them; what is left, a *crowd*, is forbidden in that room
and in all no larger, for it and for whatever is no smaller (combinatorial Benders cuts, as in Côté,
Haouari and Iori, 2021). The rectangles fit when every share does, and never do when the master has
no answer left.

Symmetries: rooms alike come in order of their first rectangle, rectangles alike in order of their
rooms (both hold for the least list of rooms in dictionary order), and the first rectangle of a room
lies in its first half.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from solver.data.until import FOREVER, Until
from solver.models.cp_sat import decide, new_solver
from solver.models.rooms import Decision, Lies, Size, Way, add_worths, fit_rooms

LayOne = Callable[[Sequence[Size], Size], Sequence[Lies] | None]
"""A quick try to lay all of some rectangles into one room."""

SHARE_WORK = 0.3
"""Most work for one share of one room."""
STRIP_WORK = 0.03
"""Most work for proving a share without one of its rectangles."""
STRIPPED_IN_VAIN = 3
"""Such proofs that may fail one after the other."""
ALONG_WORK = 0.05
"""Most work for laying a share with the places along the room that the master gave."""
LAID_WORK = 0.02
"""Counted for a quick try to lay a share."""
MASTER_LEAST, SHARE_LEAST = 0.02, 0.003
"""Counted for a model that is soon decided: it takes time to build."""
MIRRORED = 8
"""Rectangles that may be the first of a room and are then kept to its first half."""

Sizes = tuple[Size, ...]


@dataclass(frozen=True)
class Crowd:
    """Rectangles that do not fit into a room together, none of which can be spared."""

    sizes: Sizes
    room: Size

    def keeps_out(self, room: Size) -> bool:
        """Whether a room is no larger than the crowd's."""
        return room[0] <= self.room[0] and room[1] <= self.room[1]


@dataclass(eq=False)
class Known:
    """What was found about rooms and shares, for later calls with rectangles of the same list."""

    shares: dict[tuple[Size, Sizes], Decision] = field(default_factory=dict)
    crowds: list[Crowd] = field(default_factory=list)


def fit_shared(
    sizes: Sequence[Size],
    rooms: Sequence[Size],
    *,
    work: float,
    known: Known,
    lay_one: LayOne | None = None,
    hopeful: bool = False,
    seed: int = 0,
    until: Until = FOREVER,
) -> Decision:
    """Decide whether rectangles, all of them, fit into rooms; ``work`` as in ``new_solver``.

    ``hopeful`` finds layouts sooner and proofs later: mirrored layouts count too, and CP-SAT does
    without linear programs.
    """
    search = _Search(sizes, rooms, work, known, lay_one, seed, until)
    master = _Master(sizes, rooms, hopeful=hopeful)
    for crowd in known.crowds:
        master.forbid(crowd)
    sure = True
    while search.work > 0.0 and not until.over():
        answer = master.solve(min(search.work, work), seed, until)
        search.spend(max(answer.work, MASTER_LEAST))
        if answer.fits is None:
            return Decision(None, work=work - search.work)
        if not answer.fits:
            return Decision(False if sure else None, work=work - search.work)
        places: dict[int, Lies] = {}
        for room in range(len(rooms)):
            share = [k for k, at in enumerate(answer.places) if at.room == room]
            share.sort(key=lambda k: (sizes[k], k))
            decided = search.share(share, answer.places)
            if decided.fits:
                for k, at in zip(share, decided.places, strict=True):
                    places[k] = Lies(room, at.x, at.y, at.turned)
            elif decided.fits is None:
                sure = False
                alike = [k for k, other in enumerate(rooms) if other == rooms[room]]
                master.keep_out(share, alike, with_larger=False)
            else:
                numbers = search.crowd(share, rooms[room])
                crowd = Crowd(tuple(sizes[k] for k in numbers), rooms[room])
                known.crowds.append(crowd)
                kept = [k for k, other in enumerate(rooms) if crowd.keeps_out(other)]
                master.keep_out(numbers, kept, with_larger=True)
        if len(places) == len(sizes):
            laid = tuple(places[k] for k in range(len(sizes)))
            return Decision(True, laid, work - search.work)
    return Decision(None, work=work - search.work)


@dataclass(eq=False)
class _Search:
    sizes: Sequence[Size]
    rooms: Sequence[Size]
    work: float
    known: Known
    lay_one: LayOne | None
    seed: int
    until: Until

    def spend(self, work: float) -> None:
        self.work -= work

    def share(self, share: Sequence[int], places: Sequence[Lies]) -> Decision:
        """Decide one share, in order of sizes; its places in that order, all in room 0."""
        if not share:
            return Decision(True)
        room = self.rooms[places[share[0]].room]
        sizes = tuple(self.sizes[k] for k in share)
        decided = self.known.shares.get((room, sizes))
        if decided is not None:
            return decided
        given = [Lies(0, places[k].x, 0, places[k].turned) for k in share]
        decided = self._fit(sizes, room, ALONG_WORK, given)
        if not decided.fits and self.lay_one is not None:
            laid = self.lay_one(sizes, room)
            self.spend(LAID_WORK)
            decided = Decision(None) if laid is None else Decision(True, tuple(laid))
        if not decided.fits:
            decided = self._fit(sizes, room, SHARE_WORK)
        self.known.shares[room, sizes] = decided
        return decided

    def crowd(self, share: Sequence[int], room: Size) -> list[int]:
        """Strip a share that does not fit, large rectangles first, and keep what is proven."""
        left = list(share)
        in_vain = 0
        for number in sorted(share, key=lambda k: -self.sizes[k][0] * self.sizes[k][1]):
            fewer = [k for k in left if k != number]
            key = (room, tuple(self.sizes[k] for k in fewer))
            decided = self.known.shares.get(key)
            if decided is None:
                decided = self._fit(key[1], room, STRIP_WORK)
                if decided.fits is not None:
                    self.known.shares[key] = decided
            if decided.fits is False:
                left = fewer
            in_vain = in_vain + 1 if decided.fits is None else 0
            if in_vain == STRIPPED_IN_VAIN:
                break
        return left

    def _fit(
        self, sizes: Sequence[Size], room: Size, work: float, given: Sequence[Lies] | None = None
    ) -> Decision:
        if self.work <= 0.0:
            return Decision(None)
        work = min(work, self.work)
        decided = fit_rooms(sizes, [room], work=work, seed=self.seed, until=self.until, given=given)
        self.spend(max(decided.work, SHARE_LEAST))
        return decided


class _Master:
    """Rooms, turns and places along the rooms."""

    def __init__(self, sizes: Sequence[Size], rooms: Sequence[Size], *, hopeful: bool) -> None:
        self.sizes, self.rooms, self.hopeful = sizes, rooms, hopeful
        self.model = cp_model.CpModel()
        self.ways: list[list[Way]] = [[] for _ in rooms]
        self.possible = True
        for number in range(len(sizes)):
            self._add(number)
        for room, (length, width) in enumerate(rooms):
            spans = [
                self.model.new_optional_fixed_size_interval_var(way.x, way.along, way.chosen, "")
                for way in self.ways[room]
            ]
            self.model.add_cumulative(spans, [way.across for way in self.ways[room]], width)
            add_worths(self.model, self.ways[room], length, width)
            if not hopeful:
                self._in_first_half(room)
        self._rooms_in_order()
        self._alike_in_order()

    def _add(self, number: int) -> None:
        long, wide = self.sizes[number]
        able: list[cp_model.IntVar] = []
        for room, (length, width) in enumerate(self.rooms):
            for turned in (False, True)[: 1 if long == wide else 2]:
                along, across = (wide, long) if turned else (long, wide)
                if along <= length and across <= width:
                    chosen = self.model.new_bool_var("")
                    able.append(chosen)
                    x = self.model.new_int_var(0, length - along, "")
                    self.ways[room].append(Way(number, turned, along, across, chosen, x))
        if able:
            self.model.add_exactly_one(able)
        else:
            self.possible = False

    def _chosen(self, room: int) -> dict[int, list[cp_model.IntVar]]:
        found: dict[int, list[cp_model.IntVar]] = {}
        for way in self.ways[room]:
            found.setdefault(way.number, []).append(way.chosen)
        return found

    def _in_first_half(self, room: int) -> None:
        length = self.rooms[room][0]
        none_yet: cp_model.IntVar | None = None
        for number, chosen in list(self._chosen(room).items())[:MIRRORED]:
            before = [] if none_yet is None else [none_yet]
            for way in self.ways[room]:
                if way.number == number:
                    half = self.model.add(2 * way.x <= length - way.along)
                    half.only_enforce_if([way.chosen, *before])
            now = self.model.new_bool_var("")
            self.model.add_bool_or([now, *chosen, *(~one for one in before)])
            none_yet = now

    def _rooms_in_order(self) -> None:
        for room in range(1, len(self.rooms)):
            if self.rooms[room] != self.rooms[room - 1]:
                continue
            before = self._chosen(room - 1)
            for number, chosen in self._chosen(room).items():
                earlier = [one for k, ones in before.items() if k < number for one in ones]
                for one in chosen:
                    self.model.add_bool_or([~one, *earlier])

    def _alike_in_order(self) -> None:
        chosen = [self._chosen(room) for room in range(len(self.rooms))]
        for number in range(1, len(self.sizes)):
            if self.sizes[number] != self.sizes[number - 1]:
                continue
            where = [
                sum(room * one for room, ones in enumerate(chosen) for one in ones.get(k, []))
                for k in (number - 1, number)
            ]
            self.model.add(where[0] <= where[1])

    def forbid(self, crowd: Crowd) -> None:
        """Keep a crowd, and whatever is no smaller, out of every room no larger than its own."""
        waiting = list(crowd.sizes)
        members: list[int] = []
        for number, size in enumerate(self.sizes):
            if size in waiting:
                waiting.remove(size)
                members.append(number)
        if not waiting:
            rooms = [k for k, room in enumerate(self.rooms) if crowd.keeps_out(room)]
            self.keep_out(members, rooms, with_larger=True)

    def keep_out(self, numbers: Sequence[int], rooms: Sequence[int], *, with_larger: bool) -> None:
        """Keep these rectangles from sharing one of the rooms; so many of those `with_larger` too.

        Among as many of them and of others that are no smaller than any of them, each that is not
        one of them can stand for one that is missing.
        """
        members = set(numbers)
        if with_larger:
            long = max(max(self.sizes[k]) for k in numbers)
            wide = max(min(self.sizes[k]) for k in numbers)
            members |= {
                k for k, size in enumerate(self.sizes) if max(size) >= long and min(size) >= wide
            }
        for room in rooms:
            chosen = self._chosen(room)
            within = [one for k in members for one in chosen.get(k, [])]
            self.model.add(sum(within) <= len(numbers) - 1)

    def solve(self, work: float, seed: int, until: Until) -> Decision:
        """Shares of the rooms, with places along them (y is 0)."""
        if not self.possible:
            return Decision(False)
        solver = new_solver(work=work, seconds=until.left(), seed=seed)
        solver.parameters.linearization_level = 0 if self.hopeful else 1
        fits, spent = decide(solver, self.model, until)
        if not fits:
            return Decision(fits, work=spent)
        places: dict[int, Lies] = {}
        self.model.clear_hints()  # type: ignore[no-untyped-call]
        for room, here in enumerate(self.ways):
            for way in here:
                chosen = bool(solver.value(way.chosen))
                self.model.add_hint(way.chosen, chosen)
                if chosen:
                    places[way.number] = Lies(room, solver.value(way.x), 0, way.turned)
                    self.model.add_hint(way.x, solver.value(way.x))
        return Decision(True, tuple(places[k] for k in range(len(self.sizes))), spent)
