"""A reason, recorded once and rendered many ways."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Reason:
    """Something the verdict rests on."""

    id: str
    says: str
    because: tuple[str, ...] = ()
    source: str | None = None


@dataclass(frozen=True)
class Caution:
    """A safety rule that applies; `hold`: the verdict alone is not enough to go ahead."""

    rule: str
    says: str
    hold: bool
    source: str


@dataclass(frozen=True)
class Unknown:
    """What is not known, and the reading that would tell (None: a question, not a reading)."""

    what: str
    says: str
    part: str | None = None
    quantity: str | None = None
    from_feature: str | None = None
    to_feature: str | None = None
