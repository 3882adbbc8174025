"""The trade's words in column names, and how a name is cut into them.

Words as bench instruments, motor controllers, home-made loggers and battery cyclers write them, in English, with
the common ones of German, French and Spanish: common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Final

from ingest.delimited.scripts import spelled


def one_of(words: str) -> frozenset[str]:
    return frozenset(words.split())


QUANTITY: Final[dict[str, str]] = {
    word: kind
    for kind, words in {
        "voltage": "voltage volt volts voltages spannung tension tensao tensione voltaje napiecie spanning "
        "potential potenzial potentiel u v millivolts millivolt",
        "current": "current curr cur currents amp amps ampere amperes amperage milliamps strom courant "
        "corriente "
        "corrente prad stroom i iq id intensite stromstaerke",
        "temperature": "temperature temperatur temperatura temperatuur temp tmp temps temperatures "
        "thermistor ntc thermocouple t",
        "speed": "speed rpm erpm krpm rps drehzahl vitesse velocidad velocity geschwindigkeit revs regime "
        "tacho tach "
        "rotation omega regimen rotational umin",
        "command": "throttle command cmd demand stick joystick gas steering pulse pulsewidth servo consigne "
        "thr "
        "steer pwm setvalue",
        "duty": "duty dutycycle tastgrad modulation",
        "charge": "mah ah capacity charge consumed coulombs coulomb ladung kapazitaet capacite capacidad",
        "energy": "energy wh energie energia joules mwh",
        "power": "power watt watts leistung puissance potencia potenza vermogen moc p",
        "resistance": "resistance ohm ohms esr impedance widerstand mohm",
        "time": "time zeit tiempo tempo tijd czas timestamp millis micros date clock elapsed "
        "datum uhrzeit horodatage timer fecha",
        "uptime": "uptime",
        "count": "count counter index sample packet seq sequence nr no zaehler record row loop iteration "
        "tick ticks "
        "cycle step",
        "frames_lost": "frameslost",
        "failsafe": "failsafe",
        "fault": "fault faultcode",
        "acceleration": "acceleration accel acc accelerometer shock gforce beschleunigung impact vibration",
        "spin": "spin gyro gyroscope yawrate",
        "pressure": "pressure druck pression presion baro",
        "strength": "rssi signalstrength",
        "quality": "lq linkquality",
        "other": "snr state mode status flag flags humidity latitude longitude altitude angle position soc "
        "heading "
        "roll pitch yaw satellites message event comment zustand energized armed running direction",
    }.items()
    for word in words.split()
}
STATE: Final = one_of("state mode status flag flags message event comment zustand step direction")
# The single letters that stand for a quantity only beside something else ("U batt", "I_in").
SYMBOLS: Final = frozenset("uvitp")

ROLE: Final[dict[str, str]] = {
    word: role
    for role, words in {
        "input": "input in supply source bus dc dcbus line mains eingang eingangs entree entrada versorgung "
        "versorgungs zwischenkreis link_dc alimentation feed supplied dclink",
        "motor": "motor mot moteur winding armature phase phases stator coil wicklung phasen motoren moteurs motors iq",
        "output": "output out ausgang sortie salida",
        "rail": "rail bec ubec servo 5v 6v 12v logic",
        "discharge": "discharge discharged entlade entladen decharge descarga",
        "charging": "charging charger charged lade laden recharge regen brake braking",
    }.items()
    for word in words.split()
}

PART: Final[dict[str, str]] = {
    word: part
    for part, words in {
        "pack": "battery batt bat bats pack akku accu batterie batteria bateria lipo akkupack accumulateur batteries "
        "batterij "
        "accus lion",
        "cell": "cell cells zell zelle zellen cellule celda element cel",
        "receiver": "receiver rx empfaenger recepteur receptor recv",
        "link": "link radio telemetry transmitter tx rssi lq snr rf",
        "chassis": "chassis imu body case enclosure gehaeuse inside hull",
        "controller": "esc controller regler fet fets mosfet mosfets mos driver inverter controleur "
        "variateur bridge "
        "hbridge powerstage drv heatsink speedcontroller fahrregler",
        "motor": "motor mot moteur winding armature stator coil wicklung phase phases phasen motoren motors",
        "regulator": "bec ubec regulator reg dcdc buck psu rail",
        "ambient": "ambient amb air umgebung ambiante room board pcb",
    }.items()
    for word in words.split()
}

# Words that name one assembly of the robot; the value is its usual spelling in an id.
FREE: Final[dict[str, str]] = {
    word: name
    for name, words in {
        "weapon": "weapon weap wpn waffe arme arma waffen",
        "drive": "drive drv drivetrain antrieb traction drives fahr propulsion",
        "left": "left lft lh links gauche izquierda izquierdo",
        "right": "right rgt rh rechts droite droit derecha derecho",
        "front": "front fwd vorne avant delantero",
        "rear": "rear hinten arriere trasero",
        **{
            word: word
            for word in one_of(
                "spinner drum disc blade beater flipper lifter hammer axe saw arm claw grabber crusher wheel lift "
                "pump fan conveyor gripper clamp wedge minibot eggbeater ring shell"
            )
        },
        "disc": "disc disk scheibe",
    }.items()
    for word in words.split()
}

MINIMUM: Final = one_of("min minimum lowest weakest low mini")
MAXIMUM: Final = one_of("max maximum highest peak maxi top spitze pic")
# What was asked for, allowed or worked out over time, not what was there at that instant.
NOT_MEASURED: Final = one_of(
    "limit setpoint target rated nominal threshold limiting cutoff soll sollwert reference ref nennwert "
    "avg average mean mittel mittelwert moyenne delta diff difference spread std stdev variance rms error "
    "offset requested estimated est calc calculated predicted model gain alarm warning warn desired set "
    "ripple imbalance"
)
GENERIC: Final = one_of(
    "ch chan channel kanal voie canal analog analogue ain adc probe port math trace value val wert "
    "valeur data aux measurement reading signal y x1 meter ai input_no slot col column field var unnamed "
    "messwert"
)
NOISE: Final = one_of(
    "the of a an de du des la le les von der die das el del actual act ist measured meas live instant "
    "instantaneous raw filtered filt smoothed total gesamt overall main haupt principal module unit rc "
    "robot bot system sys shaft mechanical mech electrical elec value val wert valeur used usage draw "
    "reading sensor at in log internal external ext int power stage side present now drawn supply"
)
RAW: Final = one_of("raw counts adc lsb code bits")
AXES: Final = one_of("x y z")

_PHRASES: Final = tuple(
    (re.compile(rf"\b(?:{pattern})\b"), word)
    for pattern, word in (
        (r"e[- ]?rpm|(?:electrical|elec|el) (?:rpm|speed)|rpm (?:electrical|elec|el)", "erpm"),
        (r"(?:electronic )?speed control(?:ler|s)?|motor controller", "controller"),
        (r"(?:state of charge|charge state|charge level|battery level|ladezustand)", "soc"),
        (r"duty cycle|rapport cyclique|tast ?verhaeltnis", "duty"),
        (r"(?:lost frames?|frames? lost|frame loss(?:es)?|missed frames?|frames? missed|dropped frames?|"
         r"frames? dropped|lost packets?|packets? lost)", "frameslost"),
        (r"(?:radio )?link quality|(?:lien|signal) quality|verbindungsqualitaet", "linkquality"),
        (r"(?:rx |radio |link )?signal strength|empfangsstaerke", "signalstrength"),
        (r"(?:fault|error|err|fehler) ?(?:codes?|no|number|nr|flags?|bits)", "fault"),
        (r"fail safe", "failsafe"),
        (r"up ?time|run ?time|on time|time since (?:start|boot|power on)|betriebszeit", "uptime"),
        (r"time stamp|zeit stempel", "timestamp"),
        (r"g force", "gforce"),
        (r"(?:yaw|turn|rotation|angular|spin) (?:rate|speed|velocity)|drehrate", "yawrate"),
        (r"heat sink", "heatsink"),
        (r"power stage|power board|leistungsteil", "powerstage"),
        (r"(?:dc|power|supply) bus|bus dc|dc link|dc input|power in(?:put)?", "input"),
        (r"power supply", "supply"),
        (r"pulse width", "pulsewidth"),
        (r"(?:internal|dc|cell|pack) resistance|innenwiderstand", "resistance"),
        (r"(?:m|milli) ?amp(?:ere)?s? ?(?:h|hrs?|hours?)", "mah"),
        (r"amp(?:ere)?s? ?(?:h|hrs?|hours?)", "ah"),
        (r"watts? ?(?:h|hrs?|hours?)", "wh"),
        (r"mah (?:used|drawn|consumed)|(?:used|consumed) mah", "mah"),
        (r"stell ?(?:wert|groesse)|gas ?(?:griff|hebel)", "throttle"),
    )
)  # fmt: skip
LONGEST_NAME: Final = 160  # our choice: what stands further back in a name says nothing of the column
_FOLD: Final = (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss"))
_PIECES = re.compile(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|\d+")
_KNOWN: Final = frozenset({*QUANTITY, *ROLE, *PART, *FREE, *GENERIC, *NOISE, *MINIMUM, *MAXIMUM, *NOT_MEASURED})
_JOINABLE: Final = frozenset(w for w in _KNOWN if len(w) >= 3) | {"in", "rx", "tx", "ch"}
_AFTER_SYMBOL: Final = one_of(
    "bat batt bats battery pack in input bus dc sup supply main mot motor ph phase rx rec recv bec rail "
    "out esc fet mos mosfet amb ambient cell total akku accu lipo tot left right weapon ctrl"
)
_ABBREVIATED: Final = {
    "sup": "supply", "ph": "phase", "rec": "receiver", "amb": "ambient", "tot": "total", "ctrl": "controller"
}  # fmt: skip
_NOT_GLUED: Final = one_of("pin tin tout pout ubus tmain input")


def fold(text: str) -> str:
    """Small letters without accents; German umlauts as two letters."""
    text = unicodedata.normalize("NFKC", text).casefold()
    for old, new in _FOLD:
        text = text.replace(old, new)
    return "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))


@lru_cache(maxsize=4096)
def cut(name: str) -> tuple[str, ...]:
    """The words of a column name, folded: "BattVolt_1" → ("batt", "volt", "1"); "Akkuspannung" → two words."""
    words: list[str] = []
    name = spelled(unicodedata.normalize("NFC", name[:LONGEST_NAME]))
    for raw in re.split(r"[^0-9A-Za-zÀ-ÿµμΩΩ]+", name):
        if raw:
            words += _cut_piece(raw)
    text = " ".join(words)
    for pattern, word in _PHRASES:
        text = pattern.sub(word, text)
    text = re.sub(r"\b([3-9]|12) v\b(?=.)|\b([56]) v$", lambda m: (m[1] or m[2]) + "v", text)
    return tuple(text.split())


def _cut_piece(raw: str) -> list[str]:
    folded = fold(raw)
    if folded in _KNOWN:
        return [folded]
    words: list[str] = []
    for number_or_text in re.findall(r"\d+|\D+", raw):
        if number_or_text.isdigit():
            words.append(number_or_text.lstrip("0") or "0")  # not by int(): it may have any length
            continue
        if fold(number_or_text) in _KNOWN or number_or_text.isupper() or number_or_text.islower():
            pieces = [number_or_text]
        elif (glued := _glued(fold(number_or_text))) is not None:
            words += glued
            continue
        else:
            pieces = _PIECES.findall(_ascii(number_or_text)) or [number_or_text]
        for piece in pieces:
            small = fold(piece)
            if small in _KNOWN:
                words.append(small)
            else:
                words += _glued(small) or [small]
    return words


def _ascii(text: str) -> str:
    """Without accents but with capitals, for cutting at capitals."""
    for old, new in (*_FOLD, ("Ä", "Ae"), ("Ö", "Oe"), ("Ü", "Ue")):
        text = text.replace(old, new)
    return "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))


def _glued(word: str) -> list[str] | None:
    """A symbol before a word ("vbat"), or known words run together ("motorstrom"); None where it is neither."""
    if word in _NOT_GLUED:
        return None
    if len(word) > 2 and word[0] in "uvitp" and word[1:] in _AFTER_SYMBOL:
        return [word[0], _ABBREVIATED.get(word[1:], word[1:])]
    return _segments(word)


@lru_cache(maxsize=4096)
def _segments(word: str) -> list[str] | None:
    """Known words that fill `word` whole; German joins with s, n or en between. The fewest words win."""
    if len(word) < 5:
        return None
    best: dict[int, list[str]] = {0: []}
    for end in range(2, len(word) + 1):
        for start in range(max(0, end - 16), end - 1):
            if start not in best or word[start:end] not in _JOINABLE:
                continue
            candidate = [*best[start], word[start:end]]
            for joint in ("", "s", "n", "en", "er"):
                place = end + len(joint)
                if joint and (place >= len(word) or word[end:place] != joint):
                    continue
                if place not in best or len(candidate) < len(best[place]):
                    best[place] = candidate
    found = best.get(len(word))
    return found if found and len(found) > 1 else None
