"""Results of the study of contactors. Every number carries its unit in the field's name; nan is not known."""

from collections.abc import Mapping, Sequence

from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working

NAN = float("nan")
NO_ARC_A = 0.1
"""What a bleed or discharge resistor or a sensor draws: too little to keep an arc (from memory, as some 0.5 A is)."""


class CoilFigures(NamedTuple):
    """One coil at the ends of its supply and temperature.

    ``pull_in_v`` and ``hold_v`` are what reaches the coil at the least supply with the winding at ``hottest_c``,
    ``..._needed_v`` what it then needs. ``release_v`` is its release voltage with the winding at ``coldest_c``.
    ``peak_a`` and ``peak_w`` hold at the most supply with the winding at ``coldest_c`` until an economiser cuts back,
    ``hold_a`` and ``hold_w`` after it. ``missing`` names by question what kept a figure open.
    """

    hottest_c: float = NAN
    coldest_c: float = NAN
    pull_in_v: float = NAN
    pull_in_needed_v: float = NAN
    hold_v: float = NAN
    hold_needed_v: float = NAN
    hold_words: str = ""
    release_v: float = NAN
    peak_a: float = NAN
    peak_w: float = NAN
    hold_a: float = NAN
    hold_w: float = NAN
    economised: bool = False
    missing: Mapping[str, tuple[Missing, ...]] = NONE


class InCase(NamedTuple):
    """A current and the case it comes from; none where the name is empty."""

    current_a: float = 0.0
    case: str = ""


class Opened(NamedTuple):
    """The largest currents that one main, charge or precharge contactor may have to open.

    ``driving``, ``charging`` and ``braking`` (back into the pack) whichever way they run; ``forward`` is the
    largest of all in the direction of the mark, and those called ``against`` run against it. Without a mark
    ``forward`` is the largest of driving, or of all cases for a contactor that breaks alike both ways and for one
    of the role charge.
    """

    role: str
    polarised: bool | None
    marked: str
    driving: InCase = InCase()
    charging: InCase = InCase()
    forward: InCase = InCase()
    driving_against: InCase = InCase()
    charging_against: InCase = InCase()
    braking: InCase = InCase()
    braking_against: InCase = InCase()
    missing: tuple[Missing, ...] = ()


class LifeShare(NamedTuple):
    """One kind of switching in the vehicle's life: how often, at what, and the share of the life that it uses up."""

    kind: str
    operations: int
    current_a: float
    voltage_v: float
    life: float
    share: float


class LifeFigures(NamedTuple):
    """Shares of the electrical life added up linearly, and the share of the mechanical life."""

    kinds: tuple[LifeShare, ...] = ()
    electrical: float = NAN
    mechanical: float = NAN
    operations: int = 0
    missing: tuple[Missing, ...] = ()


class WeldWay(NamedTuple):
    """One sensor that sees one contactor welded, in one step.

    ``held`` are the contactors that stay closed in the step. Welded, the sensor reads the pack's voltage ``pack_v``;
    opened, it falls with the ``farad`` and ``ohm`` of what hangs on its floating end (their largest) to at most
    ``opened_v`` by the declared delay. ``wait_s`` is the least delay that proves it: nan where the sensors' ``error``
    hides the difference, inf where nothing drains that end. ``settling_s`` is the part of it in which the sensor itself
    pulls a floating end down, ``start_s`` that until the contactor has opened and a discharge contactor has closed.
    """

    sensor: str
    step: str
    held: tuple[str, ...]
    pack_v: float
    ohm: float
    farad: float
    error: float
    wait_s: float
    opened_v: float
    settling_s: float = 0.0
    start_s: float = 0.0
    missing: tuple[Missing, ...] = ()


class WeldFigures(NamedTuple):
    """How a weld of one main or charge contactor is found: by sensors, best first, and by a mirror contact.

    ``mirror``: its sheet has such a contact, and the supervisor reads auxiliary contacts. ``between``: two terminals
    between which a sensor would see the weld with the contactor told to open.
    """

    ways: tuple[WeldWay, ...] = ()
    mirror: bool = False
    between: tuple[str, str] = ("", "")


class ContactorsResult(NamedTuple):
    """Every contactor by id. ``peak_a``: all coils pulling in at once, cold; ``hold_a``: those that hold while driving.

    ``missing`` lists every gap, ``blocking`` those that leave packs and cases unsolved. ``allowed_error``: share of the
    pack's voltage up to which sensor errors leave the weld check a verdict.
    """

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    coils: Mapping[str, CoilFigures] = NONE
    peak_a: float = NAN
    hold_a: float = NAN
    opened: Mapping[str, Opened] = NONE
    life: Mapping[str, LifeFigures] = NONE
    welds: Mapping[str, WeldFigures] = NONE
    allowed_error: float = NAN
    ratio: float = NAN
    delay_s: float = NAN
    sensors: int = 0
    blocking: tuple[Missing, ...] = ()
