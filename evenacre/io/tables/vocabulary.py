"""Words that names of columns are made of: in four languages, plural, joined, cut, vowels lost."""

from __future__ import annotations

import unicodedata
from functools import cache, lru_cache

# What is meant, and the words for it. Those after the dash mean something else that is logged:
# a short form that fits one of them as well says nothing.
_WORDS = """
time: time zeit uhrzeit hora tiempo heure when
timestamp: timestamp stamp zeitstempel zeitpunkt horodatage
datetime: datetime
date: date datum fecha
year: year jahr ano annee
month: month monat mes mois
day: day tag dia jour
hour: hour stunde
minute: minute
second: second sekunde segundo seconde
elapsed: elapsed
epoch: epoch
unix: unix
utc: utc gmt
gps: gps gnss
local: local
ground: ground
start: start begin inicio debut beginn
end: end finish ende
interval: interval intervall intervalo intervalle
duration: duration dauer duracion duree
longitude: longitude laengengrad longitud
latitude: latitude breitengrad latitud
easting: easting rechtswert ostwert
northing: northing hochwert nordwert
zone: zone zona
speed: speed geschwindigkeit fahrgeschwindigkeit velocidad vitesse
velocity: velocity
heading: heading kurs fahrtrichtung rumbo
course: course
bearing: bearing
direction: direction richtung
width: width arbeitsbreite ancho anchura largeur
swath: swath
distance: distance distanz strecke distancia
work: work arbeit arbeitsstellung trabajo travail
working: working arbeitend
state: state zustand estado etat
status: status
machine: machine maschine maquina
vehicle: vehicle fahrzeug vehiculo
tractor: tractor traktor tracteur
implement: implement anbaugeraet apero outil
section: section teilbreite seccion troncon
row: row reihe surco rang
rate: rate aufwandmenge ausbringmenge streumenge saatmenge aussaatmenge menge dosis dose tasa
applied: applied aplicado aplicada applique appliquee
actual: actual ist real reel
application: application
flow: flow durchfluss caudal debit
mass: mass masse masa
target: target soll sollwert ziel objetivo cible consigne
planned: planned
prescribed: prescribed
prescription: prescription
desired: desired
required: required
requested: requested
field: field schlag parcela parcelle
product: product produkt producto produit
crop: crop kultur cultivo culture
name: name nombre nom
number: number nummer numero
id: id identifier
spacing: spacing
total: total summe gesamt suma
- position trk crs moisture yield elevation altitude height temperature pressure humidity
- satellites quality accuracy precision operator operation station district disturbance header
- load weight volume area acres hectares variety hybrid population count coverage feature object
- fuel engine torque depth slope soil team term type track pass lane region client grower farmer
- farm comment description correction differential delay variance deviation dry wet grain
- protein loss price hdop pdop vdop spread spectrum offset angle roll pitch yaw index integer
- intensity obs log record travelled traveled deg degree foot feet inch metre meter kmh kph mph
- knot lbs kgs sec vol vr control seed
"""
_LONG = 5  # letters of a word that leave little doubt which it is
_LONGEST = 30  # letters of a name in one word
_TIMES = {"time", "timestamp", "datetime"}


@cache
def _known() -> dict[str, str]:
    """What each word means; nothing for those that are about something else."""
    known: dict[str, str] = {}
    for line in _WORDS.strip().splitlines():
        meant, _, words = line.partition(":") if ":" in line else ("", "", line.lstrip("- "))
        known |= dict.fromkeys(words.split(), meant)
    return known


@lru_cache(maxsize=4096)
def meant_by(word: str, cut: bool = False) -> tuple[str, ...]:
    """Words that a part of a name stands for, in English and in full; itself where not known.

    Parameters
    ----------
    word : str
        In lower case.
    cut : bool
        True when the end of it may be lost.
    """
    word = _plain(word)
    known = _known()
    if found := _one(word):
        return (found,)
    if len(word) > _LONGEST:
        return (word,)
    if parts := _parted(word, cut):
        return tuple(known.get(part) or part for part in parts)
    meant = {known[full] for full in known if _is_short_for(word, full, 2 if cut else 3)}
    if meant and meant <= _TIMES:
        meant = {"time"}
    return (meant.pop(),) if len(meant) == 1 and meant != {""} else (word,)


def _plain(word: str) -> str:
    """A word without accents, spelled as where they cannot be typed."""
    for letter, typed in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss")):
        word = word.replace(letter, typed)
    return unicodedata.normalize("NFKD", word).encode("ascii", "ignore").decode()


def _one(word: str) -> str:
    """The meaning of one word, singular or plural; empty when there is none."""
    known = _known()
    for whole in (word, word.removesuffix("s"), word.removesuffix("es")):
        if whole in known:
            return known[whole] or whole
    return ""


def _parted(word: str, cut: bool) -> list[str]:
    """Part words run together, the last of them perhaps cut; empty where it cannot be done."""
    for end in range(len(word) - 1, 1, -1):
        first, rest = _whole(word[:end], _LONG), word[end:]
        if not first:
            continue
        if last := _whole(rest.removesuffix("s"), 2 if cut else _LONG):
            return [first, last]
        if further := _parted(rest, cut):
            return [first, *further]
        if cut and end >= _LONG:
            return [first, rest]
    return []


@cache
def _beginnings() -> dict[str, str]:
    """A known word by each of its beginnings; an empty one where several mean other things."""
    known, found = _known(), dict[str, str]()
    for word in known:
        for end in range(2, len(word) + 1):
            other = found.setdefault(word[:end], word)
            if known.get(other) != known[word]:
                found[word[:end]] = ""
    return found | {word: word for word in known}


def _whole(part: str, least: int) -> str:
    """The known word that a part is, or so many letters of it that it can be no other's."""
    if len(part) < least and part not in _known():
        return ""
    return _beginnings().get(part, "")


def _is_short_for(short: str, full: str, least: int) -> bool:
    """Tell whether a word was cut, or lost its vowels and perhaps its end."""
    if len(short) < least or len(short) >= len(full) or short[0] != full[0]:
        return False
    if full.startswith(short):
        return True
    bones, own = _bones(full), _bones(short)
    inside = iter(full)
    return (
        len(own) >= 3
        and bones.startswith(own)
        and all(letter in inside for letter in short)  # in the same order
    )


def _bones(word: str) -> str:
    """First letter and consonants, double ones once."""
    bones = word[0]
    for letter in word[1:]:
        if letter not in "aeiouy" and letter != bones[-1]:
            bones += letter
    return bones
