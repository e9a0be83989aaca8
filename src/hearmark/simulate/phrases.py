"""The phrases of a pile-up, in Morse and in voice, with how often each is heard: common practice, no source.

{c} is the caller's call, {d} the call of the DX, {u} where he listens ("UP 5"), {p} the part of a call that was
copied, {e} the last letters of a call. The first phrase of each list is the one by the book.
"""

from __future__ import annotations

from typing import Literal

Purpose = Literal[
    "cq", "again all", "answer", "again", "partial", "confirm", "confirm call", "chat", "wait", "only",
    "on my frequency", "call", "full", "reply", "reply call", "chat back", "bye", "police", "tune",
]  # fmt: skip
Phrases = tuple[tuple[str, ...], tuple[float, ...]]
"""Phrases and their weights."""


def _phrases(lines: str) -> Phrases:
    pairs = [line.split(None, 1) for line in lines.strip().splitlines()]
    return tuple(phrase.strip() for _, phrase in pairs), tuple(float(weight) for weight, _ in pairs)


MORSE: dict[Purpose, Phrases] = {
    "cq": _phrases("""
        6 CQ CQ DE {d} {d} {u}
        4 {d} {u}
        3 CQ DE {d} {u} K
        3 QRZ? {d} {u}
        2 {d} {d} {u}
        2 QRZ {u}
        2 CQ {d} {u}
        1 CQ CQ CQ DE {d} {d} K
        1 CQ DX DE {d} {d} {u} +
        1 DE {d} {u}
        1 QRZ? DE {d} {u} {u}
        1 {d} {d} QRZ? {u}
        1 TEST {d} {u}
        0.5 CQ {u} CQ {u} DE {d} {d}
    """),
    "again all": _phrases("""
        4 QRZ?
        3 ?
        3 {d} {u}
        3 QRZ? {u}
        2 AGN?
        2 {u}
        1 ? ?
        1 {d}
        1 AGN AGN
        1 QRZ? DE {d} {u}
        1 PSE AGN
        0.5 QSB AGN
        0.5 QRM QRM {u}
    """),
    "answer": _phrases("""
        8 {c} 5NN
        3 {c} 599
        3 {c} 5NN K
        2 {c} 5NN BK
        2 {c} {c} 5NN
        1 {c} 599 K
        1 5NN {c}
        1 {c} UR 5NN
        1 {c} 5NN 5NN
        1 {c} GM 5NN
        1 {c} ENN
        1 {c} 599 599 BK
        1 {c} GE UR 5NN 5NN BK
        0.6 {c} 5NN <KN>
        0.6 {c} DE {d} 5NN BK
        0.5 {c} TU 5NN
        0.6 {c} NN
        0.4 {c} {c} UR 599 599 K
        0.4 {c} DR OM 5NN
        0.3 R {c} 5NN
    """),
    "again": _phrases("""
        4 {c} 5NN
        3 {c}?
        3 {c}
        2 {c} {c} 5NN
        2 AGN
        2 {c} AGN?
        1 {c} {c}
        1 ?
        1 {c} K
        1 AGN?
        1 {c} ?
        1 {c} 5NN 5NN BK
        1 NR?
        0.5 UR RST?
        0.5 {c} QSL?
        0.5 PSE AGN {c}
        0.5 {c} {c} {c} 5NN K
    """),
    "partial": _phrases("""
        6 {p}?
        3 {p}
        2 {p}? {p}
        2 {p}? {p}?
        2 {p} AGN?
        1 {p} 5NN
        1 ?{p}
        1 {p}? K
        1 {p} {p}
        1 PSE {p}?
        0.7 {p}? 5NN
        0.5 ONLY {p}
        0.5 {p} <KN>
    """),
    "confirm": _phrases("""
        6 TU {u}
        5 TU
        4 TU {d} {u}
        2 R TU {d} {u}
        2 TU {d}
        2 73 QRZ?
        2 TU QRZ?
        2 QSL {u}
        1.5 R TU
        1.5 TU 73 {d} {u}
        1 R TU {u}
        1 TU EE
        1 TNX {d} {u}
        1 TU GL {u}
        1 EE
        1 QSL TU 73 DE {d} {u} K
        1 {d} {u}
        1 R
        0.7 TU {u} {u}
        0.7 R R TU DE {d}
        0.6 CFM 73 {d}
        0.6 TU QRZ {u}
        0.5 TU 73 GL DE {d} QRZ? {u}
        0.5 {u}
    """),
    "confirm call": _phrases("""
        3 {c} TU
        2 {c} TU {u}
        1 R {c} TU {d} {u}
        1 TU {c} 73
        1 {c} R TU {d}
        1 {c} QSL {d} {u}
    """),
    "chat": _phrases("""
        2 {c} FB TNX FER CALL NAME HR IS TOM
        2 R R FB RIG HR 100W ES VERT BK
        1 TNX INFO WX HR HOT 35C BK
        1 {c} SRI UR CALL AGN? BK
        1 GA DR FRIEND NICE TO MEET AGN BK
        1 QSL VIA BURO OK? BK
    """),
    "wait": _phrases("""
        3 QRX
        2 QRX 1
        1 QRX <AS>
        1 <AS>
        1 QRX PSE
        1 QRX 2 {d}
    """),
    "only": _phrases("""
        3 {d} {p} ONLY {u}
        2 ONLY {p} {p}
        1 CQ {p} DE {d} {u}
        1 QRZ {p} {p} ONLY
        1 {p} {p} {u}
    """),
    "on my frequency": _phrases("""
        3 UP UP
        2 UP UP UP
        1 PSE QSX {u}
        1 NOT HR {u}
        1 {u} {u} PSE
    """),
    "call": _phrases("""
        10 {c}
        2 DE {c}
        1 {c} K
        0.3 {d} DE {c}
        0.5 {c} +
        0.4 DE {c} K
        0.3 {c} 5NN
        0.3 {c} {e}
    """),
    "full": _phrases("""
        4 {c}
        4 {c} {c}
        2 DE {c} {c}
        1 {c} {c} {c}
        1 R {c}
        1 DE {c}
        0.5 {c} {c} K
    """),
    "reply": _phrases("""
        6 R 5NN TU
        5 5NN TU
        4 TU 5NN
        3 5NN
        2 R 5NN
        2 5NN 5NN
        2 TU 5NN TU
        2 ENN TU
        1.5 ENN
        1.5 R R 5NN TU 73
        1 599 599 BK
        1 599
        1 R 599 TU
        1 TU ENN E E
        1 R UR 5NN 5NN TU
        1 5NN K
        1 R TU 5NN 73
        0.7 BK UR 599 599 BK
        0.7 QSL 5NN TU
        0.5 R R UR 599 599 TU 73 GL
        0.5 NN TU
        0.5 5NN EE
        0.5 R DE {c} 5NN TU
        0.5 TNX 5NN 73
    """),
    "reply call": _phrases("""
        3 DE {c} 5NN
        3 {c} 5NN TU
        2 {c} {c} 5NN
        2 DE {c} {c} 5NN TU
        1 R {c} 5NN
        1 {c} 5NN
        1 {c} 5NN {c}
        1 {c} UR 5NN BK
        0.5 DE {c} UR 5NN 5NN <KN>
    """),
    "chat back": _phrases("""
        2 R TNX 73
        1 FB TNX NEW ONE 73
        1 R R NAME JIM 73 TU
        1 QSL TNX 73 EE
        1 R TU
    """),
    "bye": _phrases("""
        3 TU
        2 EE
        1 73
        1 TU EE
        1 TU 73 GL
        1 E E
    """),
    "police": _phrases("""
        4 UP
        4 UP UP
        2 UP UP UP
        1 LID
        1 QSX UP
        1 QSY UP
        0.5 QRT
        0.5 SPLIT
        0.5 UP LID UP
    """),
    "tune": _phrases("""
        3 VVV
        2 EEEE
        2 T
        1 ?
        1 QRL?
        1 VVV VVV
        1 TTT
        1 E E
    """),
}

VOICE: dict[Purpose, Phrases] = {
    "cq": _phrases("""
        5 {d} listening {u}
        4 {d} {u}
        4 qrz {d} {u}
        3 qrz {u}
        3 qrz
        3 cq cq this is {d} {u}
        2 {d} qrz
        2 this is {d} listening {u}
        1 cq cq cq {d} {d} standing by {u}
        1 qrz this is {d} {u} please
        1 okay go ahead {u}
        1 {d} {u} go ahead
        1 cq d x this is {d} by for a call {u}
    """),
    "again all": _phrases("""
        4 qrz
        3 again please
        3 {d} qrz
        2 {u} qrz
        2 again again
        1 nothing copied again
        1 too many please again
        1 one at a time please qrz
        1 qrz {u}
        1 sorry again
    """),
    "answer": _phrases("""
        8 {c} five nine
        4 {c} you are five nine
        3 {c} five nine over
        2 {c} {c} five nine
        2 {c} fifty nine
        2 {c} you're five nine
        1 okay {c} five nine
        1 {c} good morning five nine
        1 {c} five nine five nine
        1 five nine {c}
        1 {c} five and nine go ahead
        1 {c} hello you are five nine in my place
        1 roger {c} 59
        1 {c} five nine back to you
        0.5 {c} thank you five nine five nine
        0.5 {c} five seven
    """),
    "again": _phrases("""
        4 {c} five nine
        3 {c}
        2 {c} are you there
        2 {c} again please
        2 {c} you are five nine
        2 {c} {c} five nine
        1 again
        1 only {c} please
        1 {c} go ahead
        1 {c} do you copy
        1 your report again
        1 sorry again please
        1 {c} how copy over
    """),
    "partial": _phrases("""
        4 {p} again please
        4 {p}
        3 the {p}
        2 {p} {p}
        2 {p} only
        2 the station {p} five nine
        2 who is the {p}
        1 {p} go ahead
        1 only the {p} please everybody else stand by
        1 {p} station again
        1 {p} five nine your full call
    """),
    "confirm": _phrases("""
        5 thank you {u}
        4 thank you {d} {u}
        4 thank you qrz
        3 thank you
        3 thanks qrz {u}
        2 thank you {d}
        2 thank you seven three {d} {u}
        2 qsl thank you {d} listening {u}
        1 roger qrz
        1 seven three qrz
        1 roger roger thank you {d}
        1 okay thanks {d} {u}
        1 qsl qrz
        1 {d} {u}
        1 thank you very much good luck {d} listening {u}
        0.7 many thanks next one {u}
        0.5 gracias {d} {u}
    """),
    "confirm call": _phrases("""
        3 {c} thank you
        2 {c} roger thank you {u}
        1 okay {c} thanks {d}
        1 roger {c} qsl qrz
    """),
    "chat": _phrases("""
        2 nice signal my friend how is the weather over there
        1 thanks for the call my name is tom go ahead
        1 very good signal what antenna are you using over
        1 say hello to everybody in the club over
        1 please confirm your call again over
    """),
    "wait": _phrases("""
        3 stand by please
        2 stand by one minute
        1 wait wait please
        1 stand by everybody i have to refuel the generator
    """),
    "only": _phrases("""
        3 {d} listening for {p} only {u}
        2 only {p} please
        2 {p} only {u}
        1 {p} {p} only please everybody else stand by
    """),
    "on my frequency": _phrases("""
        3 not on my frequency {u}
        2 up up up
        1 i am listening {u} not here
        1 split {u} please
    """),
    "call": _phrases("""
        10 {c}
        1 this is {c}
        1 {e}
        1 {c} {e}
        0.5 {d} this is {c}
        0.5 {c} over
        0.2 {c} five nine
        0.3 hello {d} {c}
    """),
    "full": _phrases("""
        4 {c}
        3 {c} {c}
        2 this is {c} {c}
        1 roger {c}
        1 {c} {c} {c}
        1 full call {c}
    """),
    "reply": _phrases("""
        6 roger five nine thank you
        4 five nine thank you
        4 thank you you are five nine
        3 you are five nine
        3 five nine
        3 roger roger five nine
        2 roger you are five nine also thank you
        2 thank you five nine five nine
        2 qsl five nine seven three
        1 five nine five nine
        1 thanks you're five nine plus seven three
        1 roger fifty nine thank you
        1 roger thank you you are five nine in our place good luck
        1 yes thank you five nine
        1 five seven thank you
        1 five and nine thanks for the new one
        0.7 roger from {c} five nine
        0.5 five nine over
    """),
    "reply call": _phrases("""
        3 {c} five nine
        3 roger {c} five nine thank you
        2 this is {c} you are five nine
        2 {c} {c} you are five nine
        1 five nine from {c}
        1 {c} five nine {c}
        1 {c} roger five nine over
    """),
    "chat back": _phrases("""
        2 thank you very much seven three
        1 weather is fine here thank you good bye
        1 roger thank you my name is jim seven three
        1 thanks for the new one bye bye
        1 antenna is a vertical two elements seven three
    """),
    "bye": _phrases("""
        3 thank you
        2 seven three
        1 thank you bye bye
        1 good luck
    """),
    "police": _phrases("""
        4 up
        4 up up
        2 up up up
        1 split he is split
        1 he is listening up
        1 lid
        1 listening {u}
        1 quiet please
    """),
    "tune": _phrases("""
        3 hola hola
        2 one two three four
        2 hello test
        1 aaah
        1 is the frequency in use
        1 where is he listening
    """),
}
