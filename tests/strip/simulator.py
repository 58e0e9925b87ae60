"""Carries a plan out step by step, and refuses what cannot be done. Rests on `brute.Taken`, not on the program."""

from __future__ import annotations

from partkin.model.build import Build
from partkin.model.stripping import RefitPlan, StripPlan
from strip.brute import Taken


class Refused(Exception):
    """A step that cannot be done."""


class Bench:
    """The state of the work: what is undone, what lies aside, whether the part has been lifted."""

    def __init__(self, build: Build, part: str, done: frozenset[str] = frozenset()) -> None:
        self.taken = Taken(build, part)
        self.undone = sum(self.taken.bit[name] for name in done)
        self.on_bench = not (self.taken.joined(self.undone) & self.taken.stays)
        self.lifted = self.on_bench
        self.aside: set[str] = set()
        self.states: dict[str, tuple[int, bool]] = {}

    def undo(self, fastener: str, on_bench: bool) -> None:
        """Undo one; refuse it when it is undone already, out of reach, or not where the plan says."""
        taken = self.taken
        if self.undone & taken.bit[fastener]:
            raise Refused(f"{fastener} is undone already")
        if on_bench != self.lifted:
            raise Refused(f"{fastener}: the part is {'' if self.lifted else 'not '}at the bench")
        if not taken.can_reach(fastener, self.undone, not self.lifted):
            raise Refused(f"{fastener} cannot be reached")
        row = taken.rows[fastener]
        if self.lifted and not self.on_bench and not {row.part, row.held_to} <= taken.joined(self.undone):
            raise Refused(f"{fastener} is not on what lies on the bench")
        self.states[fastener] = (self.undone, self.lifted)
        self.undone |= taken.bit[fastener]

    def carry(self, bodies: tuple[str, ...], to_bench: bool) -> None:
        """Carry bodies away; refuse when something still joins them to anything else."""
        taken, names = self.taken, set(bodies)
        lump = taken.lumps(self.undone)
        mine = names & taken.wanted
        # Whole lumps only; what merely belongs to one of them (part_of) may come along.
        together = set().union(*(lump[name] for name in names)) - self.aside
        if mine and names != taken.wanted:
            together |= set(taken.joined(self.undone)) - self.aside
        if together & taken.stays or together != names:
            raise Refused(f"{sorted(names)} are still joined to {sorted(together ^ names)}")
        if mine:
            self.lifted = True
        else:
            if names & self.aside:
                raise Refused(f"{sorted(names & self.aside)} lie aside already")
            self.aside |= names
        if to_bench and not mine:
            raise Refused("only what the part is in goes to the bench")


def carried_out(build: Build, plan: StripPlan, done: frozenset[str] = frozenset()) -> Bench:
    """Carry out a whole plan; return the state at its end."""
    bench = Bench(build, plan.part, done)
    for number, step in enumerate(plan.steps, start=1):
        if step.number != number:
            raise Refused("the numbers do not run from 1")
        if step.do == "undo" and step.fastener is not None:
            bench.undo(step.fastener, step.on_bench)
        elif step.do != "prepare":
            bench.carry(step.bodies, step.do == "to the bench")
    if not bench.taken.is_free(bench.undone):
        raise Refused("the part is not free")
    return bench


def put_back(bench: Bench, refit: RefitPlan) -> None:
    """Carry the way back out: each fastener is done up while it can be reached, until all are."""
    taken = bench.taken
    lifted = {name: was for name, (_, was) in bench.states.items()}
    for step in refit.steps:
        if step.do != "do up" or step.fastener is None:
            continue
        bit = taken.bit[step.fastener]
        if not bench.undone & bit:
            raise Refused(f"{step.fastener} is done up already")
        if not taken.can_reach(step.fastener, bench.undone & ~bit, not lifted[step.fastener]):
            raise Refused(f"{step.fastener} cannot be reached any more")
        bench.undone &= ~bit
