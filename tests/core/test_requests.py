"""Requests: what may be asked, and that nothing that arrives here is trusted."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.events import Request
from monitor.core.requests import ASKED_BY_PEOPLE, KINDS, MAX_TEXT, BadRequestError, from_json, make_request, to_json

GOOD = [
    ("acknowledge", {"tag": "GAS-HIGH"}),
    ("reset", {"tag": "GAS-HIGH"}),
    ("shelve", {"tag": "DRIP-FAST", "minutes": 5, "reason": "cleaning"}),
    ("unshelve", {"tag": "DRIP-FAST"}),
    ("remove", {"tag": "DRIP-FAST", "reason": "broken gate"}),
    ("return", {"tag": "DRIP-FAST"}),
    ("permit", {"on": True}),
    ("phase", {"phase": "running out"}),
    ("note", {"text": "Grüße, µL, 硫"}),
    ("weighing", {"what": "flask loss", "grams": 12.3, "u_g": 0.1}),
    ("undo-weighing", {}),
    ("bump-test", {"minutes": 5.0}),
    ("clearing", {"air_l_per_min": 0.5, "liquor_c": 22.0}),
    ("stop", {}),
    ("port", {"open": False, "text": "unplugged"}),
    ("log", {"failing": True, "text": "disk full"}),
    ("outlet", {"tag": "BROKER-LOST", "failing": True, "text": "away"}),
    ("refuse", {"text": "no"}),
    ("checklist", {}),
    ("seen", {"item": "disk", "ok": True, "text": "12 GB free"}),
    ("check", {"item": "hood", "outcome": "passed", "reason": ""}),
]


@pytest.mark.parametrize(("kind", "args"), GOOD, ids=[kind for kind, _ in GOOD])
def test_every_kind_is_made_and_kept(kind: str, args: dict[str, object]) -> None:
    """A request of every kind is made, and is the same after the record has kept it."""
    made = make_request(kind, " Ada ", args, "r1")
    assert made.who == "Ada"
    assert {name: made.arg(name) for name in args} == args
    assert from_json(to_json(made)) == made


def test_every_kind_is_tried_above() -> None:
    """The list above leaves out no kind; people may ask for all but what the shell tells."""
    assert {kind for kind, _ in GOOD} == set(KINDS)
    assert set(KINDS) - ASKED_BY_PEOPLE == {"port", "log", "outlet", "refuse", "checklist", "seen"}


@pytest.mark.parametrize(
    ("kind", "who", "args", "words"),
    [
        ("explode", "Ada", {}, "'explode' is not known; known are acknowledge"),
        ("note", "Ada", {}, "lacks 'text'"),
        ("note", "Ada", {"text": "a", "colour": "red"}, "unknown part 'colour'"),
        ("note", "Ada", {"text": 5}, "'text' is '5', wanted is a text"),
        ("note", "Ada", {"text": "x" * (MAX_TEXT + 1)}, f"at most {MAX_TEXT} characters"),
        ("permit", "Ada", {"on": 1}, "'on' is '1', wanted is true or false"),
        ("permit", "Ada", {"on": "true"}, "wanted is true or false"),
        ("shelve", "Ada", {"tag": "A", "minutes": "5", "reason": "r"}, "'minutes' is '5', wanted is a number"),
        ("shelve", "Ada", {"tag": "A", "minutes": True, "reason": "r"}, "wanted is a number"),
        ("shelve", "Ada", {"tag": "A", "minutes": float("nan"), "reason": "r"}, "wanted is a number"),
        ("shelve", "Ada", {"tag": "A", "minutes": float("inf"), "reason": "r"}, "wanted is a number"),
        ("phase", "Ada", {"phase": "lunch"}, "phase 'lunch' is not known; known are getting ready"),
        ("stop", "", {}, "does not say who asks"),
        ("stop", " \t", {}, "does not say who asks"),
        ("stop", "x" * 81, {}, "does not say who asks"),
        ("note", "Ada", {"text": "\ud800"}, "'text' is '\\ud800', wanted is a text"),
        ("stop", "\udfff", {}, "does not say who asks"),
        ("note", "Ada", {"text": "a", "\ud800": 1}, "unknown part '\\ud800'"),
        ("\ud800", "Ada", {}, "'\\ud800' is not known"),
    ],
)
def test_a_bad_request_is_refused_in_a_sentence(kind: str, who: str, args: dict[str, object], words: str) -> None:
    """What makes no request is refused with what was found and what is wanted, in text that can be written down."""
    with pytest.raises(BadRequestError) as refused:
        make_request(kind, who, args, "r1")
    assert words in str(refused.value)
    str(refused.value).encode()


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=8,
)


@given(st.sampled_from([*sorted(KINDS), "no such kind"]), st.text(max_size=100), st.dictionaries(st.text(), _JSON))
def test_nothing_gets_through_by_accident(kind: str, who: str, args: dict[str, object]) -> None:
    """Whatever is put in, the outcome is a request that can be written down, or a refusal that can."""
    try:
        made = make_request(kind, who, args)
    except BadRequestError as why:
        str(why).encode()
    else:
        assert from_json(json.dumps(json.loads(to_json(made)))) == made


@given(st.text() | _JSON.map(lambda value: json.dumps(value)))
def test_rubbish_in_the_record_is_refused(text: str) -> None:
    """Text that is no request is refused, and nothing else is raised."""
    with pytest.raises(BadRequestError):
        from_json(text)


@pytest.mark.parametrize("number", [5, None, "x" * 81, "\ud800"])
def test_a_request_with_an_odd_number_is_refused(number: object) -> None:
    """The number under which an answer is looked for is a text that can be written down."""
    with pytest.raises(BadRequestError, match="number"):
        from_json(json.dumps({"kind": "stop", "who": "Ada", "args": {}, "id": number}))


def test_an_argument_that_is_not_there_has_its_default() -> None:
    """Asking a request for an argument that it has not gives the default."""
    assert Request("stop", "Ada").arg("minutes", 0.0) == 0.0
