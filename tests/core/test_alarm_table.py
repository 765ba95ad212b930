"""The life cycle's table, cell by cell, written out a second time from the words of ISA-18.2-2016 / IEC 62682.

The words, as the project's alarm philosophy states them (the standards themselves from memory):
an active alarm is unacknowledged until somebody acknowledges it; one whose condition goes before that is returned,
unacknowledged; a latching one stays latched until reset; one that re-occurs while returned or latched is
unacknowledged again; a set-aside alarm (shelved, suppressed by design, out of service) follows nothing, and on
leaving with its condition true it is unacknowledged, else normal.
"""

from __future__ import annotations

import pytest

from monitor.core.alarms import TABLE, Input, next_state
from monitor.core.events import AlarmState as S

# Columns in this order; "U/N" is unacknowledged if the condition is true, else normal; "l:X|Y" is X if it latches;
# "s:X|Y" is X if the design wants it suppressed by then.
INPUTS = ["TRUE", "FALSE", "ACKNOWLEDGE", "RESET", "SHELVE", "UNSHELVE", "SUPPRESS", "UNSUPPRESS", "REMOVE", "RETURN"]
NAMES = {
    "N": S.NORMAL,
    "U": S.UNACKNOWLEDGED,
    "A": S.ACKNOWLEDGED,
    "R": S.RETURNED_UNACKNOWLEDGED,
    "LU": S.LATCHED_UNACKNOWLEDGED,
    "LA": S.LATCHED_ACKNOWLEDGED,
    "H": S.SHELVED,
    "P": S.SUPPRESSED,
    "O": S.OUT_OF_SERVICE,
}
#      TRUE FALSE   ACK RESET SHELVE UNSHELVE SUPPR UNSUPPR REMOVE RETURN
WORDS = """
N      U    N       N   N     H      N        P     N       O      N
U      U    l:LU|R  A   U     H      U        P     U       O      U
A      A    l:LA|N  A   A     H      A        P     A       O      A
R      U    R       N   R     H      R        P     R       O      R
LU     U    LU      LA  R     H      LU       P     LU      O      LU
LA     U    LA      LA  N     H      LA       P     LA      O      LA
H      H    H       H   H     H      U/N      P     H       O      H
P      P    P       P   P     P      P        P     U/N     O      P
O      O    O       O   O     O      O        O     O       O      s:P|U/N
"""


def _meant(cell: str, *, latches: bool, true: bool, suppressed: bool) -> S:
    for sign, fact in (("l:", latches), ("s:", suppressed)):
        if cell.startswith(sign):
            yes, no = cell[2:].split("|")
            cell = yes if fact else no
    if cell == "U/N":
        return NAMES["U" if true else "N"]
    return NAMES[cell]


CELLS = [
    (NAMES[row[0]], Input[name], cell)
    for row in (text.split() for text in WORDS.strip().splitlines())
    for name, cell in zip(INPUTS, row[1:], strict=True)
]


def test_the_table_is_total() -> None:
    """Every state has a cell for every input, and there are no others."""
    assert set(TABLE) == set(S)
    for row in TABLE.values():
        assert set(row) == set(Input)
    assert {(state, what) for state, what, _ in CELLS} == {(state, what) for state in S for what in Input}


@pytest.mark.parametrize(("state", "what", "cell"), CELLS, ids=[f"{s.name}-{i.name}" for s, i, _ in CELLS])
@pytest.mark.parametrize("latches", [False, True], ids=["plain", "latching"])
@pytest.mark.parametrize("true", [False, True], ids=["false", "true"])
@pytest.mark.parametrize("suppressed", [False, True], ids=["heard", "suppressed"])
def test_cell(state: S, what: Input, cell: str, latches: bool, true: bool, suppressed: bool) -> None:
    """A cell of the table is what the standard's words say of it."""
    got = next_state(state, what, latches=latches, true=true, suppressed=suppressed)
    assert got is _meant(cell, latches=latches, true=true, suppressed=suppressed)
