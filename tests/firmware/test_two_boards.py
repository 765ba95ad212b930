"""The image on the simulated part and the board in Python, side by side under the same random script.

They were written apart from each other; where they agree, both read the protocol the same way. Left out are what the
protocol leaves open or what differs by less than a sample: the limits before the first L, the instant at which a
blocked beam is told, and the contact, which in the simulator follows 12 ms late, as a relay does.
"""

from __future__ import annotations

import random

import pytest

from monitor.rig.board import Board, Senses
from monitor.rig.firmware import Firmware
from tests.firmware.lines import Answer, Sample, line, parse, tc_word

pytestmark = pytest.mark.firmware

SAMPLES = 600
WORDS = (tc_word(88), tc_word(799), tc_word(800), tc_word(-3, -16), tc_word(88, faults=1), 0xFFFFFFFF, 0)
SUMS = (0, 8384, 19_968, 20_032, 65_472)
CONTACT = 0x02
OFFSET_MS = 0.3  # after a sample of the image, before its next gas reading


def commands(dice: random.Random, n: int) -> bytes:
    """What the host says in one interval: mostly keep-alives, sometimes nothing, a refusal or nonsense."""
    choice = dice.random()
    if choice < 0.03:
        return line(f"L,{n},{dice.choice((800, 1200, 8191, 8192))},{dice.choice((20_032, 65_472, 65_473))}")
    if choice < 0.15:
        return line(f"C,{n}")
    if choice < 0.35:
        return line(f"K,{n},{dice.choice('0111')},{dice.choice('001')}")
    if choice < 0.40:
        return dice.choice((line("K,1,2,0"), b"K,1,1,0*0000\n", line("L,1,1"), b"\xff\n", b"\n", line("S,1")))
    return b""


def held(dice: random.Random, values: tuple[int, ...], now: int) -> int:
    """The ordinary value mostly; another now and then, for a while."""
    choice = dice.random()
    return values[0] if choice < 0.08 else dice.choice(values) if choice < 0.14 else now


@pytest.mark.parametrize("seed", range(4))
def test_two_boards_agree(board: Firmware, seed: int) -> None:
    """A minute of drops, splash, heat, gas, faults, commands and silences: the same samples, the same answers."""
    dice = random.Random(seed)
    python = Board()
    first = line("L,1,800,20032")
    board.send(first)
    python.receive(first)
    senses = Senses(tc_word=WORDS[0], gas_sum=SUMS[1], gas_span=0)
    board.gas_sum(senses.gas_sum, noise_counts=0)
    python_out = python.advance(0.0, senses) + python.advance(100.1, senses)
    board.run_ms(101.3 - 10)
    quiet = 0
    for k in range(1, SAMPLES):
        word, total = held(dice, WORDS, senses.tc_word), held(dice, SUMS[1:2] + SUMS, senses.gas_sum)
        edges_ms = sorted(dice.sample(range(7, 92, 7), dice.choice((0, 0, 0, 1, 2, 5))))
        quiet = 35 if dice.random() < 0.01 else max(0, quiet - 1)
        said = b"" if quiet else commands(dice, k)
        board.tc_word(word)
        board.gas_sum(total, noise_counts=0)
        for edge_ms in edges_ms:
            board.drop(after_ms=edge_ms - OFFSET_MS, dark_ms=1.0)
        board.run_ms(50)
        board.send(said)
        board.run_ms(50)
        senses = Senses(word, total, 0, edges_ms=[100.0 * k + ms for ms in edges_ms])
        python.receive(said)
        python_out += python.advance(100.0 * (k + 1) + 0.1, senses)
    image = [f for f in parse(board.received()) if isinstance(f, (Sample, Answer))]
    rig = [f for f in parse(python_out) if isinstance(f, (Sample, Answer))]
    assert [f for f in image if isinstance(f, Answer)] == [f for f in rig if isinstance(f, Answer)]
    image_by_ms = {f.ms: f for f in image if isinstance(f, Sample)}
    rig_by_ms = {f.ms: f for f in rig if isinstance(f, Sample)}
    for ms in range(200, 100 * SAMPLES, 100):
        mine, other = image_by_ms[ms], rig_by_ms[ms]
        assert shown(mine) == shown(other), ms
    assert {f.io for f in image_by_ms.values()} >= {0x0B, 0x04}


def shown(s: Sample) -> tuple[int, ...]:
    return (s.drops, s.rejects, s.tc, s.gas_sum, s.gas_span, s.io & ~CONTACT)
