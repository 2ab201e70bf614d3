"""Where the plan lives in a .blend: as the text of a plan file, on the scene it belongs to, and beside it the
log of its shoot, as the JSON of `log --json`.

Everything that needs a scene's plan takes it from here. The texts travel with the scene (saved, copied and
undone with it), also where the card was erased; what was read from them is kept as long as they stay the
same.
"""

from __future__ import annotations

from typing import Any

from planner_core.log.kept import KeptLog, kept_log
from planner_core.plan.file import plan_from_text, plan_to_text
from planner_core.plan.model import Plan, PlanError

PLAN_KEY, LOG_KEY = "duskrail_plan", "duskrail_log"

_KEPT_PLANS = 64
_KEPT_LOGS = 4
_parsed: dict[str, Plan | PlanError] = {}  # by text; what was asked for last stands last
_last: list[Any] = ["", None]  # the text that was asked for last, and what it was read as
_logs: dict[str, KeptLog | None] = {}


def has_plan(scene: Any) -> bool:
    """Whether the scene carries a plan, readable or not."""
    return PLAN_KEY in scene


def stored_text(scene: Any) -> str | None:
    """The plan's text as it stands in the scene, or None."""
    text = scene.get(PLAN_KEY)
    return text if isinstance(text, str) else None


def stored_plan(scene: Any) -> Plan | None:
    """The scene's plan, or None where it has none. Raises PlanError where its text is no plan."""
    text = stored_text(scene)
    if text is None:
        return None
    parsed = _known(text)
    if isinstance(parsed, PlanError):
        raise parsed
    return parsed


def store_plan(scene: Any, plan: Plan) -> None:
    """Keep the plan in the scene, in place of the one before. Nothing is drawn."""
    text = plan_to_text(plan)
    _last[:] = text, _remember(text, plan)
    if stored_text(scene) != text:
        scene[PLAN_KEY] = text


def drop_plan(scene: Any) -> None:
    """Forget the scene's plan."""
    if PLAN_KEY in scene:
        del scene[PLAN_KEY]


def stored_log(scene: Any) -> KeptLog | None:
    """The log of the scene's shoot; None without a log, or where its text is none."""
    text = scene.get(LOG_KEY)
    if not isinstance(text, str):
        return None
    if text not in _logs:
        while len(_logs) >= _KEPT_LOGS:
            del _logs[next(iter(_logs))]
        try:
            _logs[text] = kept_log(text)
        except ValueError:
            _logs[text] = None
    return _logs[text]


def store_log(scene: Any, text: str) -> None:
    """Keep a log's text in the scene, in place of the one before."""
    scene[LOG_KEY] = text


def drop_log(scene: Any) -> None:
    """Forget the scene's log."""
    if LOG_KEY in scene:
        del scene[LOG_KEY]


def _parse(text: str) -> Plan | PlanError:
    try:
        return plan_from_text(text)
    except PlanError as error:
        return error


def _known(text: str) -> Plan | PlanError:
    """What a text was read as. The sidebar asks for each of its fields: to compare a long text with the one
    that was asked for last takes a tenth of looking it up.
    """
    if text != _last[0]:
        _last[:] = text, _remember(text, _parsed.get(text) or _parse(text))
    return _last[1]  # type: ignore[no-any-return]


def _remember(text: str, parsed: Plan | PlanError) -> Plan | PlanError:
    _parsed.pop(text, None)
    while len(_parsed) >= _KEPT_PLANS:
        del _parsed[next(iter(_parsed))]
    _parsed[text] = parsed
    return parsed
