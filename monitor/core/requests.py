"""What may be asked of a run: the kinds of request, what each must carry, and their form in the record.

A request that makes no sense is refused with one sentence; nothing that arrives here is trusted.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

from monitor.core.events import Phase, Request
from monitor.terms import Route

MAX_TEXT = 500  # characters of any text in a request; longer ones are refused, so that the record stays readable

# What may be weighed on each route, as a weighing names it.
FLASK_LOSS, SULFUR_LOSS, RECEIVER_GAIN = "flask loss", "sulfur loss", "receiver gain"
WEIGHED_ON: dict[Route, tuple[str, ...]] = {
    "acid-drip": (FLASK_LOSS, RECEIVER_GAIN),
    "acid-on-sulfur": (FLASK_LOSS, RECEIVER_GAIN),
    "burner": (SULFUR_LOSS, RECEIVER_GAIN),
}

_TEXT, _NUMBER, _SWITCH = "text", "number", "switch"

KINDS: dict[str, dict[str, str]] = {
    # asked by people
    "acknowledge": {"tag": _TEXT},  # tag "*" means every alarm that waits for it
    "reset": {"tag": _TEXT},
    "shelve": {"tag": _TEXT, "minutes": _NUMBER, "reason": _TEXT},
    "unshelve": {"tag": _TEXT},
    "remove": {"tag": _TEXT, "reason": _TEXT},
    "return": {"tag": _TEXT},
    "permit": {"on": _SWITCH},
    "phase": {"phase": _TEXT},
    "note": {"text": _TEXT},
    "weighing": {"what": _TEXT, "grams": _NUMBER, "u_g": _NUMBER},  # since the run began; the time is now
    "undo-weighing": {},
    "clearing": {"air_l_per_min": _NUMBER, "liquor_c": _NUMBER},  # air led through, and how warm the liquor is
    "bump-test": {"minutes": _NUMBER},  # test gas will be given to the sensor; 0 ends it
    "check": {"item": _TEXT, "outcome": _TEXT, "reason": _TEXT},  # of the check before the run
    "stop": {},  # with a reason where the flask is not known to be safe to open
    # told by the shell
    "port": {"open": _SWITCH, "text": _TEXT},
    "log": {"failing": _SWITCH, "text": _TEXT},
    "checklist": {},  # from now on the first permit wants the check before the run
    "seen": {"item": _TEXT, "ok": _SWITCH, "text": _TEXT},  # an item of it that the shell alone can see
    "outlet": {"tag": _TEXT, "failing": _SWITCH, "text": _TEXT},
    "refuse": {"text": _TEXT},  # a request that was not let in; only its refusal is recorded
}
OPTIONAL: dict[str, dict[str, str]] = {"stop": {"reason": _TEXT}}
ASKED_BY_PEOPLE = frozenset(KINDS) - {"port", "log", "outlet", "refuse", "checklist", "seen"}


class BadRequestError(ValueError):
    """A request that cannot be understood; the message says what was found and what is wanted."""


def make_request(kind: str, who: str, args: Mapping[str, object], request_id: str = "") -> Request:
    """Build a request from untrusted parts.

    Raises:
        BadRequestError: unknown kind, a missing or unknown argument, or one of the wrong type or length.
    """
    if kind not in KINDS:
        raise BadRequestError(f"request {kind[:40]!r} is not known; known are {', '.join(sorted(KINDS))}")
    wanted = KINDS[kind]
    clean: list[tuple[str, str | float | bool]] = []
    optional = OPTIONAL.get(kind, {})
    for name, form in wanted.items():
        if name not in args:
            raise BadRequestError(f"request '{kind}' lacks '{name}'")
        clean.append((name, _checked(kind, name, form, args[name])))
    clean += [(name, _checked(kind, name, form, args[name])) for name, form in optional.items() if name in args]
    for name in args:
        if name not in wanted and name not in optional:
            raise BadRequestError(f"request '{kind}' has an unknown part {str(name)[:40]!r}")
    if not isinstance(who, str) or not who.strip() or len(who) > 80 or not _can_be_written(who):
        raise BadRequestError(f"request '{kind}' does not say who asks, in 1 to 80 characters")
    if kind == "phase" and clean[0][1] not in {p.value for p in Phase}:
        raise BadRequestError(f"phase '{clean[0][1]}' is not known; known are {', '.join(p.value for p in Phase)}")
    if not isinstance(request_id, str) or len(request_id) > 80 or not _can_be_written(request_id):
        raise BadRequestError(f"request '{kind}' bears a number that is no text of at most 80 characters")
    return Request(kind, who.strip(), tuple(clean), request_id)


def _can_be_written(text: str) -> bool:
    """Whether the record can hold it; JSON may carry halves of a character, which no file can."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _checked(kind: str, name: str, form: str, value: object) -> str | float | bool:
    if form == _TEXT and isinstance(value, str) and len(value) <= MAX_TEXT and _can_be_written(value):
        return value
    if form == _SWITCH and isinstance(value, bool):
        return value
    if form == _NUMBER and isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e9:
        return float(value)
    wanted = {_TEXT: f"a text of at most {MAX_TEXT} characters", _SWITCH: "true or false", _NUMBER: "a number"}[form]
    raise BadRequestError(f"request '{kind}': '{name}' is {str(value)[:40]!r}, wanted is {wanted}")


def to_json(request: Request) -> str:
    """The request as the record keeps it."""
    return json.dumps(
        {"kind": request.kind, "who": request.who, "args": dict(request.args), "id": request.request_id},
        ensure_ascii=False,
    )


def from_json(text: str) -> Request:
    """The request back from the record.

    Raises:
        BadRequestError: not JSON, or not a request.
    """
    try:
        got = json.loads(text)
        return make_request(got["kind"], got["who"], got["args"], got["id"])
    except (ValueError, KeyError, TypeError, AttributeError) as why:
        raise BadRequestError(f"not a request: {why}") from why
