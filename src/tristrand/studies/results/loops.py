"""Results of the study of loops and live parts. Every number carries its unit in the field's name."""

from collections.abc import Mapping, Sequence

from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working


class Welded(NamedTuple):
    """One contactor that a loop should open and that stays closed: the largest voltage left at a device."""

    contactor: str
    device_v: float


class LoopFigures(NamedTuple):
    """One loop at the least supply voltage, hottest wire, coldest coils; nan where a datum is missing.

    ``left_v`` is what is left at its end, ``needed_v`` the least that still counts as closed. ``open_device_v`` is the
    largest voltage that the packs leave at a device once the loop has opened its contactors, ``open_device`` where,
    ``open_poles`` the pack terminals that still reach a device (also through a precharge resistor); of a charging loop
    only chargers and inlets count, where there are any. ``load_ohm`` is the
    load that it was counted with, ``coils_ohm`` what the coils that it feeds itself have together by their sheets.
    """

    kind: str
    ohm: float
    wire_ohm: float
    fixed_drop_v: float
    current_a: float
    left_v: float
    needed_v: float
    opens: tuple[str, ...]
    members: tuple[tuple[str, str], ...]
    missing: tuple[Missing, ...] = ()
    open_device_v: float = float("nan")
    open_device: str = ""
    open_poles: tuple[str, ...] = ()
    welded: tuple[Welded, ...] = ()
    load_ohm: float = float("nan")
    coils_ohm: float = float("nan")


class Held(NamedTuple):
    """Capacitors that hold voltage at bared live parts: the time to 60 V (inf: never, nan: not known), and how.

    ``failed_s``: the same where the discharge resistor does not come in; nan where none counts. ``ohm`` and ``farad``:
    of the devices together, by which they fall where no discharge resistor lies across them.
    """

    devices: tuple[str, ...]
    start_v: float
    seconds: float
    way: str
    failed_s: float = float("nan")
    ohm: float = float("nan")
    farad: float = float("nan")


class Failing(NamedTuple):
    """A single failure, and what it leaves at the bared live parts: voltage between them, poles that reach them.

    ``kind``: ``weld`` of a contactor, or ``loop`` for all that keeps a loop from opening its contactors. ``loop`` is
    empty for a weld.
    """

    words: str
    kind: str
    loop: str
    left_v: float
    poles: tuple[str, ...]


class Exposure(NamedTuple):
    """One thing that a person can open: the live parts it bares, before and after its loops opened their contactors.

    ``watched`` names its loops. Voltages are the largest between any two bared parts, from the packs alone; ``poles``
    are the pack terminals that reach one of them. Capacitors stand apart in ``held``.
    """

    terminals: tuple[str, ...]
    watched: tuple[str, ...]
    before_v: float
    before_poles: tuple[str, ...]
    after_v: float
    after_poles: tuple[str, ...]
    held: tuple[Held, ...]
    failures: tuple[Failing, ...]

    def held_s(self) -> float:
        """The longest time for which a capacitor holds more than 60 V at a bared part; 0 for none, nan not known."""
        times = [one.seconds for one in self.held]
        return next((t for t in times if t != t), max(times, default=0.0))


class Pulled(NamedTuple):
    """A service disconnect pulled and every contactor open: what a pole of a pack still reaches.

    ``stuck_v``: the largest voltage left at a device with it pulled and every contactor stuck closed.
    """

    live: Mapping[str, tuple[str, ...]]
    stuck_v: float


class MeasuredAt(NamedTuple):
    """A pair of measuring points: the highest voltage between them, and the power of each resistor when shorted.

    ``inverters`` are those whose plus and minus they are joined to by conductors alone.
    """

    volts: float
    ohm: float
    shorted_w: float
    rated_w: float
    inverters: tuple[str, ...] = ()


class LoopsResult(NamedTuple):
    """Loops, what can be opened, service disconnects and measuring points, by id."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    loops: Mapping[str, LoopFigures] = NONE
    exposures: Mapping[str, Exposure] = NONE
    pulled: Mapping[str, Pulled] = NONE
    measured: Mapping[str, MeasuredAt] = NONE
