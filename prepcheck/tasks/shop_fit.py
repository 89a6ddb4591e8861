"""Use cases of a shop's own fit: taken into use where it is proved, kept where refused, taken back, checked at each use.

Each fit lies as a signed file in ``shop-fits/`` of the store's folder, under its SHA-256; the log says which one holds. A fit
whose file, key, model or settings are not those that were logged is not used, and every answer made without it says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.archive.durable import make_folder, write_file
from prepcheck.archive.keys import PublicKey, has_key, shop_key
from prepcheck.archive.shop_fit_file import FIT_FOLDER, FitStatement, fit_bytes, fit_name, opened, signed
from prepcheck.archive.statement import sha256
from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.settings import Settings
from prepcheck.store import LoggedEvent, os_fault
from prepcheck.store import words as w
from prepcheck.surface import Model, ShopFit, load_model
from prepcheck.tasks.people import Role, keeping_role, proved_role
from prepcheck.tasks.shop_fit_file import looking_sha256, state
from prepcheck.trade.entries import ShopFitLogged

if TYPE_CHECKING:
    from prepcheck.evaluate.fit_shop_drift import Check, Disagreed
    from prepcheck.evaluate.fit_shop_read import Read
    from prepcheck.store.store import Store

_KIND = "shop_fit"


@dataclass(frozen=True)
class InUse:
    """The fit that the log says holds.

    Parameters
    ----------
    event : LoggedEvent or None
        The entry by which it was taken into use; None when none is.
    statement : FitStatement or None
        What its file says; None when that cannot be read.
    unused : str
        Why it is not used with this model and these settings; empty when it is, or there is none.
    history : tuple of LoggedEvent
        All that was logged of fits, refused ones too.
    """

    event: LoggedEvent | None = None
    statement: FitStatement | None = None
    unused: str = ""
    history: tuple[LoggedEvent, ...] = ()

    @property
    def sha256(self) -> str:
        """SHA-256 (hex) of its file; empty without one."""
        entry = None if self.event is None else self.event.entry
        return entry.sha256 if isinstance(entry, ShopFitLogged) else ""


@dataclass(frozen=True)
class Kept:
    """A fit as it was kept: what its file says, the file's SHA-256, and the entry in the log."""

    statement: FitStatement
    sha256: str
    event: LoggedEvent


def may_fit(store: Store, person: str, pin: str | None, at: datetime, settings: Settings) -> str:
    """Return the role with which a person changes how the tool reads: a keeper's, where the log has a keeper.

    Raises
    ------
    WrongUse
        The name cannot be logged.
    NotAllowed
        The log has a keeper, and this is none or the PIN is not right.
    """
    name = w.clean(person, "the person's name")
    if any(one.has_pin and one.role == Role.KEEPER for one in store.people()):
        return keeping_role(store, name, pin, at, settings)
    return proved_role(store, name, pin, at, settings)


def keep_fit(
    store: Store, read: Read, model: Model, settings: Settings, *, person: str, at: datetime, role: str = ""
) -> Kept:
    """Fit, prove, sign and log; refused fits are kept and logged too, and change nothing.

    Parameters
    ----------
    store : Store
        Where the fit is to hold.
    read : Read
        From `prepcheck.evaluate.fit_shop_read.read_labelled`, by this `model`.
    model, settings : Model, Settings
        The model without a fit.
    person, at, role
        Who fits, when, and the role from `may_fit`.

    Raises
    ------
    StoreFault
        Nothing was logged.
    """
    from prepcheck.evaluate.fit_shop import fit, objections, prove

    proof = prove(read.photos, model.origin, settings.shop_fit)
    refused = objections(proof, settings.shop_fit)
    made = fit(read.photos, settings.shop_fit)
    key, tries = shop_key(store.folder, at), sum(1 for event in store.events(None, _KIND) if _is_try(event))
    statement = state(
        read, made, proof, refused, origin=model.origin, settings=settings, tries=tries, key=key, at=at
    )  # fmt: skip
    data = signed(statement, key)
    _write(store.folder / FIT_FOLDER / fit_name(sha256(data)), data)
    entry = ShopFitLogged(
        outcome="refused" if refused else "taken",
        sha256=sha256(data),
        model=model.origin.name,
        photos=proof.photos,
        points=proof.bright + proof.residue,
        reasons=refused,
    )
    event = store.add_event(None, entry, w.clean(person, "the person's name"), at, role)
    return Kept(statement, entry.sha256, event)


def take_back(store: Store, *, person: str, reason: str, at: datetime, role: str = "") -> LoggedEvent:
    """Take the fit back that is in use: from now on the model's own calibration holds. Its file stays.

    Raises
    ------
    WrongUse
        None is in use, or a text cannot be logged.
    """
    name, why = w.clean(person, "the person's name"), w.clean(reason, "the reason", 200)
    event = _last(store.events(None, _KIND))
    if event is None:
        raise WrongUse(
            "no fit is in use", "Look at the fits of this log", store.address.name, command="prepcheck calibrate show"
        )
    model = event.entry.model if isinstance(event.entry, ShopFitLogged) else "not known"
    return store.add_event(None, ShopFitLogged(outcome="back", model=model, reasons=(why,)), name, at, role)


def fit_in_use(store: Store, model: Model, settings: Settings) -> InUse:
    """Return the fit that holds, checked against what was logged, this model and these settings."""
    history = store.events(None, _KIND)
    event = _last(history)
    if event is None:
        return InUse(history=history)
    if not isinstance(event.entry, ShopFitLogged):
        return InUse(event, None, "its entry in the log was erased", history)
    statement = read_fit(store.folder, event.entry.sha256)
    if isinstance(statement, str):
        return InUse(event, None, statement, history)
    return InUse(event, statement, _not_for(statement, model, settings), history)


def shop_model(store: Store, settings: Settings, model: Model | None = None) -> Model:
    """Return a model, the shipped one unless given, with the fit that holds, or with the reason why it goes without."""
    own = load_model() if model is None else model
    used = fit_in_use(store, own, settings)
    if used.statement is None or used.unused:
        return replace(own, unused_fit=used.unused)
    return _fitted(own, used.statement, used.sha256)


def model_of(store: Store, settings: Settings, fit_sha256: str | None, model: Model | None = None) -> Model:
    """Return the model as it was for an answer that was read with this fit, or with none."""
    own = load_model() if model is None else model
    if fit_sha256 is None:
        return own
    statement = read_fit(store.folder, fit_sha256)
    unused = statement if isinstance(statement, str) else _not_for(statement, own, settings)
    if isinstance(statement, str) or unused:
        return replace(own, unused_fit=unused)
    return _fitted(own, statement, fit_sha256)


def read_fit(folder: Path, named: str) -> FitStatement | str:
    """Return what the file of a fit in a store's folder says, or why it cannot be used."""
    try:
        data, keys = fit_bytes(folder, named), _keys(folder)
    except OSError as error:
        return f"its file cannot be read ({error.strerror})"
    except PrepcheckError as error:
        return f"the shop's key cannot be used ({error.what})"
    return opened(data, named, keys)


def check_drift(store: Store, statement: FitStatement, read: Read) -> tuple[Check, ...]:
    """Hold a fit against labels of photos that it has not seen, and against disagreements since it was made."""
    from prepcheck.evaluate.fit_shop_drift import drift

    known = {one.sha256 for one in statement.photos}
    recent = [one for one in read.photos if one.sha256 not in known]
    return drift(recent, ShopFit(statement.slope, statement.shift), statement.leans, disagreed(store, statement.at))


def disagreed(store: Store, since: datetime) -> Disagreed:
    """Count the inspections with which somebody disagreed, since a time and before it."""
    from prepcheck.evaluate.fit_shop_drift import Disagreed
    from prepcheck.store.around import all_around, doubted_around

    everything, doubted = all_around(store, since), doubted_around(store, since)
    return Disagreed(doubted.since, everything.since, doubted.before, everything.before)


def _is_try(event: LoggedEvent) -> bool:
    return not isinstance(event.entry, ShopFitLogged) or event.entry.outcome != "back"


def _last(history: Sequence[LoggedEvent]) -> LoggedEvent | None:
    """Return the entry that says which fit holds; None when none does."""
    deciding = [one for one in history if not _refused(one)]
    last = deciding[-1] if deciding else None
    return None if last is None or (isinstance(last.entry, ShopFitLogged) and last.entry.outcome == "back") else last


def _refused(event: LoggedEvent) -> bool:
    return isinstance(event.entry, ShopFitLogged) and event.entry.outcome == "refused"


def _not_for(statement: FitStatement, model: Model, settings: Settings) -> str:
    if statement.refused:
        return "it was refused"
    if statement.model_sha256 != model.origin.sha256:
        return f"it was made for the model {statement.model}, not for {model.origin.name}"
    if statement.looking_sha256 != looking_sha256(settings):
        return "it was made with other settings of how photos are looked at"
    return ""


def _fitted(model: Model, statement: FitStatement, named: str) -> Model:
    fit = ShopFit(statement.slope, statement.shift, named, statement.at.date().isoformat())
    return replace(model, origin=model.origin.fitted(fit))


def _keys(folder: Path) -> Sequence[PublicKey]:
    """Return the shop's public keys; none is made, so that no time is needed."""
    return shop_key(folder, datetime.max).public_keys if has_key(folder) else ()


def _write(path: Path, data: bytes) -> None:
    try:
        make_folder(path.parent)
        write_file(path, data)
    except OSError as error:
        raise os_fault(error, path) from error
