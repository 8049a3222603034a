"""The words that head columns, in the common European languages, folded to lower case without accents.

Each entry of a kind is a whole word unless it ends in "*", which stands for any ending. Dictionary knowledge, no source.
Languages: English, German, French, Spanish, Italian, Portuguese, Catalan, Dutch, Polish, Czech, Slovak, Slovene, Croatian,
Swedish, Danish, Norwegian, Finnish, Estonian, Hungarian, Romanian, Greek, Lithuanian, Latvian, Turkish, Russian, Ukrainian.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Literal

__all__ = ["ColumnKind", "fold", "kind_of_word"]

ColumnKind = Literal["time", "position", "velocity", "acceleration", "index", "other", "unknown"]

_WORDS: dict[ColumnKind, str] = {
    "time": "time times timestamp elapsed clock zeit *zeit zeitpunkt temps tiempo tempo temp tijd czas cas tid tiden tidpunkt "
            "aika ajanhetki aeg ido idopont timp timpul χρονοσ laikas laiks zaman sure vrijeme vreme время час",
    "position": "position* positie* pos distance* dist range displacement* location height altitude "
                "weg wegstrecke ort lage abstand entfernung distanz strecke auslenkung hohe hoehe koordinate "
                "deplacement* abscisse abscisses hauteur elongation coordonnee altitude "
                "posicion posiciones distancia* desplazamiento* altura recorrido espacio abscisa coordenada "
                "posizione distanza spostamento altezza ascissa spazio coordinata "
                "posicao deslocamento* espaco posicio desplacament alcada "
                "afstand* plaats verplaatsing hoogte "
                "polozenie pozycja odleglosc droga przemieszczenie wysokosc wspolrzedna "
                "poloha draha vzdalenost vyska posunuti souradnice vzdialenost "
                "lega pot razdalja premik odmik visina polozaj put udaljenost pomak "
                "lage laget stracka avstand* hojd forskjutning "
                "sted stedet straekning straekningen posisjon* strekning forflytning hoyde "
                "paikka sijainti matka etaisyys korkeus siirtyma asukoht asend kaugus teepikkus "
                "hely helyzet tavolsag ut elmozdulas magassag "
                "pozitie pozitia distanta deplasare inaltime spatiu "
                "θεση αποσταση μετατοπιση υψοσ "
                "padetis atstumas poslinkis kelias pozicija attalums parvietojums konum mesafe uzaklik yol "
                "положение координата расстояние путь дистанция высота перемещение положення відстань шлях",
    "velocity": "velocity velocities speed speeds vel velo geschwindigkeit* schnelligkeit vitesse* velocidad* velocita "
                "celerite rapidez velocidade* velocitat snelheid* predkosc szybkosc rychlost rychlosti hitrost brzina hastighet* "
                "fart farten hastighed* nopeus vauhti kiirus sebesseg viteza ταχυτητα greitis atrums hiz surat скорость "
                "швидкість",
    "acceleration": "acceleration* accel acc beschleunigung* aceleracion* accelerazione* aceleracao* acceleracio versnelling* "
                    "przyspieszenie zrychleni zrychlenie pospesek ubrzanje akceleracija akselerasjon* accelerationen "
                    "kiihtyvyys kiirendus "
                    "gyorsulas acceleratie acceleratia επιταχυνση pagreitis paatrinajums ivme ускорение прискорення",
    "index": "index idx sample samples nr no num number numer numero nummer row rows line point points punkt punkte "
             "messpunkt zeile "
             "stichprobe echantillon muestra campione amostra probka vzorek prov naeyte id count counter frame frames bild "
             "drop run trial versuch essai ensayo prova proba pokus forsok forsog koe kiserlet incercare δοκιμη",
    "other": "force kraft forza fuerza forca kracht sila temperature temperatur* temperatura lampotila voltage spannung tension "
             "voltaje tensione current strom energy energie* energia energija angle winkel angulo angolo hoek kat vinkel "
             "kulma mass "
             "masse masa massa pressure druck pression presion light licht sound schall power leistung momentum impuls* "
             "frequency "
             "potential kinetic work arbeit battery humidity signal echo intensity quality flag status comment note light "
             "rotation "
             "residual fit model error uncertainty sigma weight",
}  # fmt: skip
_LETTERS = str.maketrans({"ł": "l", "ø": "o", "đ": "d", "ı": "i", "æ": "ae", "œ": "oe", "ð": "d", "þ": "th"})
# A heading that names a speed and a distance ("speed from position") is a speed: the order below decides.
_ORDER: tuple[ColumnKind, ...] = ("acceleration", "velocity", "time", "position", "other", "index")
_EXACT: dict[str, ColumnKind] = {}
_STEMS: list[tuple[str, ColumnKind]] = []
for _kind in reversed(_ORDER):
    for _word in _WORDS[_kind].split():
        if _word.endswith("*"):
            _STEMS.append((_word[:-1], _kind))
        elif not _word.startswith("*"):
            _EXACT[_word] = _kind


@lru_cache(maxsize=4096)
def fold(text: str) -> str:
    """Return text in lower case without accents ("Évolution" to "evolution", "Χρόνος" to "χρονοσ")."""
    if text.isascii():
        return text.lower()
    bare = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in bare if not unicodedata.combining(c)).translate(_LETTERS)


def kind_of_word(word: str) -> ColumnKind | None:
    """Return the kind of column that a folded word heads, None when it is not known."""
    known = _EXACT.get(word)
    if known is not None:
        return known
    for stem, kind in _STEMS:
        if word.startswith(stem) and len(stem) > 2:
            return kind
    if len(word) > 4 and word.endswith("zeit"):
        return "time"
    if word.endswith("geschwindigkeit"):
        return "velocity"
    return None
