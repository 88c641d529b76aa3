"""Scores written out for tests: MusicXML in few words, archives, and one piece of MEI.

Conventions: a note is "C#5/4" (name, length in quarters), a chord "C4+E4/1", a rest "r/1", a note
without pitch "x/1"; "~" at the end of a name ties it to the next of that name; "g:" before a word
makes it a grace note.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path

import mido

from livecont.music.pitch import LETTERS, spelling

DIVISIONS = 24
HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC'
    ' "-//Recordare//DTD MusicXML 3.1 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
)

# accidentals that bar and signature imply, ties as attributes, a variant, a staff left out, and
# control events that lead nowhere
MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.0"><music><body><mdiv><score>
<scoreDef meter.sym="cut" key.sig="1s"><staffGrp><staffGrp symbol="brace"><label>Spinet</label>
<staffDef n="1" lines="5"/><staffDef n="2" lines="5"/></staffGrp></staffGrp></scoreDef><section>
<measure n="1"><staff n="1"><layer n="1"><beam><note dur="4" pname="f" oct="5"/>
<note dur="4" pname="c" oct="5" accid="s"/></beam><app><lem><note dur="4" pname="c" oct="5"/></lem>
<rdg><note dur="4" pname="b" oct="4"/></rdg></app><note dur="4" pname="g" oct="5" tie="i"/>
</layer></staff><staff n="2"><layer n="1"><chord dur="1"><note pname="g" oct="3"/>
<note pname="b" oct="3"/></chord></layer></staff><slur startid="#none" endid="#none"/></measure>
<measure n="2"><staff n="1"><layer n="1"><note dur="1" pname="g" oct="5" tie="t"/></layer></staff>
<tie startid="#none" endid="#nothing"/></measure>
</section></score></mdiv></body></music></mei>
"""


def note(word: str, *, voice: int = 1, staff: int = 1, more: str = "", ties: set[str]) -> str:
    """Return one word as MusicXML; `ties` holds the names that are tied over, and is changed."""
    names, _, length = word.partition("/")
    grace = names.startswith("g:")
    duration = int(Fraction(length or 1) * DIVISIONS)
    result = []
    for index, name in enumerate(names.removeprefix("g:").split("+")):
        plain = name.removesuffix("~")
        tie = '<tie type="stop"/>' if plain in ties else ""
        ties.discard(plain)
        if name.endswith("~"):
            tie += '<tie type="start"/>'
            ties.add(plain)
        chord = "<chord/>" if index else ""
        result.append(
            f"<note>{'<grace/>' if grace else ''}{chord}{_pitch(plain)}"
            f"{'' if grace else f'<duration>{duration}</duration>'}{tie}"
            f"<voice>{voice}</voice>{more}<staff>{staff}</staff></note>"
        )
    return "".join(result)


def _pitch(name: str) -> str:
    if name == "r":
        return "<rest/>"
    if name == "x":
        return (
            "<unpitched><display-step>E</display-step><display-octave>4</display-octave>"
            "</unpitched>"
        )
    pitch = spelling(name)
    return (
        f"<pitch><step>{LETTERS[pitch.letter]}</step><alter>{pitch.alter}</alter>"
        f"<octave>{pitch.octave}</octave></pitch>"
    )


def bar(
    *lines: str, number: str = "1", before: str = "", after: str = "", attributes: str = ""
) -> str:
    """Return a bar; each line of words is a voice, on the staff "|n" at its end (the first)."""
    result = [f'<measure number="{number}">{before}']
    if attributes:
        result.append(f"<attributes>{attributes}</attributes>")
    ties: set[str] = set()
    for voice, line in enumerate(lines, 1):
        words, _, staff = line.partition("|")
        length = Fraction(0)
        for word in words.split():
            result.append(note(word, voice=voice, staff=int(staff or 1), ties=ties))
            if not word.startswith("g:"):
                length += Fraction(word.partition("/")[2] or 1)
        if voice < len(lines):
            result.append(f"<backup><duration>{int(length * DIVISIONS)}</duration></backup>")
    result.append(f"{after}</measure>")
    return "".join(result)


def attributes(
    *, fifths: int | None = 0, meter: str = "4/4", mode: str = "", staves: int = 1, more: str = ""
) -> str:
    """Return what stands at the beginning of a part."""
    beats, kind = meter.split("/")
    told = f"<mode>{mode}</mode>" if mode else ""
    key = "" if fifths is None else f"<key><fifths>{fifths}</fifths>{told}</key>"
    return (
        f"<divisions>{DIVISIONS}</divisions>{key}<time><beats>{beats}</beats>"
        f"<beat-type>{kind}</beat-type></time><staves>{staves}</staves>{more}"
    )


def musicxml(parts: dict[str, Sequence[str]]) -> str:
    """Return a document of parts, by name, each of bars."""
    listed = "".join(
        f'<score-part id="P{index}"><part-name>{name}</part-name></score-part>'
        for index, name in enumerate(parts)
    )
    bodies = "".join(
        f'<part id="P{index}">{"".join(bars)}</part>' for index, bars in enumerate(parts.values())
    )
    return (
        f'{HEAD}<score-partwise version="3.1"><part-list>{listed}</part-list>{bodies}'
        "</score-partwise>"
    )


def write(folder: Path, text: str, name: str = "piece.musicxml") -> Path:
    """Write a document and return its path."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def pack(folder: Path, members: dict[str, bytes], name: str = "piece.mxl") -> Path:
    """Write a compressed MusicXML file of the members given."""
    path = folder / name
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for member, data in members.items():
            archive.writestr(member, data)
    return path


def container(name: str) -> bytes:
    """Return the container that names a score in an archive (MusicXML 3.1)."""
    return (
        f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>'
    ).encode()


def told(notes: Iterable[object]) -> list[str]:
    """Return notes in words, to compare: '0 C5 1', onset, name and length in quarters."""
    return [
        f"{n.onset_q} {n.spelling.name} {n.duration_q}"  # type: ignore[attr-defined]
        for n in notes
    ]


def midi(
    folder: Path, *lines: str, ticks: int = 480, key: str = "D", name: str = "piece.mid"
) -> Path:
    """Write a MIDI file with a track a line of words, as in `written`."""
    file = mido.MidiFile(ticks_per_beat=ticks)
    first = mido.MidiTrack(
        [
            mido.MetaMessage("time_signature", numerator=3, denominator=4),
            mido.MetaMessage("key_signature", key=key),
        ]
    )
    file.tracks.append(first)
    for number, line in enumerate(lines):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=f"hand {number + 1}")])
        wait = 0
        for word in line.split():
            names, _, length = word.partition("/")
            lasts = round(Fraction(length or 1) * ticks)
            pitches = [] if names == "r" else [spelling(name).midi for name in names.split("+")]
            for pitch in pitches:
                track.append(mido.Message("note_on", note=pitch, velocity=64, time=wait))
                wait = 0
            wait += lasts
            for pitch in pitches:
                track.append(mido.Message("note_off", note=pitch, time=wait))
                wait = 0
        file.tracks.append(track)
    path = folder / name
    file.save(path)
    return path


# four links of six quarters in D major, for two hands, and a close
SEQUENCE = (
    "D5/1 F#5/1 E5/1/2 C#5/1/2 D5/1 A4/1 B4/1 "
    "C#5/1 E5/1 D5/1/2 B4/1/2 C#5/1 G4/1 A4/1 "
    "B4/1 D5/1 C#5/1/2 A4/1/2 B4/1 F#4/1 G4/1 "
    "A4/1 C#5/1 B4/1/2 G4/1/2 A4/1 E4/1 F#4/1 D5/6",
    "D3/2 G3/2 F#3/1 G3/1 C#3/2 F#3/2 E3/1 F#3/1 B2/2 E3/2 D3/1 E3/1 A2/2 D3/2 C#3/1 D3/1 D3/6",
)
