"""Result of the study on machines that turn while nothing controls them. Each number carries its unit in its name."""

from collections.abc import Mapping, Sequence

from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working

NAN = float("nan")


class OnBus(NamedTuple):
    """A part, or the cable of connections, that lies on a machine's bus with every contactor open.

    ``pointer``: where its sheet says what it stands, ``stands_v`` the low end of that; nan where it does not say.
    ``where``: the connections of a cable; empty for a part.
    """

    name: str
    pointer: str
    stands_v: float
    where: str


class ActiveShort(NamedTuple):
    """All three phases shorted by the inverter. Currents are peak values of a phase.

    ``steady_a``: the largest that stays, at any speed up to the fastest; ``limit_a``: what it comes to at high speed.
    ``swing_a`` and ``against_a``: largest current and largest current against the magnets right after shorting, from
    no current and undamped. ``torque_nm``: hardest braking at the wheels by all machines of the inverter.
    """

    steady_a: float
    limit_a: float
    swing_a: float
    against_a: float
    hardest_m_per_s: float
    torque_nm: float


class MachineFigures(NamedTuple):
    """One inverter with its machine. nan: not known; ``gaps`` then says what is missing, by what it is needed for.

    ``magnets``: False for a machine without them. Voltages are peak values between two phases with the magnets cold:
    ``fastest_v`` at ``fastest_rad_per_s``, the higher shaft speed of ``road_rad_per_s`` (fastest road speed) and
    ``spin_rad_per_s`` (wheels in the air); ``road_v`` and ``towed_v`` on the road. ``live_m_per_s``: road speed above
    which it holds the bus over 60 V; ``onset_low_m_per_s`` and ``onset_high_m_per_s``: road speeds above which it
    charges the emptiest and even the fullest pack, ``lowest_v`` and ``highest_v``; ``loaded``: the lowest is that
    under the load of other inverters, else that at rest. ``held_s``: time to 60 V after the contactors open at the
    fastest road speed with the brakes on hard; ``discharge_s`` the same at rest. ``salient``: whether the inductances
    of the axes differ; None where that is not known.
    """

    inverter: str
    machine: str = ""
    magnets: bool | None = None
    machines: int = 1
    cold_c: float = NAN
    flux_wb: float = NAN
    pole_pairs: int = 0
    fastest_rad_per_s: float = NAN
    fastest_v: float = NAN
    fastest_on_road: bool = False
    spin_rad_per_s: float = NAN
    road_rad_per_s: float = NAN
    road_m_per_s: float = NAN
    road_v: float = NAN
    towed_m_per_s: float = NAN
    towed_v: float = NAN
    live_m_per_s: float = NAN
    onset_low_m_per_s: float = NAN
    onset_high_m_per_s: float = NAN
    lowest_v: float = NAN
    loaded: bool = False
    highest_v: float = NAN
    held_s: float = NAN
    discharge_s: float = NAN
    salient: bool | None = None
    short: ActiveShort | None = None
    bus: tuple[OnBus, ...] = ()
    gaps: tuple[tuple[str, Missing], ...] = ()


class GenerationResult(NamedTuple):
    """Every inverter by id."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    machines: Mapping[str, MachineFigures] = NONE
