"""The life of a commission, as a table: from, to, who may, what must be true. `advance` is the only writer
of the stage.

A need is either a house rule, which the owner may step past with a reason that the journal keeps, or a
matter of records, safety or money, which nobody steps past.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, JournalLine, Stage


@dataclass(frozen=True)
class Need:
    """Something that must be true of the commission's own columns. `sentence` says what is missing."""

    met: Callable[[Commission], bool]
    sentence: str
    house_rule: bool = False


@dataclass(frozen=True)
class Step:
    """One way from one stage to the next. `words` is the journal's line; `sets` names the dated column that
    becomes now."""

    came_from: tuple[Stage, ...]
    to: Stage
    who: tuple[str, ...]
    words: str
    needs: tuple[Need, ...] = ()
    sets: str = ""
    for_client: bool = True


_DEPOSIT = Need(lambda c: c.deposit_in_at is not None, "The deposit is not in yet.", house_rule=True)
_CHECKED_IN = Need(lambda c: c.checked_in_on is not None, "Say on which day the piece came in.")
_FINAL_SHOT = Need(
    lambda c: c.final_shot_at is not None, "Add at least one picture of the finished piece first."
)
COLOUR = Need(
    lambda c: not c.sample_promised or c.colour_agreed_at is not None,
    "The quote promises a sample, and the client has not approved one yet.",
    house_rule=True,
)
_SETTLED = Need(lambda c: c.settled_at is not None, "The balance has not been paid yet.", house_rule=True)

_HOLDABLE = (Stage.AGREED, Stage.BOOKED, Stage.CHECKED_IN, Stage.IN_WORK, Stage.DRYING, Stage.READY)
_OWNER = ("owner",)
_EITHER = ("owner", "client")
_AFTER_MONEY = ("owner", "client", "shop")

STEPS: tuple[Step, ...] = (
    Step(
        (Stage.REQUESTED, Stage.WITHDRAWN, Stage.DECLINED),
        Stage.QUOTED,
        _OWNER,
        "Quote sent",
        sets="quoted_at",
    ),
    Step((Stage.QUOTED,), Stage.AGREED, _EITHER, "Quote accepted", sets="agreed_at"),
    Step((Stage.AGREED,), Stage.BOOKED, _AFTER_MONEY, "Place booked", (_DEPOSIT,), "booked_at"),
    Step((Stage.BOOKED,), Stage.CHECKED_IN, _OWNER, "Checked in", (_CHECKED_IN,)),
    Step(
        (Stage.CHECKED_IN, Stage.DRYING, Stage.READY),
        Stage.IN_WORK,
        _OWNER,
        "On the bench",
        sets="work_began_at",
    ),
    Step((Stage.IN_WORK,), Stage.DRYING, _OWNER, "Drying"),
    Step(
        (Stage.IN_WORK, Stage.DRYING),
        Stage.READY,
        _OWNER,
        "Ready to collect",
        (_FINAL_SHOT, COLOUR),
        "ready_at",
    ),
    Step((Stage.READY,), Stage.COLLECTED, _OWNER, "Handed over", (_SETTLED,), "collected_at"),
    Step(_HOLDABLE, Stage.ON_HOLD, _OWNER, "Put on hold"),
    Step((Stage.REQUESTED,), Stage.DECLINED, _OWNER, "Declined", sets="ended_at"),
    Step((Stage.REQUESTED, Stage.QUOTED), Stage.WITHDRAWN, _EITHER, "Withdrawn", sets="ended_at"),
    Step((*_HOLDABLE, Stage.ON_HOLD), Stage.CANCELLED, _OWNER, "Cancelled", sets="ended_at"),
    *(Step((Stage.ON_HOLD,), stage, _OWNER, "Taken up again") for stage in _HOLDABLE),
)

ENDS = (Stage.COLLECTED, Stage.DECLINED, Stage.WITHDRAWN, Stage.CANCELLED)
_FIRST_TIME_ONLY = {"work_began_at"}


def step_between(came_from: str, to: str) -> Step | None:
    return next((step for step in STEPS if came_from in step.came_from and to == step.to), None)


def open_steps(commission: Commission) -> list[Step]:
    """The steps that the owner may take from here, those with an unmet need included."""
    steps = [step for step in STEPS if commission.stage in step.came_from and "owner" in step.who]
    if commission.stage == Stage.ON_HOLD:
        steps = [step for step in steps if step.to in (commission.held_from, Stage.CANCELLED)]
    return steps


def unmet(commission: Commission, step: Step) -> list[Need]:
    return [need for need in step.needs if not need.met(commission)]


def locked(commission_id: int) -> Commission:
    """The commission with its row locked until the transaction ends: whoever decides something from its
    facts begins with this."""
    assert transaction.get_connection().in_atomic_block
    return Commission.objects.select_for_update(of=("self",)).select_related("client").get(pk=commission_id)


def step_past(commission: Commission, needs: tuple[Need, ...], who: Who, past: str) -> str:
    """Check the needs: returns the reason that the journal keeps when the owner steps past house rules, ""
    when all are met. Raises `Refused` with what is missing otherwise."""
    missing = [need for need in needs if not need.met(commission)]
    past = past.strip()
    hard = [need for need in missing if not (need.house_rule and past and who.is_owner)]
    if hard:
        raise Refused(" ".join(need.sentence for need in hard))
    return past[:500] if missing else ""


@transaction.atomic
def advance(
    commission: Commission,
    to: Stage,
    who: Who,
    *,
    past: str = "",
    note: str = "",
    quiet: bool = False,
) -> Commission:
    """Move a commission on, and write its journal line. Returns it as it now stands.

    `past` is the owner's reason to step past unmet house rules, `note` is added to the line, `quiet` keeps
    the line from the client. Raises `Refused` when the table has no such step from where it stands by now,
    when somebody else has to take it, or when a need is unmet.
    """
    now = locked(commission.pk)
    step = step_between(now.stage, to)
    if step is None or (now.stage == Stage.ON_HOLD and to not in (now.held_from, Stage.CANCELLED)):
        stage = now.get_stage_display().lower()
        if who.kind == "client":
            raise Refused(f"Your commission is {stage} by now. Please look at your page afresh.")
        raise Refused(f"This commission is {stage} by now; that step does not follow from there.")
    if who.kind not in step.who:
        raise Refused("That step is the shop's to take.")
    reason = step_past(now, step.needs, who, past)
    at = timezone.now()
    values: dict[str, Any] = {"stage": to, "stage_since": at}
    if to == Stage.ON_HOLD:
        values["held_from"] = now.stage
    elif now.stage == Stage.ON_HOLD:
        values["held_from"] = ""
    if to == Stage.QUOTED:
        values["ended_at"] = None
    if now.stage == Stage.READY and to == Stage.IN_WORK:
        values["ready_at"] = None
    if (
        step.sets
        and now.stage != Stage.ON_HOLD
        and not (step.sets in _FIRST_TIME_ONLY and getattr(now, step.sets) is not None)
    ):
        values[step.sets] = at
    Commission.objects.filter(pk=now.pk).update(**values)
    write_line(
        now,
        who,
        to,
        f"{step.words}: {note.strip()}" if note.strip() else step.words,
        for_client=step.for_client and not quiet,
        reason=reason,
    )
    for name, value in values.items():
        setattr(now, name, value)
        setattr(commission, name, value)
    return now


def write_line(
    commission: Commission, who: Who, verb: str, words: str, *, for_client: bool = False, reason: str = ""
) -> JournalLine:
    """One line in the journal, in the transaction of what it tells of."""
    return JournalLine.objects.create(
        commission=commission,
        by=who.kind,
        user_id=who.id if who.kind == "owner" else None,
        client_id=who.id if who.kind == "client" else None,
        verb=verb,
        words=words,
        reason=reason,
        for_client=for_client,
    )
