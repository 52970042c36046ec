"""The record of one conclusion: what was compared with what, where, and what would mend it."""

from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from tristrand.records import NamedTuple

Kind = Literal["fail", "review", "open", "not_applicable", "pass"]
Severity = Literal["error", "warning", "note"]
Relation = Literal["<=", ">=", "<", ">", "=", ""]
# In the order in which a reader should meet them.
KINDS: tuple[Kind, ...] = get_args(Kind)
SEVERITIES: tuple[Severity, ...] = get_args(Severity)
RELATIONS: tuple[Relation, ...] = get_args(Relation)


class Evidence(NamedTuple):
    """One number a conclusion rests on.

    Attributes:
        quantity: what the number is, in words.
        value: in `unit`; None or NaN where it is not known, inf where it is without bound.
        unit: as printed.
        relation: what the value must be to the limit; empty for a number that is only reported.
        limit: in `unit`; None where there is none.
        source: locator "SRC-ID#place" of the limit, or of the value where there is no limit.
        low, high: the interval the value lies in; None where no tolerance is known.
        basis: measured, datasheet, standard, estimated, assumed; empty where it does not apply.
        note: one remark.
    """

    quantity: str
    value: float | None
    unit: str
    relation: Relation
    limit: float | None
    source: str
    low: float | None = None
    high: float | None = None
    basis: str = ""
    note: str = ""


class Place(NamedTuple):
    """Where in the design folder: file relative to the folder; line and column from 1, 0 where there is none.

    `object` is the pointer by which people and waivers name it: "parts/k_plus", "connections/W3/cable".
    """

    file: str
    line: int
    column: int
    object: str


class Related(NamedTuple):
    """A second place, and why it is named."""

    place: Place
    label: str


class Edit(NamedTuple):
    """One change of one value: `new` is the text to write at `pointer` in `file`."""

    file: str
    pointer: str
    new: str


class WayOut(NamedTuple):
    """What mends it, in words and as edits; offered only when the whole changed design was checked again."""

    text: str
    edits: tuple[Edit, ...] = ()


class WaivedBy(NamedTuple):
    """Who accepted a finding, why, and when."""

    reason: str
    by: str
    date: date


@dataclass(frozen=True, slots=True)
class Finding:
    """One conclusion of one rule about one object.

    Attributes:
        code, name: of the rule; stable for ever.
        kind: what was concluded.
        severity: what it would mean in the car; fixed per rule.
        message: one sentence with the names of the objects, no advice.
        place: the object it is about.
        evidence, related, way_out: see their types.
        waived: set when a waiver holds; the finding stays in the list and no longer counts.
        acknowledged: set for a danger to life that somebody has read and signed; it still counts.
        notes: remarks that came up later, for example why a waiver no longer holds.
    """

    code: str
    name: str
    kind: Kind
    severity: Severity
    message: str
    place: Place
    evidence: tuple[Evidence, ...] = ()
    related: tuple[Related, ...] = ()
    way_out: WayOut | None = None
    waived: WaivedBy | None = None
    acknowledged: WaivedBy | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS or self.severity not in SEVERITIES:
            raise ValueError(f"{self.code}: kind '{self.kind}' or severity '{self.severity}' is not known")

    @property
    def fingerprint(self) -> str:
        """Sixteen hex digits from the code and the objects; edits of values, lines and wording keep it."""
        import hashlib  # not needed by a text report of a clean design

        pointers = sorted(r.place.object for r in self.related)
        # A control character cannot stand in a pointer, so two different lists never join to one text.
        text = "\x1f".join((self.code, self.place.object, *pointers))
        return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]

    @property
    def counts(self) -> bool:
        """Whether it is a failure that nobody has waived."""
        return self.kind == "fail" and self.waived is None


def judge(value_low: float, value_high: float, relation: Relation, limit: float) -> Kind:
    """Compare an interval with a limit.

    Returns:
        "pass" when the whole interval keeps the limit, "fail" when none of it does, "review" when the limit
        lies inside, "open" when any number is NaN.

    Raises:
        ValueError: the interval is upside down, or there is no relation.
    """
    if value_low != value_low or value_high != value_high or limit != limit:  # NaN differs from itself
        return "open"
    if value_low > value_high:
        raise ValueError(f"the interval {value_low} to {value_high} is upside down")
    match relation:
        case "<=":
            kept, broken = value_high <= limit, value_low > limit
        case "<":
            kept, broken = value_high < limit, value_low >= limit
        case ">=":
            kept, broken = value_low >= limit, value_high < limit
        case ">":
            kept, broken = value_low > limit, value_high <= limit
        case "=":
            kept, broken = value_low == value_high == limit, not value_low <= limit <= value_high
        case _:
            raise ValueError(f"'{relation}' is no relation to a limit")
    if kept:
        return "pass"
    return "fail" if broken else "review"
