"""German sentences about sun, moon and stars, and about pixels and focus."""

from __future__ import annotations

import math

from planner_core.light.exposure import f_number_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.german.phrases import GERMAN, measured, quoted, stops, word
from planner_core.words.figures import figure, percent

_COMES = {"horizon": "geht auf", "block": "kommt hervor hinter", "edge": "kommt herein über"}
_GOES = {"horizon": "geht unter", "block": "verschwindet hinter", "edge": "geht hinaus über"}


def _past(kind: str, name: str) -> str:
    return {"horizon": "", "block": f" {quoted(name)}", "edge": f" den {word(name)} Rand"}[kind]


def _coming_and_going(finding: Finding) -> str:
    assert finding.frames is not None
    fact, said = finding.fact, []
    if fact("comes_past") is not None:
        what = _past(fact("comes_past"), fact("comes_past_name"))
        said.append(f"{_COMES[fact('comes_past')]}{what} bei Bild {finding.frames[0]} ({fact('first_time')})")
    if fact("goes_past") is None:
        said.append("ist im letzten Bild noch da")
    else:
        what = _past(fact("goes_past"), fact("goes_past_name"))
        said.append(
            f"{_GOES[fact('goes_past')]}{what} bei Bild {finding.frames[1] + 1} ({fact('gone_time')})"
        )
    return " und ".join(said)


def _gaps(finding: Finding) -> str:
    assert finding.frames is not None
    first, last = finding.frames
    count = finding.fact("count")
    return f" in {count} davon" if count < last - first + 1 else ""


@speaks("sun-in-frame", language=GERMAN)
def _sun_in_frame(finding: Finding, names: Names) -> Sentences:
    assert finding.frames is not None
    fact = finding.fact
    cover = (
        "Decke das Objektiv ab, sobald die Sonne über"
        if fact("rising")
        else "Halte das Objektiv abgedeckt, bis die Sonne unter"
    )
    fix = (
        f"{cover} {fact('safe_below'):g}° steht, oder nimm sie aus dem Bild: Durch {fact('focal_length'):g} mm kann "
        "sie Sensor und Verschluss verbrennen."
        if fact("dangerous")
        else "Rechne mit Reflexen und einer ausgebrannten Scheibe; putze die Frontlinse, und blicke nie durch einen "
        "optischen Sucher in die Sonne."
    )
    return Sentences(
        f"Die Sonne ist{_gaps(finding)} im Bild, bis zu {fact('highest'):.1f}° hoch; sie "
        f"{_coming_and_going(finding)}.",
        fix,
        clock=f"{fact('first_time')} bis {fact('last_time')}",
    )


@speaks("sun-hidden", language=GERMAN)
def _sun_hidden(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    evening = fact("event") == "sunset"
    place = "die Kamera" if fact("subject") is None else quoted(fact("subject"))
    minutes = round(fact("early" if evening else "late"))
    told = (
        f"Die Sonne verlässt {place} um {fact('time')}, {minutes} Minuten vor Sonnenuntergang"
        if evening
        else f"Die Sonne erreicht {place} um {fact('time')}, {minutes} Minuten nach Sonnenaufgang"
    )
    return Sentences(
        f"{told} ({fact('event_time')}): {quoted(fact('hider'))} steht im Weg.",
        f"Rechne {'bis' if evening else 'ab'} {fact('time')} mit direktem Licht, was auch immer "
        f"{word(fact('event'))} heißt: Den Rest nimmt der Horizont, wie die Aufnahme auch liegt.",
    )


@speaks("moon-in-frame", language=GERMAN)
def _moon_in_frame(finding: Finding, names: Names) -> Sentences:
    assert finding.frames is not None
    fact = finding.fact
    first, last = finding.frames
    when = fact("first_time") if first == last else f"{fact('first_time')} bis {fact('last_time')}"
    told = (
        f"Der Mond, zu {percent(fact('lit'))} beleuchtet, ist{_gaps(finding)} im Bild, bis zu "
        f"{fact('highest'):.1f}° hoch; er {_coming_and_going(finding)}."
    )
    return Sentences(told + _disc(finding), _moon_fix(finding), clock=when)


@speaks("moon-missing", language=GERMAN)
def _moon_missing(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    left, right = fact("reach")
    if not fact("risen"):
        return Sentences(
            "Der Mond steht in allen Bildern unter dem Horizont.",
            "Wähle ein Datum, an dem er oben ist: dates --moon listet sie auf.",
        )
    return Sentences(
        f"Der Mond ist in keinem Bild: Wenn er zuerst oben ist, in Bild {fact('frame')} ({fact('time')}), steht er bei "
        f"{fact('bearing'):.0f}°, {fact('altitude'):.1f}° hoch, und das Bild reicht von {left:.0f}° bis {right:.0f}°.",
        "Drehe das Objektiv zu ihm, oder lass dates --moon ein Datum suchen, an dem er ins Bild kommt.",
    )


def _disc(finding: Finding) -> str:
    fact = finding.fact
    if fact("smear") is None:
        return f" Er ist {figure(fact('width'), 2)} px breit."
    side = "über" if fact("over") > 0.0 else "unter"
    return (
        f" Seine Scheibe, {figure(fact('width'), 2)} px breit, kommt {stops(abs(fact('over')))} {side} mittlerem "
        f"Grau heraus (Bild {fact('brightest_frame')}) und wandert um {figure(fact('smear'), 2)} px in "
        f"{figure(fact('shutter'), 2)} s (Bild {fact('smear_frame')})."
    )


def _moon_fix(finding: Finding) -> str:
    fact, advice = finding.fact, []
    if fact("round_shutter") is not None and fact("round_shutter") > 0.0:
        advice.append(f"Für eine runde Scheibe belichte höchstens {figure(fact('round_shutter'), 2)} s.")
    over, headroom = fact("over"), fact("headroom")
    if over is not None and over > headroom:
        advice.append(
            f"Er brennt aus, {stops(over - headroom)} über dem, was eine Raw-Datei hält: Mache ein Bild eigens für "
            "den Mond, oder nimm ihn aus dem Bild."
        )
    return " ".join(advice) or "Nichts zu ändern: Er behält Form und Zeichnung."


@speaks("clip-enlarged", language=GERMAN)
def _clip_enlarged(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"Der Clip von {fact('clip_width')} × {fact('clip_height')} px nimmt {fact('image_width'):.0f} × "
        f"{fact('image_height'):.0f} px der Aufnahme und vergrößert sie {figure(fact('factor'))}-mal: Er wird weich.",
        otherwise="Nimm eine Kamera mit mehr Pixeln.",
    )


@speaks("star-trails", language=GERMAN)
def _star_trails(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    shutter_s, points_s = fact("shutter"), fact("shutter_enough")
    return Sentences(
        f"Sterne wandern bis zu {fact('drift'):.1f} px, solange der Verschluss {figure(shutter_s)} s "
        f"offen ist (Bild {fact('worst_frame')}); bis {fact('point'):.1f} px wirken sie wie Punkte. Die 500er-Regel "
        f"gibt hier {fact('rule_of_500'):.0f} s.",
        otherwise=f"Punkte brauchen {figure(points_s, 2)} s, {stops(math.log2(shutter_s / points_s))} weniger Licht: "
        "ein lichtstärkeres Objektiv, oder ein kürzeres. Oder lass sie ziehen.",
    )


@speaks("stars-soft", language=GERMAN)
def _stars_soft(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"die Sterne sind unscharf, auf {measured(finding):.1f} px verschwommen: Bei Fokus auf "
        f"{fact('focus'):g} m und {f_number_label(fact('f_number'))} ist das Bild bis {figure(fact('sharp_to'))} m "
        "scharf.",
        otherwise="Stelle auf die Sterne scharf, und lass Nahes aus dem Bild oder unscharf.",
    )


@speaks("focus-depth", language=GERMAN)
def _focus_depth(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    far = fact("sharp_to")
    reach = f"von {figure(fact('sharp_from'))} m" + (f" bis {figure(far)} m" if far is not None else " an")
    others = f" und {fact('others')} weitere sind" if fact("others") else " ist"
    both = (
        f"Keine brauchbare Blende hält {figure(fact('nearest'), 2)} m und die Ferne zugleich: Gib eines auf, oder "
        f"stelle so auf, dass nichts, was scharf sein muss, näher als {figure(fact('better_from'), 2)} m ist."
        if fact("advice") == "not-both"
        else ""
    )
    return Sentences(
        f"{quoted(fact('block'))} ({word(fact('role'))}, {figure(fact('distance'))} m entfernt){others} unscharf, auf "
        f"{fact('blur'):.1f} px verschwommen: Bei Fokus auf {fact('focus'):g} m und "
        f"{f_number_label(fact('f_number'))} ist das Bild {reach} scharf.",
        otherwise=both,
    )
