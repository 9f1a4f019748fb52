"""How often ear and eye err, each from where it was measured; how people err is assumed, and said so."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Ear:
    """What becomes of a spoken value or command, shares of one.

    Attributes:
        name: For the table.
        wrong: Values that come out wrong and are not doubted.
        asked: Values that are doubted, right or wrong.
        asked_right: Of those, how many were right.
        alike: Of those that come out wrong undoubted, how many come out as the same wrong value when said again.
        command: Commands and plain answers that are taken; the others are not understood. None was ever taken for
            another (0 of 102, voices kept apart, all conditions).
    """

    name: str
    wrong: float
    asked: float
    asked_right: float
    alike: float
    command: float


# Said again, misheard alike: `python -m tests.benchmarks.speech.repeated` on 1,500 real digits by three people (Free
# Spoken Digit Dataset): of 9 wrong ones that nothing doubted, clean, none came again alike; of 9 at 10 dB 0.5 %.
# `python -m tests.benchmarks.speech --each 9 --engines ours`, values alone: Kokoro voices kept apart, clean, at 20 dB,
# by headset and telephone (242): none wrong without a question (95 %: 0 to 1.6 %), 40 asked about, 36 of them right;
# commands 55 of 56. As none is few, the one of 350 counts that came out with flite's and espeak-ng's clean ones added.
HEADSET = Ear("headset", wrong=1 / 350, asked=40 / 242, asked_right=36 / 40, alike=0.0, command=55 / 56)

# The same run, Kokoro voices kept apart at 10 dB (81): one wrong and not asked about (95 %: 0.2 to 6.7 %), 21 asked
# about, 14 of them right; commands 17 of 18.
SHOP = Ear("shop noise, 10 dB", wrong=1 / 81, asked=21 / 81, asked_right=14 / 21, alike=0.005, command=17 / 18)


# Nine are few: the 95 % interval (Wilson) of 0 of 9 ends at 30 %, and so much is tried too.
HEADSET_ALIKE = replace(HEADSET, name="headset, misheard alike 30 %", alike=0.3)
SHOP_ALIKE = replace(SHOP, name="shop noise, misheard alike 30 %", alike=0.3)


@dataclass(frozen=True)
class Eye:
    """What becomes of a photo: whether it is accepted at all, and how often an accepted one is wrong."""

    name: str
    accepted: float
    wrong: float


# README, "seeing": 400 rendered photos each of instruments that training had and had not: 264 + 266 accepted of 800,
# one of them wrong.
PHOTO = Eye("voice and photo", accepted=530 / 800, wrong=1 / 530)
NO_PHOTO = Eye("voice alone", accepted=0.0, wrong=0.0)


@dataclass(frozen=True)
class People:
    """How people err; assumed, no source: nobody has counted it yet.

    Attributes:
        notice: How often a wrong read-back is noticed.
        mumble: Utterances that nobody could understand.
        contradict: Values said wrong and corrected after the read-back, noticed like any other.
        alike: Of values said wrong, and not noticed in the read-back, how many are said wrong alike again.
        interrupt: Times the next value is said while a question is open.
    """

    notice: float
    mumble: float = 0.03
    contradict: float = 0.005
    alike: float = 0.2
    interrupt: float = 0.03
