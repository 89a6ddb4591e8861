"""The four plans, each made of what a person typed behind options or into a form."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from prepcheck.errors import WrongUse
from prepcheck.settings import Settings
from prepcheck.trade import filler, refill, typed
from prepcheck.trade import wall as walls
from prepcheck.trade import weld as welds
from prepcheck.trade.clearing import Method, Vessel, Wish, clearing_plan, read_price
from prepcheck.trade.entries import LeakEntry
from prepcheck.trade.leak import decay_of
from prepcheck.trade.leak_plan import leak_plan
from prepcheck.trade.leak_work import Wish as LeakWish
from prepcheck.trade.leak_work import work_out
from prepcheck.trade.measured import LOOK, Said, look_for_leaks
from prepcheck.trade.plan import Plan, given
from prepcheck.trade.units import Kind, System, optional_quantity, quantity
from prepcheck.trade.wall_plan import wall_plan
from prepcheck.trade.weld_plan import weld_plan

W = TypeVar("W", bound=str)


@dataclass(frozen=True)
class Asked:
    """What a plan is made of.

    Parameters
    ----------
    said : Said
        What was typed.
    settings : Settings
        With the units that the plan is told in.
    now : datetime
        When a look for leaks among `said` was.
    looks : tuple of LeakEntry
        Looks for leaks in the log of the job.
    """

    said: Said
    settings: Settings
    now: datetime
    looks: tuple[LeakEntry, ...] = ()

    @property
    def system(self) -> System:
        """Units of the plan."""
        return System(self.settings.report.units)

    def quantity(self, name: str, kind: Kind, what: str) -> float | None:
        """Read a quantity that may be missing."""
        return optional_quantity(self.said.get(name), kind, what)

    def needed(self, name: str, kind: Kind, what: str) -> float:
        """Read a quantity that may not be missing."""
        return quantity(typed.needed(self.said.get(name), what), kind, what)

    def several(self, name: str, kind: Kind, what: str) -> list[float]:
        """Read quantities, one on each line."""
        return [quantity(line, kind, what) for line in typed.lines(self.said.get(name))]

    def number(self, name: str, what: str) -> float | None:
        """Read a number that may be missing."""
        return typed.number(self.said.get(name), what)

    def word(self, name: str, kind: Callable[[str], W], what: str, usual: str | None = None) -> W:
        """Return one of the words of `kind`."""
        return typed.word(typed.needed(self.said.get(name, usual), what), kind, what)

    def inputs(self, *names: str, **other: str | None) -> tuple[tuple[str, str], ...]:
        """Return what was typed under these names as inputs of a plan, and `other` in the place of what was typed."""
        texts = {name: ", ".join(typed.lines(self.said.get(name))) or None for name in names}
        return given(**(texts | other))


def looks_among(entries: Iterable[object]) -> tuple[LeakEntry, ...]:
    """Return the looks for leaks among the entries of a job."""
    return tuple(one for one in entries if isinstance(one, LeakEntry))


def clearing(asked: Asked) -> Plan:
    """Plan the clearing of a closed vessel."""
    price = asked.said.get("price")
    wish = Wish(
        volume_m3=asked.needed("volume", Kind.VOLUME, "the volume"),
        contents=typed.needed(asked.said.get("contents"), "what it held"),
        method=asked.word("method", Method, "the method"),
        vessel=asked.word("vessel", Vessel, "the kind of vessel", Vessel.OTHER.value),
        temperature_k=quantity(asked.said.get("temperature", "20 C"), Kind.TEMPERATURE, "the temperature"),
        target=asked.number("target", "the target"),
        flow_l_min=asked.quantity("flow", Kind.GAS_FLOW, "the flow"),
        price=None if price is None else read_price(price),
        room_m3=asked.quantity("room", Kind.VOLUME, "the room"),
    )
    return clearing_plan(wish, asked.settings.clearing, asked.system)


def wall(asked: Asked) -> Plan:
    """Plan the wall left under a ground spot, and the filler for it."""
    settings = asked.settings.wall
    left = walls.measured(
        settings,
        nominal_mm=asked.quantity("nominal", Kind.LENGTH, "the nominal wall"),
        depth_mm=asked.quantity("depth", Kind.LENGTH, "the depth"),
        gauge_mm=asked.several("gauge", Kind.LENGTH, "a gauge reading"),
        before_mm=asked.several("before", Kind.LENGTH, "a reading before"),
        error_mm=asked.quantity("error", Kind.LENGTH, "the error"),
    )
    regime = asked.word("regime", walls.Regime, "the regime") if "regime" in asked.said else None
    work = refill.work_out(
        left,
        walls.minimum(regime, asked.quantity("minimum", Kind.LENGTH, "the minimum"), settings),
        settings,
        area_mm2=asked.quantity("area", Kind.AREA, "the area"),
        shape=asked.word("shape", refill.Shape, "the shape", refill.Shape.PRISM.value),
        rod_mm=asked.quantity("rod", Kind.LENGTH, "the rod's diameter"),
    )
    shape = ("shape",) if "area" in asked.said else ()
    inputs = asked.inputs("nominal", "depth", "gauge", "before", "error", "area", *shape, "rod", "regime", "minimum")
    return wall_plan(work, inputs, asked.system)


def weld(asked: Asked) -> Plan:
    """Plan values to start a weld from."""
    settings = asked.settings.weld
    current, voltage = asked.number("current", "the current"), asked.number("voltage", "the voltage")
    start = welds.start(
        asked.needed("thickness", Kind.LENGTH, "the thickness"),
        settings,
        current_a=current,
        voltage_v=voltage,
        speed_mm_s=asked.quantity("speed", Kind.SPEED, "the travel speed"),
    )
    choice = filler.choose(
        filler.base_alloy(typed.needed(asked.said.get("alloy"), "the alloy")),
        service_k=asked.quantity("service", Kind.TEMPERATURE, "the service temperature"),
        anodised="anodised" in asked.said,
    )
    inputs = asked.inputs(
        "thickness", "alloy", "service", "anodised", "current", "voltage", "speed",
        current=None if current is None else f"{current:g} A", voltage=None if voltage is None else f"{voltage:g} V",
    )  # fmt: skip
    return weld_plan(start, choice, settings, inputs, asked.system)


def leak(asked: Asked) -> Plan:
    """Plan a leak test, and tell what looks show."""
    settings = asked.settings.leak
    wish = LeakWish(
        medium=asked.said.get("medium", "air"),
        head_m=asked.quantity("head", Kind.HEIGHT, "the head"),
        contents=asked.said.get("contents"),
        density_kg_m3=asked.quantity("density", Kind.DENSITY, "the density"),
        volume_m3=asked.quantity("volume", Kind.VOLUME, "the volume"),
        label_pa=asked.quantity("label", Kind.PRESSURE, "the label's pressure"),
        pressure_pa=asked.quantity("pressure", Kind.PRESSURE, "the pressure"),
        most_pa=asked.quantity("most", Kind.PRESSURE, "the most that the tank may see"),
        panel_mm2=asked.quantity("panel", Kind.AREA, "the panel's area"),
        looks=(*asked.looks, *_look(asked)),
    )
    inputs = asked.inputs(
        "head", "contents", "density", "volume", "label", "pressure", "most", "medium", "panel", *_READ, "looked_at",
        leak="; ".join(typed.lines(asked.said.get("leaks"))) or None,
    )  # fmt: skip
    return leak_plan(work_out(wish, settings), settings, inputs, asked.system)


_READ = [name for name in LOOK if name not in ("volume", "pressure")]
"""What is read at a look alone: volume and pressure may also be what is meant."""


def _look(asked: Asked) -> Iterator[LeakEntry]:
    """Yield the look that was typed, if one was."""
    said = asked.said
    if not said.keys() & {*_READ, "leaks", "looked_at"}:
        return
    unwatched = "water" if said.get("medium") == "water" else "bubbles"
    method = "decay" if "end_pressure" in said else unwatched
    try:
        look = look_for_leaks({"medium": "air", **said}, method=method, started_at=asked.now)
    except WrongUse as error:
        what = f"the readings cannot be used: {error.what}"
        raise WrongUse(what, error.do, error.subject, command=error.command) from error
    decay_of(look, asked.settings.leak)  # a figure that cannot be is refused here, not left out of the plan
    yield look
